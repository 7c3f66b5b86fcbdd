"""The way through: from a photo to its blocks' measurements."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from threadpoolctl import ThreadpoolController

from ..errors import BlockCutOffError, BlockTooSmallError, MeasureError, Problem
from ..settings import Settings
from ..vision.cloth.candidates import in_order
from ..vision.cloth.judging import doubtful
from ..vision.cloth.outline import Outline, Side, find_outlines, outline_near
from ..vision.finding import plane_of
from ..vision.photo import Photo, read_photo, told
from ..vision.plane.plane import Plane
from .results import Measurement, PhotoResult
from .sides import measure_outline

BLAS = ThreadpoolController().select(user_api="blas")
_MIN_SIDE_PX = 150.0
_HELD_POINTS = 64
_MIN_SINE = 0.2  # of a corner set by hand; a block lying flat shows none so sharp or so blunt


def find_plane(path: str | Path, **settings: object) -> Plane:
    """Find the references in a photo; no block is needed.

    Parameters
    ----------
    path : str or Path
    **settings
        As of `Settings.of`.

    Raises
    ------
    MeasureError
        Of the kind that says why there is no plane.
    """
    photo, given = read_photo(path), Settings.of(**settings)  # type: ignore[arg-type]
    with told(photo.path), BLAS.limit(limits=1):
        return plane_of(photo, given)


def measure_photo(
    path: str | Path, *, corners: list[tuple[float, float]] | None = None, **settings: object
) -> PhotoResult:
    """Measure every block in a photo.

    Parameters
    ----------
    path : str or Path
    corners : list of four (x, y), optional
        A block's corners set by hand, in photo pixels.
    **settings
        As of `Settings.of`.

    Returns
    -------
    PhotoResult
        `problems` says why where there is no block; only a bad setting raises `LengthError`.
    """
    given = Settings.of(**settings)  # type: ignore[arg-type]
    opened = open_photo(path, given)
    return opened if isinstance(opened, PhotoResult) else opened.measure(corners)


def of_one_block(result: PhotoResult) -> PhotoResult:
    """Refuse a photo with several blocks: which one is meant?"""
    if result.ok and len(result.blocks) != 1:
        problem = MeasureError(
            f"{result.path.name} shows {len(result.blocks)} blocks.",
            "Photograph one block by itself, with the reference beside it.",
        ).problem()
        return replace(result, blocks=(), problems=(*result.problems, problem))
    return result


def open_photo(path: str | Path, given: Settings) -> OpenPhoto | PhotoResult:
    """Read a photo and find its plane; what says why instead where that cannot be done."""
    photo: Photo | None = None
    try:
        photo = read_photo(path)
        # its matrices are small: threads that share one out wait longer for each other than they work
        with told(photo.path), BLAS.limit(limits=1):
            return OpenPhoto(photo, plane_of(photo, given), given)
    except MeasureError as e:
        sha256 = photo.sha256 if photo else None
        return PhotoResult(Path(path), sha256, (), (e.problem(),), None, doubtful=e.doubtful)


@dataclass(frozen=True, eq=False)
class OpenPhoto:
    """A photo with its plane: measured in again and again without reading it anew."""

    photo: Photo
    plane: Plane
    given: Settings

    def measure(
        self, corners: Sequence[tuple[float, float]] | None = None, held: Collection[int] = ()
    ) -> PhotoResult:
        """Measure the blocks, or the one whose corners were set by hand.

        Parameters
        ----------
        corners : sequence of four (x, y), optional
            In photo pixels: the raw edges are looked for near the lines between them.
        held : collection of int
            Sides (0 top, 1 right, 2 bottom, 3 left) that stay where their corners were put,
            whatever the photo shows there.
        """
        return self.traced(corners, held)[0]

    def traced(
        self, corners: Sequence[tuple[float, float]] | None = None, held: Collection[int] = ()
    ) -> tuple[PhotoResult, list[Outline]]:
        """As of `measure`, with the outlines that the blocks were measured by."""
        photo, plane, given = self.photo, self.plane, self.given
        try:
            with told(photo.path), BLAS.limit(limits=1):
                outlines = _outlines(photo, plane, corners)
                if corners is not None and held:
                    outlines = [_held(outlines[0], np.asarray(corners, float), held)]
                blocks = tuple(measure_outline(o, plane, given) for o in outlines)
        except MeasureError as e:
            failed = PhotoResult(
                photo.path, photo.sha256, (), (e.problem(),), plane, doubtful=e.doubtful
            )
            return failed, []
        problems = photo.problems + plane.problems + _doubts(blocks)
        return PhotoResult(
            photo.path, photo.sha256, blocks, problems, plane, photo.camera
        ), outlines


def _held(outline: Outline, corners_px: np.ndarray, held: Collection[int]) -> Outline:
    """Put straight lines between corners set by hand in place of the sides found."""
    corners = in_order(corners_px)
    sides = list(outline.sides)
    for k in held:
        share = np.linspace(0, 1, _HELD_POINTS)[:, None]
        line = corners[k] + share * (corners[(k + 1) % 4] - corners[k])
        sides[k] = Side(line, 0.0, 1.0, by_hand=True)
    top, right, bottom, left = sides
    return Outline(corners, (top, right, bottom, left))


def _outlines(
    photo: Photo, plane: Plane, corners: Sequence[tuple[float, float]] | None
) -> list[Outline]:
    segments, seen = (plane.mat.segments_px, plane.mat.seen) if plane.mat else (None, None)
    if corners is not None:
        _check_corners(np.array(corners, float), photo)
        return [outline_near(photo.rgb, plane, np.array(corners, float), segments, seen)]
    hidden = [p.outline_px for p in plane.references if p.outline_px is not None]
    outlines = find_outlines(
        photo.rgb,
        plane,
        exclude_px=hidden,
        mat_segments_px=segments,
        mat_segments_seen=seen,
        markers_px=plane.markers_px,
        small_rgb=photo.small_rgb,
    )
    for o in outlines:
        sides = np.linalg.norm(np.roll(o.corners_px, -1, axis=0) - o.corners_px, axis=1)
        if sides.min() < _MIN_SIDE_PX:
            raise BlockTooSmallError(
                f"The block is too small in {photo.path.name}.",
                "Hold the phone nearer to the block.",
                doubtful(o.corners_px),
            )
    return outlines


def _check_corners(corners_px: np.ndarray, photo: Photo) -> None:
    """Refuse corners set by hand that lie outside the photo or make no four-sided block."""
    width, height = photo.size
    if not ((corners_px >= 0) & (corners_px <= (width - 1, height - 1))).all():
        raise BlockCutOffError(
            f"A corner set by hand lies outside {photo.path.name}, which is {width} × {height} pixels.",
            "Read the corners from the upright photo, counting from its top left.",
        )
    from_middle = corners_px - corners_px.mean(axis=0)
    round_px = corners_px[np.argsort(np.arctan2(from_middle[:, 1], from_middle[:, 0]))]
    side = np.roll(round_px, -1, axis=0) - round_px
    length = np.linalg.norm(side, axis=1)
    after, length_after = np.roll(side, -1, axis=0), np.roll(length, -1)
    turn = side[:, 0] * after[:, 1] - side[:, 1] * after[:, 0]
    if length.min() < _MIN_SIDE_PX or (turn < _MIN_SINE * length * length_after).any():
        raise BlockTooSmallError(
            f"The corners set by hand in {photo.path.name} do not make a four-sided block, or it is too small.",
            f"Give four corners at least {_MIN_SIDE_PX:.0f} pixels apart.",
        )


def _doubts(blocks: tuple[Measurement, ...]) -> tuple[Problem, ...]:
    if any(b.by_hand for b in blocks):
        return (
            Problem(
                "set_by_hand",
                "warning",
                "A side of the block was set by hand.",
                "Check it with the ruler before you cut.",
            ),
        )
    return ()
