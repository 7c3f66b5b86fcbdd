"""The blocks' raw edges: candidates are followed side by side, from wide to close, and judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from ...errors import BlockCutOffError, EdgeNotFoundError, MeasureError, NoBlockError
from .candidates import (
    Candidate,
    area_mm2,
    candidates_on,
    in_order,
    is_card,
    meet,
)
from .edges import BINS, Looks, Trace, trace
from .evidence import Colours
from .judging import HINT, judge_sides, trusted
from .mat_looks import Mat
from .printed import Ink, ink_of, lines_near
from .small_picture import CLOTH_MM, PlaneLike, Small

_OUTSIDE_MM, _INSIDE_MM = 8.0, 3.0  # how much further than a candidate's doubt a side is sought
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
    by_hand : bool
        True where no edge was found and the line between corners set by hand stands in.
    """

    points_px: np.ndarray
    sigma_px: float
    support: float
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

    Raises
    ------
    NoBlockError, BlockCutOffError, BlockTooSmallError, EdgeNotFoundError
    """
    small = Small.of(rgb, exclude_px, mat_segments_px, mat_segments_seen)
    candidates: list[list[Candidate]] = []
    problem: MeasureError | None = None
    for mat in small.mats():
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
    found: list[Outline] = []
    failures: list[tuple[MeasureError, float]] = []
    for readings in candidates:
        errors: list[MeasureError] = []
        for c in readings:
            try:
                found.append(_refine(rgb, plane, mat, c.corners_mm, c.reach_mm, lines, small))
                break
            except MeasureError as error:
                errors.append(error)
        else:
            failures.append((errors[0], readings[0].area_mm2))
    if not found and isinstance(problem, BlockCutOffError):
        raise problem
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
    """Follow the four sides, widely first and then closely, and judge them."""
    start = plane.px_from_mm(corners_mm, CLOTH_MM)
    around = plane.px_from_mm(corners_mm.mean(0) + np.array([[0.0, 0], [1, 0], [0, 1]]), CLOTH_MM)
    px_per_mm = float(np.sqrt(abs(np.linalg.det(around[1:] - around[0]))))
    lines = lines_near(rgb, plane, *print_, corners_mm) if print_ is not None else None
    look = partial(
        trace, rgb, mat, px_per_mm=px_per_mm, lines=lines, barred=(small.barred, small.scale)
    )
    corners = start
    traces: list[Trace] = []
    looks: Colours | Looks = Colours.learn(_inside(rgb, plane, corners_mm, reach_mm))
    outside = 1.5 if by_hand else _OUTSIDE_MM
    for reach in ((reach_mm + outside, reach_mm + _INSIDE_MM), (2.2, 2.2), (2.2, 2.2)):
        if traces and traces[0].fine and max(t.moved for t in traces) < px_per_mm:
            break
        fine = bool(traces)
        share = np.linspace(0.03, 0.97, BINS[fine])[:, None]
        along = np.roll(corners, -1, axis=0) - corners
        base = corners[:, None] + share * along[:, None]
        for i, t in enumerate(traces):
            if t.support > 0.3:
                base[i] = _onto(base[i], t, along[i] / np.linalg.norm(along[i]))
        px = (reach[0] * px_per_mm, reach[1] * px_per_mm)
        traces, looks = look(looks, base, _outward(corners), px, fine=fine)
        corners = _corners(plane, traces, start if by_hand else None)
        if not by_hand:
            judge_sides(rgb.shape, corners, traces, plane)
    if not by_hand:
        judge_sides(rgb.shape, corners, traces, plane, final=True)
    sides = []
    for i in range(4):
        t = traces[i]
        if by_hand and not trusted(t):
            line = start[i] + np.linspace(0.03, 0.97, 50)[:, None] * (start[(i + 1) % 4] - start[i])
            sides.append(Side(line, 2.0, 0.0, True))
        else:
            sides.append(Side(t.points_px[t.good], t.sigma_px, t.support))
    return Outline(corners, (sides[0], sides[1], sides[2], sides[3]))


def _inside(
    rgb: np.ndarray, plane: PlaneLike, corners_mm: np.ndarray, reach_mm: float
) -> np.ndarray:
    """(N, 3) colours of what is surely the block's inside."""
    across = np.linalg.norm(np.roll(corners_mm, -1, axis=0) - corners_mm, axis=1).min()
    edge = min(0.3, reach_mm / across)
    f = np.linspace(edge, 1 - edge, 50)
    a, b, c, d = corners_mm[:, None, None]
    x, y = f[None, :, None], f[:, None, None]
    places = (1 - y) * ((1 - x) * a + x * b) + y * ((1 - x) * d + x * c)
    i = np.rint(plane.px_from_mm(places.reshape(-1, 2), CLOTH_MM)).astype(int)
    h, w = rgb.shape[:2]
    return rgb[np.clip(i[:, 1], 0, h - 1), np.clip(i[:, 0], 0, w - 1)]


def _outward(corners: np.ndarray) -> np.ndarray:
    """(4, 2) unit vectors out of the sides of four corners in clockwise order."""
    along = np.roll(corners, -1, axis=0) - corners
    return (along @ np.array([[0, -1], [1, 0]])) / np.linalg.norm(along, axis=1, keepdims=True)


def _onto(base: np.ndarray, found: Trace, u: np.ndarray) -> np.ndarray:
    """Move a straight base line onto the curve found before."""
    n = np.array([u[1], -u[0]])
    s = found.smooth_px @ u
    return np.asarray(
        base + np.interp(base @ u, s, found.smooth_px @ n)[:, None] * n - (base @ n)[:, None] * n
    )


def _corners(plane: PlaneLike, traces: list[Trace], by_hand: np.ndarray | None) -> np.ndarray:
    """Meeting points of the straight lines through the sides."""
    lines = []
    for i, t in enumerate(traces):
        use = t.good if t.good.sum() > 10 else np.ones(len(t.good), bool)
        points = t.points_px[use]
        if by_hand is not None and not trusted(t):
            points = by_hand[[i, (i + 1) % 4]]
        p = plane.mm_from_px(points, CLOTH_MM)
        middle = p.mean(0)
        direction = np.linalg.svd(p - middle, full_matrices=False)[2][0]
        lines.append((middle, direction))
    corners = np.array([meet(lines[i - 1], lines[i]) for i in range(4)])
    if not np.isfinite(corners).all():
        raise EdgeNotFoundError("The block's sides do not meet in four corners.", HINT)
    return np.asarray(plane.px_from_mm(corners, CLOTH_MM))
