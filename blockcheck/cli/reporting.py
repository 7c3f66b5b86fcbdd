"""The commands report, trim-sheet and labels."""

from __future__ import annotations

from pathlib import Path

from ..planning.quilt import work_out
from ..project import Project
from ..report import words
from .command import command
from .options import FORCE, PAPER, PROJECT, output_option, target
from .voice import Status, in_words, may_write, note, say, stop, tell, writing


@command("report")
@PROJECT
@output_option("PROJECT.html, beside the project")
@FORCE
@PAPER
def report(project: Path, output: Path | None, force: bool, paper: str) -> None:
    """One HTML file: the size to trim to, trim lines, rows and cuts. It needs no network."""
    from ..report.html import write_report

    with in_words(), Project.open(project) as kept:
        blocks = kept.blocks()
        quilt = work_out(kept.plan, blocks)
        path = target(output or kept.path.with_suffix(".html"), kept.path, ".html", ".htm")
        may_write(path, force)
        photos = {b.name: kept.photo(b.name) for b in blocks}
        with writing(path):
            write_report(path, quilt, blocks, title=kept.path.stem, photos=photos, paper=paper)
    say(words.headline(quilt))
    tell(f"Wrote {path}.")
    note("Open it in a browser, or print it.")


@command("trim-sheet")
@PROJECT
@output_option("PROJECT-trim.pdf, beside the project")
@FORCE
@PAPER
def trim_sheet(project: Path, output: Path | None, force: bool, paper: str) -> None:
    """Large amounts to trim, boxes to tick, and what else to cut."""
    from ..report.trim_sheet import write_trim_sheet

    with in_words(), Project.open(project) as kept:
        quilt = work_out(kept.plan, kept.blocks())
    beside = kept.path.with_name(f"{kept.path.stem}-trim.pdf")
    path = target(output or beside, kept.path, ".pdf")
    may_write(path, force)
    if not quilt.trims:
        stop(Status.BLOCKS, words.gap(quilt, "size"))
    with writing(path):
        write_trim_sheet(path, quilt, title=kept.path.stem, paper=paper)
    tell(f"Wrote {path}.")
    note(words.RULER_FIRST)


@command("labels")
@PROJECT
@output_option("PROJECT-labels.pdf, beside the project")
@FORCE
@PAPER
def labels(project: Path, output: Path | None, force: bool, paper: str) -> None:
    """Eight on a page: name, place in the quilt, what to trim."""
    from ..report.labels import write_labels

    with in_words(), Project.open(project) as kept:
        quilt = work_out(kept.plan, kept.blocks())
    beside = kept.path.with_name(f"{kept.path.stem}-labels.pdf")
    path = target(output or beside, kept.path, ".pdf")
    may_write(path, force)
    if not any(one.trims for one in quilt.each):
        stop(Status.BLOCKS, words.gap(quilt, "size"))
    with writing(path):
        write_labels(path, quilt, title=kept.path.stem, paper=paper)
    tell(f"Wrote {path}.")
    note("Pin each label with its arrow to the block's top, as in the block's photo.")
