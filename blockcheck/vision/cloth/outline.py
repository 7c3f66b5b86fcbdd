"""The blocks' raw edges: candidates are followed side by side, from wide to close, and judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import cv2
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
from .edges import BINS, Trace, trace
from .judging import BUSY, HINT, judge_beyond, judge_sides, trusted
from .mat_looks import Mat, Printed
from .small_picture import CLOTH_MM, PlaneLike, Small

_LINE_MM = 0.9  # the widest printed line
_ENOUGH = 250  # pieces of line to tell their colour from
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
    lines = _printed(rgb, plane, mat_segments_px, mat_segments_seen)
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
    lines = _printed(rgb, plane, mat_segments_px, mat_segments_seen)
    return _refine(rgb, plane, mat, corners_mm, 4.0, lines, small, by_hand=True)


def _printed(
    rgb: np.ndarray, plane: PlaneLike, segments: np.ndarray | None, seen: np.ndarray | None
) -> Printed | None:
    """The mat's lines, with those halfway between them if there are any."""
    if segments is None or seen is None or not seen.any():
        return None
    h, w = rgb.shape[:2]
    ends = plane.mm_from_px(np.reshape(segments, (-1, 2))).reshape(-1, 2, 2)
    across = (ends[:, 1] - ends[:, 0])[:, None] @ np.array([[0, 0.5], [-0.5, 0]])
    halfway = plane.px_from_mm((ends + across).reshape(-1, 2)).reshape(-1, 2, 2)
    printed = segments
    some = np.flatnonzero(seen)[:: max(1, int(seen.sum()) // _ENOUGH)]
    across = halfway[some] - segments[some]
    ink, beside = _along(rgb, segments[some], across)
    main = ink - beside
    which = int(np.argmax(np.abs(np.median(main, axis=(0, 1)))))  # the colour that shows them best
    part = np.subtract(*_along(rgb, halfway[some], across))[..., which]
    part = part / (np.median(main[..., which]) or 1.0)
    # noise is even-handed; dashes show on part of the places only
    if np.mean(part > 0.4) - np.mean(part < -0.4) > 0.12:
        printed = np.vstack([segments, halfway])
    mask = np.zeros(((h + 1) // 2, (w + 1) // 2), np.uint8)
    px = np.median(np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1))
    mm = np.median(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1))
    thick = max(4, round((_LINE_MM * px / mm + 3) / 2))
    cv2.polylines(mask, list(np.round((printed + 0.5) / 2 - 0.5).astype(np.int32)), False, 1, thick)
    return Printed(mask, np.median(ink, axis=(0, 1)), np.median(beside, axis=(0, 1)))


def _along(
    rgb: np.ndarray, pieces: np.ndarray, across: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(N, 9, 3) colours along pieces of line, and the mean of those on both sides of it."""
    f = np.linspace(0.15, 0.85, 9)[None, :, None]
    h, w = rgb.shape[:2]

    def colours(shift: float) -> np.ndarray:
        at = (1 - f) * pieces[:, :1] + f * pieces[:, 1:] + shift * across[:, :1]
        i = np.round(at).astype(int)
        return rgb[np.clip(i[..., 1], 0, h - 1), np.clip(i[..., 0], 0, w - 1)].astype(float)

    return colours(0), (colours(0.16) + colours(-0.16)) / 2


def _refine(
    rgb: np.ndarray,
    plane: PlaneLike,
    mat: Mat,
    corners_mm: np.ndarray,
    reach_mm: float,
    lines: Printed | None,
    small: Small,
    by_hand: bool = False,
) -> Outline:
    """Follow the four sides, widely first and then closely, and judge them."""
    start = plane.px_from_mm(corners_mm, CLOTH_MM)
    around = plane.px_from_mm(corners_mm.mean(0) + np.array([[0.0, 0], [1, 0], [0, 1]]), CLOTH_MM)
    px_per_mm = float(np.sqrt(abs(np.linalg.det(around[1:] - around[0]))))
    look = partial(
        trace, rgb, mat, px_per_mm=px_per_mm, lines=lines, barred=(small.barred, small.scale)
    )

    def follow(
        corners: np.ndarray, traces: list[Trace], reaches: tuple[float, ...]
    ) -> tuple[np.ndarray, list[Trace]]:
        for reach in reaches:
            if traces and traces[0].fine and max(t.moved for t in traces) < px_per_mm:
                break
            fine = bool(traces)
            share = np.linspace(0.03, 0.97, BINS[fine])[:, None]
            along = np.roll(corners, -1, axis=0) - corners
            base = corners[:, None] + share * along[:, None]
            for i, t in enumerate(traces):
                if t.support > 0.3:
                    base[i] = _onto(base[i], t, along[i] / np.linalg.norm(along[i]))
            traces = look(base, _outward(corners), reach * px_per_mm, fine=fine)
            corners = _corners(plane, traces, start if by_hand else None)
            if not by_hand:
                judge_sides(rgb.shape, corners, traces, plane)
        return corners, traces

    corners, traces = follow(start, [], (reach_mm, 2.2, 2.2))
    if not by_hand:
        for _ in range(3):
            # from 1 to 10 mm outside the edges
            outward = _outward(corners)
            base = np.stack([t.smooth_px for t in traces]) + 5.5 * px_per_mm * outward[:, None]
            beyond = look(base, outward, 4.5 * px_per_mm, fine=False)
            further = [_is_edge(t, lines is not None) for t in beyond]
            if not any(further):
                break
            traces = [b if f else t for b, f, t in zip(beyond, further, traces, strict=True)]
            corners, traces = follow(_corners(plane, traces, None), traces, (2.2, 2.2))
        if lines is not None:
            judge_beyond(corners, beyond)
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


def _outward(corners: np.ndarray) -> np.ndarray:
    """(4, 2) unit vectors out of the sides of four corners in clockwise order."""
    along = np.roll(corners, -1, axis=0) - corners
    return (along @ np.array([[0, -1], [1, 0]])) / np.linalg.norm(along, axis=1, keepdims=True)


def _is_edge(t: Trace, lines_known: bool) -> bool:
    """Whether the raw edge is there, beyond a seam or a row of a print that was taken for it."""
    found = min(t.strength, t.support) > 0.5
    # where the printed lines are known they are taken off, and what is left tells more
    clear = t.contrast > (0.4 if lines_known else 0.6)
    # a pale row is little unlike the mat, but it is full of edges
    woven = lines_known and t.busy > BUSY
    return found and (clear or woven) and t.barred < 0.1


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
