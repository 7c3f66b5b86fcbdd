"""The commands import and export."""

from __future__ import annotations

from pathlib import Path

import click

from ..project import Project
from ..project.schema import locate
from .command import command
from .options import FORCE, PROJECT, file_type, need_suffix
from .voice import in_words, may_write, tell

FILE = click.argument("file", type=file_type())


@command("export")
@PROJECT
@FILE
@FORCE
def export(project: Path, file: Path, force: bool) -> None:
    """FILE ends in .csv or .json."""
    need_suffix(file, ".csv", ".json")
    may_write(file, force)
    with in_words(), Project.open(project) as quilt:
        if file.suffix.lower() == ".csv":
            quilt.export_csv(file)
        else:
            quilt.export_json(file)
        tell(f"Wrote {file}.")


@command("import")
@PROJECT
@FILE
def import_(project: Path, file: Path) -> None:
    """FILE ends in .csv (columns name, width, height and, if you like, unit) or .json."""
    need_suffix(file, ".csv", ".json")
    with in_words():
        if file.suffix.lower() == ".csv":
            with Project.open(project) as quilt:
                done = quilt.import_csv(file)
                tell(
                    f"New measurements in {quilt.path.name}: {', '.join(done)}."
                    if done
                    else f"Everything in {file.name} is in {quilt.path.name} already."
                )
            return
        if not locate(project).exists():
            with Project.create_from_json(project, file) as quilt:
                tell(f"{quilt.path.name} holds all of {file.name} now.")
            return
        with Project.open(project) as quilt:
            quilt.import_json(file)
            tell(f"{quilt.path.name} holds all of {file.name} now.")
