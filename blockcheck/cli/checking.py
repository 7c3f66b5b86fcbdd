"""Commands that check the measuring itself: verify, repeat, lens."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from ..errors import ReadingsError
from ..measuring.checks import Verification, profile_of_photos, repeat_photos, verify_photo
from ..measuring.gauge import gauge_study, read_readings
from ..profiles import save_profile
from ..project import Project
from ..project.records import settings_in
from ..report import measured_words as words
from ..units import parse_length
from .command import command
from .options import (
    PHOTOS,
    PROFILES,
    TOLERANCE,
    UNIT,
    file_type,
    lens_file,
    reference_options,
    told,
)
from .photos import files
from .voice import Status, in_words, leave, note, refuse, say, stop


@command("verify")
@click.argument("photo", type=click.Path(path_type=Path))
@click.option(
    "--known", metavar="WxH", required=True, help="The size you know, like 85.60x53.98mm."
)
@click.option(
    "--tolerance",
    metavar="LENGTH",
    show_default=False,
    help=told("How far off the known size may be.", "a bank card's own, else 0.4mm"),
)
@click.option(
    "--cloth-height",
    metavar="LENGTH",
    help=told(
        "Height of its top above the mat.", "a bank card's 0.76mm for its size, else cloth's"
    ),
)
@click.option(
    "--project",
    metavar="PROJECT",
    type=click.Path(path_type=Path),
    help="Measure with this project's settings and keep the result there.",
)
@reference_options("cloth-height")
@PROFILES
@UNIT
def verify(
    photo: Path,
    known: str,
    tolerance: str | None,
    cloth_height: str | None,
    project: Path | None,
    unit: str,
    **settings: Any,
) -> None:
    """Lay the thing, such as a bank card, where the block would lie."""
    settings["unit"] = unit
    limits: dict[str, Any] = {"tolerance": tolerance, "cloth_height": cloth_height}
    with in_words():
        if project is None:
            found = verify_photo(photo, known, **limits, **settings)
        else:
            with Project.open(project) as quilt:
                said = {name: value for name, value in settings.items() if value is not None}
                given = {**settings_in(quilt.plan), **said}
                given = {**given, "usual_height": given.pop("cloth_height"), **limits}
                found = verify_photo(photo, known, **given)
                if found.e_n:
                    _keep(quilt, photo, found)
    if not found.e_n:
        refuse(words.refusal(found.result))
        leave(Status.PHOTO)
    say(words.verification(found, unit))
    if project:
        note(f"Kept in {project}.")
    leave(Status.DONE if found.agrees else Status.DISAGREES)


def _keep(quilt: Project, photo: Path, found: Verification) -> None:
    quilt.add_check(
        [k.value for k in found.known],
        found.measured,
        "agrees" if found.agrees else "does not agree",
        photo,
        found.result.sha256,
    )


@command("repeat")
@PHOTOS
@TOLERANCE
@reference_options()
@PROFILES
@UNIT
def repeat(photos: tuple[Path, ...], tolerance: str, unit: str, **settings: Any) -> None:
    """Name several photos of one block, or a folder of photos for each block.

    A table of readings (.csv with part,person,try,value) gives a whole gauge study.
    """
    with in_words():
        settings["unit"] = unit
        allowed = parse_length(tolerance, unit)
        if len(photos) == 1 and photos[0].suffix.lower() == ".csv":
            say(words.gauge_table(photos[0], gauge_study(read_readings(photos[0]))))
            return
        folders = [p for p in photos if p.is_dir()]
        blocks = [files((p,))[0] for p in folders]
        loose = [p for p in photos if not p.is_dir()]
        try:
            found = repeat_photos([*blocks, *([loose] if loose else [])], **settings)
        except ReadingsError as e:  # of photos that can be read: too few, or one of them twice
            stop(Status.USAGE, str(e))
    for result in found.failed:
        refuse(words.refusal(result, "LEFT OUT"))
    say(words.repeatability(found, allowed, unit))
    leave(Status.PHOTO if found.failed else Status.DONE)


@command("lens")
@PHOTOS
@click.option(
    "--profiles",
    metavar="FILE",
    type=file_type(),
    default=lens_file,
    show_default=False,
    help=told("File that keeps the profile.", "in your settings folder"),
)
@reference_options("cloth-height")
def lens(photos: tuple[Path, ...], profiles: Path, **settings: Any) -> None:
    """Take five or more PHOTOS of the reference sheet, leaning the phone to each side."""
    with in_words():
        profile, found, views, failed = profile_of_photos(files(photos)[0], **settings)
        save_profile(profiles, profile)
    for error in failed:
        refuse(f"LEFT OUT {error}")
    say(words.lens_table(profile, found, views))
    note(f"Kept in {profiles}. Photos from this camera use it from now on.")
