"""The blocks' raw edges: candidates are followed side by side, from wide to close, and judged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ...errors import BlockCutOffError, EdgeNotFoundError, MeasureError, NoBlockError
from .around import judge_corners, judge_left_out
from .candidates import (
    Candidate,
    area_mm2,
    by_lines,
    candidates_on,
    in_order,
    is_card,
)
from .following import follow_sides
from .grounds import grounds
from .judging import BY_HAND, cut_off, doubtful, explained, judge_unbroken, trusted
from .light import is_light
from .mat_looks import Mat
from .printed import Ink, ink_of
from .small_picture import CLOTH_MM, PlaneLike, Small

_NO_MARKERS = np.zeros((0, 2))


@dataclass(frozen=True)
class Side:
    """One raw edge in the photo's own pixels.

    Attributes
    ----------
    points_px : (N, 2) array
        The outermost points of cloth, clockwise, evenly spaced but for outliers left out.
    sigma_px : float
        Random noise of one point across the edge.
    support : float
        Fraction of the side's places that gave a trusted point.
    spread_px : float
        Of the points about their smooth curve: waviness, and yarns that stand out.
    blind_px : float
        How far across the edge the photo does not tell mat from cloth.
    by_hand : bool
        True where no edge was found and the line between corners set by hand stands in.
    """

    points_px: np.ndarray
    sigma_px: float
    support: float
    spread_px: float = 0.0
    blind_px: float = 0.0
    by_hand: bool = False


@dataclass(frozen=True)
class Outline:
    """A block's four corners and raw edges.

    Attributes
    ----------
    corners_px : (4, 2) array
        Clockwise as seen, from the one nearest the photo's top left.
    sides : tuple of Side
        Top, right, bottom, left.
    """

    corners_px: np.ndarray
    sides: tuple[Side, Side, Side, Side]


def find_outlines(
    rgb: np.ndarray,
    plane: PlaneLike,
    *,
    exclude_px: Sequence[np.ndarray],
    mat_segments_px: np.ndarray | None = None,
    mat_segments_seen: np.ndarray | None = None,
    markers_px: np.ndarray = _NO_MARKERS,
    small_rgb: np.ndarray | None = None,
) -> list[Outline]:
    """Find every block that lies whole in the photo.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array
    plane : Plane
    exclude_px : sequence of (4, 2) arrays
        What the reference cards cover.
    mat_segments_px, mat_segments_seen : (M, 2, 2) and (M,) arrays, optional
        The mat's printed lines from crossing to crossing, and where they were seen.
    markers_px : (N, 2) array
        Middles of printed markers: what shows three is a card, no block.
    small_rgb : (h, w, 3) uint8 array, optional
        As of `photo.shrunk`, where it is made already.

    Raises
    ------
    NoBlockError, BlockCutOffError, BlockTooSmallError, EdgeNotFoundError
    """
    small = Small.of(rgb, exclude_px, mat_segments_px, mat_segments_seen, small_rgb)
    candidates: list[list[Candidate]] = []
    problem: MeasureError | None = None
    for mat in grounds(small):
        candidates, this = candidates_on(small, mat, plane)
        candidates = [c for c in candidates if not is_card(plane, markers_px, c[0])]
        problem = problem or this
        if candidates:
            break
    if not candidates:
        raise problem or NoBlockError(
            "No block was found on the mat.",
            "Lay the block on the mat beside the card, all of it in the picture.",
        )
    lines = _print(rgb, plane, mat_segments_px, mat_segments_seen)
    followed: list[tuple[Outline, Candidate]] = []
    failures: list[tuple[MeasureError, float]] = []

    def fail(error: MeasureError, c: Candidate) -> None:
        where = plane.px_from_mm(c.corners_mm, CLOTH_MM)
        failures.append((explained(error, where, c.faces), c.area_mm2))

    lights: list[np.ndarray] = []
    for readings in candidates:
        where = plane.px_from_mm(readings[0].corners_mm, CLOTH_MM)
        if not small.cell and is_light(rgb, plane, where):  # lines are seen in light
            lights.append(where)
            continue
        errors: list[MeasureError] = []
        for c in _in_turn(readings, small, plane):
            try:
                outline = _refine(rgb, plane, mat, c.corners_mm, c.reach_mm, lines, small)
                followed.append((outline, c))
                break
            except MeasureError as error:
                errors.append(error)
        else:
            fail(errors[0], readings[0])
    if not followed and isinstance(problem, BlockCutOffError):
        raise problem
    if lights and not followed and not failures:
        raise EdgeNotFoundError(
            "What was found has no sharp edge: light or a shadow on the mat, or cloth out of focus.",
            f"Let the phone focus before you press, in even light, {BY_HAND}",
            doubtful(lights[0], *range(4)),
        )
    found: list[Outline] = []
    for o, c in followed:
        others = [other.corners_px for other, _ in followed if other is not o]
        try:
            looked_at = plane.px_from_mm(c.corners_mm, CLOTH_MM)
            judge_left_out(*small.lines, looked_at, o.corners_px)
            judge_corners(rgb, plane, o.corners_px, [*exclude_px, *others], 2 * mat.limit)
            found.append(o)
        except MeasureError as error:
            fail(error, c)
    # a scrap or a tool beside the blocks does not spoil the photo; a doubtful block does
    least = 0.2 * max((area_mm2(plane, o.corners_px) for o in found), default=0.0)
    for failure, area in failures:
        if area > least:
            raise failure
    found.sort(
        key=lambda o: (
            round(o.corners_px[:, 1].mean() / rgb.shape[0] * 4),
            o.corners_px[:, 0].mean(),
        )
    )
    return found


def _in_turn(readings: list[Candidate], small: Small, plane: PlaneLike) -> Iterator[Candidate]:
    """What may be one block, and at last as far as it hides the mat's lines."""
    yield from readings
    stops = by_lines(readings[0], small, plane)
    if stops is not None:
        yield stops


def outline_near(
    rgb: np.ndarray,
    plane: PlaneLike,
    corners_px: np.ndarray,
    mat_segments_px: np.ndarray | None = None,
    mat_segments_seen: np.ndarray | None = None,
) -> Outline:
    """Follow the raw edges near corners set by hand.

    Where a side shows no edge, the line between its corners stands in for it; the mat's
    printed lines (as of `find_outlines`) are no edges.
    """
    corners_px = in_order(np.asarray(corners_px, float))
    corners_mm = plane.mm_from_px(corners_px, CLOTH_MM)
    small = Small.of(rgb, [], mat_segments_px, mat_segments_seen)
    mat = small.mat_around(plane, corners_mm)
    if mat is None:
        raise cut_off(doubtful(corners_px))
    lines = _print(rgb, plane, mat_segments_px, mat_segments_seen)
    return _refine(rgb, plane, mat, corners_mm, 4.0, lines, small, by_hand=True)


def _print(
    rgb: np.ndarray, plane: PlaneLike, segments: np.ndarray | None, seen: np.ndarray | None
) -> tuple[np.ndarray, Ink] | None:
    """The foreseen pieces of the mat's lines and their colours, where any are seen."""
    if segments is None or seen is None or not seen.any():
        return None
    ink = ink_of(rgb, plane, segments, seen)
    return None if ink is None else (segments, ink)


def _refine(
    rgb: np.ndarray,
    plane: PlaneLike,
    mat: Mat,
    corners_mm: np.ndarray,
    reach_mm: float,
    print_: tuple[np.ndarray, Ink] | None,
    small: Small,
    by_hand: bool = False,
) -> Outline:
    """Follow the four sides of a candidate and judge them."""
    corners, traces = follow_sides(rgb, plane, mat, corners_mm, reach_mm, print_, small, by_hand)
    start = plane.px_from_mm(corners_mm, CLOTH_MM)
    if not by_hand:
        judge_unbroken(corners, traces, plane)
    sides = []
    for i, t in enumerate(traces):
        if by_hand and not trusted(t):
            line = start[i] + np.linspace(0.03, 0.97, 50)[:, None] * (start[(i + 1) % 4] - start[i])
            sides.append(Side(line, 2.0, 0.0, by_hand=True))
        else:
            sides.append(Side(t.points_px[t.good], t.sigma_px, t.support, t.spread_px, t.blind_px))
    return Outline(corners, (sides[0], sides[1], sides[2], sides[3]))
