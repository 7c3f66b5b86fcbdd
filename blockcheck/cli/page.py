"""The command `page`: the whole job on one page, in the browser or on the phone."""

from __future__ import annotations

from pathlib import Path

import click

from .command import command
from .options import PROFILES, Number, lens_file, told
from .voice import in_words, say


@command("page")
@click.argument("project", required=False, type=click.Path(path_type=Path), metavar="[PROJECT]")
@click.option("--phone", is_flag=True, help="Let a phone in the same network open the page too.")
@click.option("--browser/--no-browser", default=True, help="Open the browser, or not.")
@click.option(
    "--port",
    metavar="NUMBER",
    type=Number(0, 65535),
    default=0,
    show_default=False,
    help=told("Port to listen on.", "any free one"),
)
@PROFILES
def page(
    project: Path | None, phone: bool, browser: bool, port: int, profiles: Path | None
) -> None:
    """It opens PROJECT, or the projects in this folder.

    Take photos with the phone, mend edges by finger, choose the size, tick off the cuts.
    """
    from ..page.serving import serve
    from ..project import Project

    with in_words():
        if project is not None:
            Project.open(project).close()
        lenses = profiles or lens_file()
        if profiles is not None and not profiles.exists():
            say(f"{profiles} is not there yet: a lens that is learnt on the page is kept in it.")
            profiles = None
        serve(
            Path.cwd(),
            project,
            port=port,
            phone=phone,
            browser=browser,
            profiles=profiles,
            lenses=lenses,
            say=say,
        )
