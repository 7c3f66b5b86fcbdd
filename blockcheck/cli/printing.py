"""The command card."""

from __future__ import annotations

from pathlib import Path

import click

from .command import command
from .options import FORCE, PAPER, need_suffix, output_option
from .voice import Status, may_write, note, stop, tell, writing


@command("card")
@output_option("card.pdf or sheet.pdf")
@FORCE
@PAPER
@click.option("--letters", metavar="A|AB|ABC|ABCD", default="A", help="Which cards, one to a page.")
@click.option("--sheet", is_flag=True, help="The larger reference sheet instead.")
def card(output: Path | None, force: bool, paper: str, letters: str, sheet: bool) -> None:
    """The PDF is true to scale. Print it at 100 % and measure it with your ruler."""
    from ..report.card_sheet import write_card, write_sheet

    output = output or Path("sheet.pdf" if sheet else "card.pdf")
    need_suffix(output, ".pdf")
    letters = letters.upper()
    if not letters or set(letters) - set("ABCD"):
        stop(Status.USAGE, f'There are cards A, B, C and D, not "{letters}".')
    may_write(output, force)
    with writing(output):
        if sheet:
            write_sheet(output, paper)
        else:
            write_card(output, letters, paper)
    tell(f"Wrote {output}.")
    note(
        "Print it at 100 % (actual size), measure it with your ruler, and give its true size "
        f"with {'--sheet-side' if sheet else '--card-side'}."
    )
