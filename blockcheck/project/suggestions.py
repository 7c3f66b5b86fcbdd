"""Marks suggested from a block's photo, as the project knows it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..errors import ProjectError
from ..planning.plan import BlockRecord, Plan, called
from ..vision.finding import plane_of
from ..vision.photo import read_photo
from ..vision.seams.points import Suggested, suggest_marks
from .records import PhotoFile, settings_from

BY_RULER = "Mark it by the ruler instead: --point NAME X,Y"


def suggestions(
    block: BlockRecord, photo: PhotoFile | None, settings: Mapping[str, Any], plan: Plan
) -> Suggested:
    """Suggest marks from a block's photo.

    Parameters
    ----------
    block : BlockRecord
    photo : PhotoFile or None
        Of its latest measurement.
    settings : mapping
        What that was measured with, as the project keeps it.
    plan : Plan

    Raises
    ------
    ProjectError
        If there is no photo, it is missing, or it is not the one that was measured.
    MeasureError
        If it cannot be read.
    """
    if photo is None or block.corners_px is None or block.corners_mm is None:
        raise ProjectError(
            f"There is no photo of {called(block.name)} to look at: it was measured with a ruler.",
            BY_RULER,
        )
    if photo.missing:
        raise ProjectError(
            f"The photo {photo.path.name} of {called(block.name)} is missing.",
            f"Put it back where it was. {BY_RULER}",
        )
    seen = read_photo(photo.path)
    if seen.sha256 != photo.sha256:
        raise ProjectError(
            f"{photo.path.name} has changed since {called(block.name)} was measured in it.",
            f"Add it again, with --again. {BY_RULER}",
        )
    given = settings_from(settings)
    return suggest_marks(
        seen.rgb,
        plane_of(seen, given),
        block.corners_px,
        block.corners_mm,
        block.outline_mm,
        given.cloth_height,
        plan.seam_mm,
    )
