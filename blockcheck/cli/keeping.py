"""Commands about the blocks in a project: list, show, change, remove, restore."""

from __future__ import annotations

from pathlib import Path

import click

from ..errors import typed
from ..project import Project
from ..project.records import STATES
from ..report import project_words as words
from ..report.phrases import SHORT_CAUTION
from .as_json import to_json
from .command import command
from .options import JSON, NAME, PROJECT
from .voice import Status, in_words, note, say, stop


@command("list")
@PROJECT
@JSON
def list_(project: Path, as_json: bool) -> None:
    """Sizes are unfinished. What else there is to know of a block: blockcheck show."""
    with in_words(), Project.open(project) as quilt:
        blocks, plan = quilt.blocks(), quilt.plan
        if as_json:
            say(to_json("list", plan=plan, blocks=blocks, removed=quilt.removed()))
            return
        say(words.block_list(quilt.path.name, plan, blocks))
        for line in words.gone(quilt.path, quilt.removed(), quilt.photos()):
            say(line)
    if blocks:
        note(SHORT_CAUTION)


@command("show")
@PROJECT
@NAME
def show(project: Path, name: str) -> None:
    """NAME is the block's name. The history lists every measurement, the latest last."""
    with in_words(), Project.open(project) as quilt:
        block = next((b for b in quilt.blocks() if b.name == name), None)
        say(words.block_story(quilt.plan, name, block, quilt.photo(name), quilt.history(name)))


@command("change")
@PROJECT
@NAME
@click.option("--name", "new_name", metavar="NAME", help="Another name.")
@click.option("--state", type=click.Choice(STATES), help="What has become of it.")
@click.option("--note", "text", metavar="TEXT", help='A note; "" removes it.')
@click.option("--kind", metavar="NAME", help="Which kind of block it is.")
def change(
    project: Path,
    name: str,
    new_name: str | None,
    state: str | None,
    text: str | None,
    kind: str | None,
) -> None:
    """A block that is set aside counts for nothing until it is "measured" again."""
    if new_name is None and state is None and text is None and kind is None:
        stop(Status.USAGE, "Say what to change: --name, --state, --note or --kind.")
    with in_words(), Project.open(project) as quilt:
        if state is not None:
            quilt.set_state(name, state)
            say(f"Block {name} is {state}.")
        if text is not None:
            quilt.note(name, text)
            say(f"Block {name} has {'the note: ' + text if text else 'no note'}.")
        if kind is not None:
            quilt.set_kind(name, kind)
            say(f"Block {name} is now of the kind {kind or quilt.plan.kind}.")
        if new_name is not None:
            quilt.rename(name, new_name)
            say(f"Block {name} is called {new_name.strip()} now.")


@command("remove")
@PROJECT
@NAME
def remove(project: Path, name: str) -> None:
    """Its measurements are kept, and "restore" brings it back."""
    with in_words(), Project.open(project) as quilt:
        quilt.remove(name)
        say(f"Block {name} is removed.")
        note(f"To bring it back: {typed('restore', project, name)}")


@command("restore")
@PROJECT
@NAME
def restore(project: Path, name: str) -> None:
    """It comes back with its whole history."""
    with in_words(), Project.open(project) as quilt:
        quilt.restore(name)
        say(f"Block {name} is back.")
