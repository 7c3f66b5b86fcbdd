"""Sentences that name a command or an option, as the page says them."""

from __future__ import annotations

import re

# what the command line does by a command or an option, and how it is done here; the first that fits
_HERE = tuple(
    (re.compile(said), here)
    for said, here in (
        (r" \(blockcheck card\)", ""),
        (r" \(blockcheck lens\)", " under Check the measuring"),
        (r" \(blockcheck mark\)", ""),
        (r" \(blockcheck add PHOTO --again NAME --trimmed\)", ""),
        (r"blockcheck verify", "“Against a size you know”"),
        (r"To see the names: blockcheck list .*", "Choose one from the list."),
        (r" ?\(to bring it back: blockcheck restore [^)]*\)?", ""),
        (r"To bring it back: blockcheck restore .*", "Bring it back: it stands below the blocks."),
        (r"To add one: blockcheck kind .*", "Add it in the plan."),
        (
            r"It is a project file: name photos here, or see its blocks with: blockcheck list",
            "It is a project file. Choose photos.",
        ),
        (r"See what is sound in it, and mend it: blockcheck check .*", "See what is sound in it."),
        (
            r"(Name a project file, or m|M)ake (one|it again) with: blockcheck new",
            "Begin one at the start.",
        ),
        (r"Make one with: blockcheck lens PHOTO…", "Make one under Check the measuring."),
        (r"that blockcheck export wrote", "that was exported"),
        (r"Mark it by the ruler instead: --point NAME X,Y", "Mark it by the ruler instead."),
        (r"Add it again, with --again\.", "Photograph it again."),
        (r"To measure that block again: --again (.*)", r"Open block \1, and photograph it again."),
        (r"Name another place with --profiles\.", "Begin the page with another file of profiles."),
        (r", or give the lens(?:'|&#39;)s 35 mm focal length with --focal", ""),
        (
            r"name what lies there with --square or --grid",
            "enter the square or the mat’s lines in the plan",
        ),
        (r"\(--grid 1in or --grid 1cm\)", "in the plan"),
        (r"give the block(?:'|&#39;)s corners by hand \(--corners\)", "mend it by hand"),
        (r"with --card-side, --sheet-side or --square", "in the plan"),
        (r"give its true size with --(card|sheet)-side", "enter its true size in the plan"),
        (r"give its size \(--card-side\)", "enter its size in the plan"),
        (r" \(--known, --cloth-height\)", ""),
        (r" \(--seams-across, --seams-down\)", ""),
        (r"say --no-keep-square", "say that it need not be a square"),
        (r" \(--order\)", ""),
        (r" \(--cloth-height\)", ""),
        (r" \(--sashing none\)", ""),
        (r" \(--frame 2in\)", ""),
        (r"what the options say", "what the plan says"),
        (r"--card-side", "the card’s size in the plan"),
        (r"--sheet-side", "the sheet’s size in the plan"),
        (r"--square", "the square’s side in the plan"),
        (r"--grid", "the lines’ spacing in the plan"),
    )
)

_TYPED = re.compile(r"--\w|blockcheck |the options")  # few sentences: the others are left at once


def on_page(text: str) -> str:
    """A sentence, or a template's with its signs escaped, as the page says it."""
    if _TYPED.search(text):
        for said, here in _HERE:
            text = said.sub(here, text)
    return text
