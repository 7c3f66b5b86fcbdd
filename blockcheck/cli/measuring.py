"""The command measure."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from ..errors import BlockcheckError
from ..measuring.results import PhotoResult
from ..report import measured_words as words
from ..report.phrases import SHORT_CAUTION
from ..settings import Settings
from ..units import parse_length
from ..vision.photo import read_photo
from .command import command
from .options import (
    CORNERS,
    FORCE,
    FRACTION,
    JOBS,
    JSON,
    PHOTOS,
    PLANNED,
    PROFILES,
    TOGETHER,
    TOLERANCE,
    UNIT,
    need_suffix,
    reference_options,
)
from .photos import corners_of, files, measure_all, one_of_all
from .voice import Status, detail, in_words, leave, may_write, note, refuse, say, stop


@command("measure")
@PHOTOS
@reference_options()
@PLANNED
@TOLERANCE
@PROFILES
@CORNERS
@TOGETHER
@UNIT
@FRACTION
@click.option("--budget", is_flag=True, help="Say what the uncertainty comes from.")
@click.option(
    "--picture",
    metavar="FILE|FOLDER",
    type=click.Path(path_type=Path),
    help="Write the photo with its sizes drawn in; a folder for several.",
)
@FORCE
@JSON
@JOBS
def measure(
    photos: tuple[Path, ...],
    tolerance: str,
    corners: str | None,
    together: bool,
    unit: str,
    fraction: str,
    budget: bool,
    picture: Path | None,
    force: bool,
    as_json: bool,
    jobs: int,
    **settings: Any,
) -> None:
    """PHOTOS are files or folders."""
    with in_words():
        settings["unit"] = unit
        planned = Settings.of(**settings).planned
        style = words.Style(unit, int(fraction), planned, parse_length(tolerance, unit), budget)
        by_hand = corners_of(corners)
    paths, empty = files(photos)
    if by_hand and len(paths) > 1:
        stop(Status.USAGE, "--corners goes with one photo at a time.")
    shown = paths[:1] if together else paths  # the block is drawn into the first that is used
    pictures = _pictures(picture, shown, force, paths) if picture else None
    results: list[PhotoResult] = []
    bad = empty
    hidden = not sys.stderr.isatty() or len(shown) < 2
    with click.progressbar(length=len(shown), file=sys.stderr, hidden=hidden) as bar:
        for result in (
            one_of_all(paths, settings) if together else measure_all(paths, jobs, by_hand, settings)
        ):
            if pictures:
                bad += not draw(result, pictures[len(results)], style)
            results.append(result)
            bar.update(1)
            detail(words.measured_with(result))
    for result in results:
        if not result.ok:
            refuse(words.refusal(result))
        elif not as_json:
            say(words.photo_table(result, style))
    if as_json:
        say(json.dumps([r.to_dict() for r in results], ensure_ascii=False, indent=1))
    elif any(r.ok for r in results):
        note(SHORT_CAUTION)
    used = all(r.ok and all(t.used for t in r.together) for r in results)
    leave(Status.PHOTO if bad or not used else Status.DONE)


def _pictures(picture: Path, shown: list[Path], force: bool, paths: list[Path]) -> list[Path]:
    """A picture for each photo shown; none lies over a photo, another picture or what is there."""
    if len(shown) == 1:
        need_suffix(picture, ".png", ".jpg", ".jpeg")
        targets = [picture]
    else:
        try:
            picture.mkdir(parents=True, exist_ok=True)
        except OSError as e:
            stop(Status.FILE, f"The folder {picture} cannot be made ({e.strerror}).")
        targets = [picture / name for name in picture_names(shown)]
    for target in targets:
        if target.resolve() in {p.resolve() for p in paths}:
            stop(Status.USAGE, f"{target} is a photo. Choose another place for the picture.")
        may_write(target, force)
    return targets


def picture_names(paths: Sequence[Path]) -> list[str]:
    """A name for each photo's picture; photos of one name in several folders get numbers."""
    taken: set[str] = set()
    names = []
    for path in paths:
        name, n = f"{path.stem}.png", 1
        while name.casefold() in taken:
            n += 1
            name = f"{path.stem}-{n}.png"
        taken.add(name.casefold())
        names.append(name)
    return names


def draw(result: PhotoResult, out: Path, style: words.Style) -> bool:
    """Write the annotated picture; where it cannot be written, say so and go on."""
    from ..report.picture import write_picture

    try:
        write_picture(
            out,
            read_photo(result.path).rgb,
            result.blocks,
            result.plane,
            unit=style.unit,
            fraction=style.fraction,
            problems=result.problems,
            doubtful=result.doubtful,
        )
    except BlockcheckError:
        pass  # a file that is no photo has no picture; the refusal says so
    except OSError as e:
        refuse(f"{out} cannot be written ({e.strerror}).")
        return False
    return True
