"""The four sides of a candidate, followed from wide to close until they settle."""

from __future__ import annotations

from functools import partial

import numpy as np

from ...errors import EdgeNotFoundError
from .candidates import meet
from .edges import BINS, Trace, trace
from .evidence import Colours
from .judging import HINT, SIDES, doubtful, judge_sides, trusted
from .line_ends import side_by_ends
from .looks import Looks
from .mat_looks import Mat
from .printed import Ink, lines_near
from .small_picture import CLOTH_MM, PlaneLike, Small

_OUTSIDE_MM, _INSIDE_MM = 8.0, 3.0  # how much further than a candidate's doubt a side is sought
_CLOSE_MM = 2.2
_LEAST_MM = 25.0  # a block's width, when a side is sought from the opposite one
_LOST = 0.25  # support of a side that is sought again
_RIM_MM, _FEW = (2.0, 15.0), 4  # inside a side, and pieces of line there, that tell
_BY_CHANCE = 2  # seams and stripes that may run where lines are foreseen
_LITTERED = 0.06  # of the outside like cloth: more than threads
_FAINT = 0.65  # of the most that colours can tell, on both sides of an edge
_SURE = 0.4  # of a block, from the side opposite to one that is lost
_BARE = 0.45  # of them seen: mat lies there, not cloth


def follow_sides(
    rgb: np.ndarray,
    plane: PlaneLike,
    mat: Mat,
    corners_mm: np.ndarray,
    reach_mm: float,
    print_: tuple[np.ndarray, Ink] | None,
    small: Small,
    by_hand: bool = False,
) -> tuple[np.ndarray, list[Trace]]:
    """Follow the sides near four corners; `by_hand` ones stand where no edge is seen.

    Parameters
    ----------
    corners_mm : (4, 2) array
    reach_mm : float
        How far the sides may be off.
    print_ : pieces of the mat's lines and their colours, or None

    Returns
    -------
    (4, 2) array
        Corners, in pixels.
    list of Trace
        Top, right, bottom, left.

    Raises
    ------
    BlockCutOffError, EdgeNotFoundError
        Where not all sides are surely a block's; never for corners set by hand.
    """
    start = plane.px_from_mm(corners_mm, CLOTH_MM)
    around = plane.px_from_mm(corners_mm.mean(0) + np.array([[0.0, 0], [1, 0], [0, 1]]), CLOTH_MM)
    px_per_mm = float(np.sqrt(abs(np.linalg.det(around[1:] - around[0]))))
    look = partial(
        trace,
        rgb,
        mat,
        px_per_mm=px_per_mm,
        lines=lines_near(rgb, plane, *print_, corners_mm) if print_ is not None else None,
        barred=(small.barred, small.scale),
    )
    colours = Colours.learn(_inside(rgb, plane, corners_mm, reach_mm))

    def by_ends(near_px: np.ndarray, traces: list[Trace], reach_mm: float) -> list[Trace]:
        """Where colours do not tell a side, or hardly, the lines that end there may."""
        if print_ is None:
            return traces
        made = [
            None
            if trusted(t) and t.inside + t.outside > 2 * _FAINT
            else side_by_ends(rgb, plane, print_[0], near_px[[i, (i + 1) % 4]], reach_mm, px_per_mm)
            for i, t in enumerate(traces)
        ]
        return [t if one is None else one for t, one in zip(traces, made, strict=True)]

    if by_hand:
        near = (reach_mm + 1.5, reach_mm + _INSIDE_MM)
        traces, looks = look(colours, *_straight(start, False), _px(near, px_per_mm), fine=False)
        corners = _corners(plane, traces, start)
    else:
        near = (reach_mm + _OUTSIDE_MM, reach_mm + _INSIDE_MM)
        traces, looks = look(
            colours,
            *_straight(start, False),
            _px(near, px_per_mm),
            fine=False,
            doubt_px=reach_mm * px_per_mm,
        )
        traces = by_ends(start, traces, reach_mm)
        bare = lines_inside(small, _corners(plane, traces, None), px_per_mm)
        lost = [i for i, t in enumerate(traces) if t.support < _LOST or bare[i] > _BARE]
        if lost and not any((i + 2) % 4 in lost for i in lost):
            again = list(traces)
            for i in lost:
                # the part of the block that is surely cloth
                sure = corners_mm.copy()
                for end, other in ((i, i - 1), ((i + 1) % 4, (i + 2) % 4)):
                    sure[end] = corners_mm[other] + _SURE * (corners_mm[end] - corners_mm[other])
                known = Colours.learn(_inside(rgb, plane, sure, reach_mm))
                again[i] = _from_opposite(plane, traces, start, i, known, look, px_per_mm)
            corners = _corners(plane, again, None)
            if lines_inside(small, corners, px_per_mm).max() <= _BARE:
                inside = _inside(rgb, plane, plane.mm_from_px(corners, CLOTH_MM), 5.0)
                near = (_INSIDE_MM, _INSIDE_MM)
                traces, looks = look(
                    Colours.learn(inside),
                    *_straight(corners, False),
                    _px(near, px_per_mm),
                    fine=False,
                )
        corners = _corners(plane, traces, None)
        judge_sides(rgb.shape, corners, traces, plane)
        # print that is not known as such passes for cloth, and so may a line of it beside an edge;
        # another thing on the mat lies on one side or two
        like = [i for i, t in enumerate(traces) if t.littered > _LITTERED]
        if print_ is None and len(like) > 2:
            raise EdgeNotFoundError(
                "The mat's print cannot be told from the block: its lines could not be followed.",
                HINT,
                doubtful(corners, *like),
            )
    for _ in range(2):
        base, outward = _straight(corners, True)
        for i, t in enumerate(traces):
            if t.support > 0.3:
                base[i] = _onto(base[i], t, outward[i])
        traces, looks = look(
            looks, base, outward, _px((_CLOSE_MM, _CLOSE_MM), px_per_mm), fine=True
        )
        if not by_hand:
            traces = by_ends(corners, traces, _CLOSE_MM)
        corners = _corners(plane, traces, start if by_hand else None)
        if not by_hand:
            judge_sides(rgb.shape, corners, traces, plane)
        if max(t.moved for t in traces) < px_per_mm:
            break
    if not by_hand:
        judge_sides(rgb.shape, corners, traces, plane, final=True)
        bare = lines_inside(small, corners, px_per_mm)
        if bare.max() > _BARE:
            i = int(bare.argmax())
            raise EdgeNotFoundError(
                f"The mat's lines go on inside what was taken for the block's {SIDES[i]} edge.",
                HINT,
                doubtful(corners, i),
            )
    return corners, traces


def _px(reach_mm: tuple[float, float], px_per_mm: float) -> tuple[float, float]:
    return reach_mm[0] * px_per_mm, reach_mm[1] * px_per_mm


def _straight(corners: np.ndarray, fine: bool) -> tuple[np.ndarray, np.ndarray]:
    """(4, N, 2) places along the sides of four corners in clockwise order, (4, 2) ways out."""
    share = np.linspace(0.03, 0.97, BINS[fine])[:, None]
    along = np.roll(corners, -1, axis=0) - corners
    out = along @ np.array([[0, -1], [1, 0]]) / np.linalg.norm(along, axis=1, keepdims=True)
    return corners[:, None] + share * along[:, None], out


def _from_opposite(
    plane: PlaneLike,
    traces: list[Trace],
    start: np.ndarray,
    side: int,
    colours: Colours,
    look: partial[tuple[list[Trace], Looks]],
    px_per_mm: float,
) -> Trace:
    """Look for a side all the way from the one opposite, parallel to it.

    What lies beside a block (a shadow, a stain) may have been taken for a part of it.
    """
    near = plane.mm_from_px(traces[(side + 2) % 4].smooth_px[::-1], CLOTH_MM)
    along = (near[-1] - near[0]) / np.linalg.norm(near[-1] - near[0])
    away = np.array([along[1], -along[0]])
    ends = plane.mm_from_px(start[[side, (side + 1) % 4]], CLOTH_MM)
    last = float(((ends - near.mean(0)) @ away).max()) + _OUTSIDE_MM
    half = (last - _LEAST_MM) / 2
    if half < 1:
        return traces[side]
    base = plane.px_from_mm(near + (_LEAST_MM + half) * away, CLOTH_MM)
    out = plane.px_from_mm(near + (_LEAST_MM + half + 1) * away, CLOTH_MM) - base
    outward = (out.mean(0) / np.linalg.norm(out.mean(0)))[None]
    found, _ = look(colours, base[None], outward, _px((half, half), px_per_mm), fine=False)
    return found[0]


def lines_inside(small: Small, corners: np.ndarray, px_per_mm: float) -> np.ndarray:
    """(4,) share of the mat's lines just inside each side that are seen: cloth hides nearly all.

    Nothing is said (0) of sides with few lines inside, nor by few that are seen.
    """
    found = np.zeros(4)
    if small.segments is None or small.seen is None:
        return found
    middle = small.segments.mean(1)
    _, outward = _straight(corners, False)
    depth = -np.einsum("sni,si->sn", middle[None] - corners[:, None], outward) / px_per_mm
    within = (depth > _RIM_MM[0]).all(axis=0)
    for i in range(4):
        near = within & (depth[i] < _RIM_MM[1])
        if near.sum() >= _FEW and small.seen[near].sum() > _BY_CHANCE:
            found[i] = small.seen[near].mean()
    return found


def _inside(
    rgb: np.ndarray, plane: PlaneLike, corners_mm: np.ndarray, reach_mm: float
) -> np.ndarray:
    """(N, 3) colours of what is surely the block's inside."""
    across = np.linalg.norm(np.roll(corners_mm, -1, axis=0) - corners_mm, axis=1).min()
    edge = min(0.3, reach_mm / across)
    # closer together near the sides
    f = edge + (1 - 2 * edge) * (1 - np.cos(np.linspace(0, np.pi, 50))) / 2
    a, b, c, d = corners_mm[:, None, None]
    x, y = f[None, :, None], f[:, None, None]
    places = (1 - y) * ((1 - x) * a + x * b) + y * ((1 - x) * d + x * c)
    i = np.rint(plane.px_from_mm(places.reshape(-1, 2), CLOTH_MM)).astype(int)
    h, w = rgb.shape[:2]
    return rgb[np.clip(i[:, 1], 0, h - 1), np.clip(i[:, 0], 0, w - 1)]


def _onto(base: np.ndarray, found: Trace, n: np.ndarray) -> np.ndarray:
    """Move a straight base line with the normal `n` onto the curve found before."""
    u = np.array([-n[1], n[0]])
    s = found.smooth_px @ u
    return np.asarray(
        base + np.interp(base @ u, s, found.smooth_px @ n)[:, None] * n - (base @ n)[:, None] * n
    )


def _corners(plane: PlaneLike, traces: list[Trace], by_hand: np.ndarray | None) -> np.ndarray:
    """Meeting points of the straight lines through the sides."""
    sides = []
    for i, t in enumerate(traces):
        use = t.good if t.good.sum() > 10 else np.ones(len(t.good), bool)
        points = t.points_px[use]
        if by_hand is not None and not trusted(t):
            points = by_hand[[i, (i + 1) % 4]]
        sides.append(points)
    ends = np.cumsum([len(points) for points in sides])[:-1]
    lines = []
    for p in np.split(plane.mm_from_px(np.vstack(sides), CLOTH_MM), ends):
        middle = p.mean(0)
        direction = np.linalg.svd(p - middle, full_matrices=False)[2][0]
        lines.append((middle, direction))
    corners = np.array([meet(lines[i - 1], lines[i]) for i in range(4)])
    if not np.isfinite(corners).all():
        raise EdgeNotFoundError("The block's sides do not meet in four corners.", HINT)
    return np.asarray(plane.px_from_mm(corners, CLOTH_MM))
