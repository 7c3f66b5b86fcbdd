"""The command demo."""

from __future__ import annotations

from pathlib import Path

import click

from ..files import write_whole
from ..report import measured_words as words
from ..report.phrases import SHORT_CAUTION
from ..units import INCH
from .command import command
from .measuring import draw
from .options import FORCE, JOBS
from .photos import measure_all
from .voice import may_write, note, refuse, say, writing


@command("demo")
@click.argument(
    "folder", type=click.Path(path_type=Path, file_okay=False), default=Path("sailboats")
)
@FORCE
@JOBS
def demo(folder: Path, force: bool, jobs: int) -> None:
    """FOLDER is "sailboats" unless you name another."""
    pictures = folder / "measured"  # apart, so that they are not taken for photos
    photos = sorted((Path(__file__).parent.parent / "demo_photos").glob("*.jpg"))
    for photo in photos:
        for made in (folder / photo.name, pictures / f"{photo.stem}.png"):
            may_write(made, force)
    with writing(folder):
        pictures.mkdir(parents=True, exist_ok=True)
        for photo in photos:
            write_whole(folder / photo.name, photo.read_bytes())
    say(
        f"Six sailboat blocks, planned at 6 × 9 in unfinished, are in {folder}. This is how they "
        "measure:\n"
    )
    style = words.Style(planned=(6 * INCH, 9 * INCH))
    settings = {"card_side": "4in", "planned": "6x9"}
    for result in measure_all([folder / photo.name for photo in photos], jobs, None, settings):
        if result.ok:
            say(words.photo_table(result, style))
        else:
            refuse(words.refusal(result))
        draw(result, pictures / f"{result.path.stem}.png", style)
    say(f"The annotated pictures are in {pictures}.")
    note(SHORT_CAUTION)
