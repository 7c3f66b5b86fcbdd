"""What may be marked on a block, from its seams: points near its edge, and the motif's axis."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np

from ..plane.plane import Plane
from .seam import Seam, beyond, cross
from .search import MODEL_MM, find_seams

POINT_REACH, AXIS_REACH = 4, 2  # seam allowances
_APART_MM = 5.0  # narrower strips are not sewn, so that nearer points are one
_STRAIGHT_ON = np.sin(np.radians(12))  # lines that meet at less have no certain meeting place
_TIP_MM, _TIP_MOST_MM, _END_MM = 3.0, 10.0, 2.5  # by how much a seam is seen too short
_VAGUE_MM = 2.0  # U95: a place that is less sure is of no use to trim by
_ASKEW = 0.05  # radians between a seam and the mirror image of another
_OFF_MM = 4.0  # between their middles
_AGREE_MM = 1.0  # between the middles of two pairs
_UNEQUAL = 0.2  # of the longer one's length
_SHARE = 0.4  # of all seams' length that must be as in a mirror


@dataclass(frozen=True)
class SeamPoint:
    """A place near the edge where seams meet: block coordinates, U95, how many seams."""

    x_mm: float
    y_mm: float
    u95_mm: float
    seams: int


@dataclass(frozen=True)
class Axis:
    """The motif's axis from edge to edge of the block: two ends in block coordinates, and U95."""

    ends_mm: tuple[tuple[float, float], tuple[float, float]]
    u95_mm: float


@dataclass(frozen=True)
class Suggested:
    """What may be marked on a block; guesses, to be looked at."""

    points: tuple[SeamPoint, ...]
    axis: Axis | None


def suggest_marks(
    rgb: np.ndarray,
    plane: Plane,
    corners_px: np.ndarray,
    corners_mm: np.ndarray,
    outline_mm: np.ndarray,
    height_mm: float,
    seam_mm: float,
) -> Suggested:
    """Suggest points and a centre line from the seams seen in the photo.

    Parameters
    ----------
    rgb, plane, corners_px, outline_mm, height_mm
        As of `find_seams`.
    corners_mm : (4, 2) array
        The corners in block coordinates.
    seam_mm : float
        Seam allowance: points are looked for within four of it from the raw edge, the axis
        within two from the block's middle.
    """
    seams = find_seams(rgb, plane, corners_px, outline_mm, height_mm)
    points = points_near_edge(seams, outline_mm, POINT_REACH * seam_mm)
    return Suggested(points, axis_of(seams, corners_mm, AXIS_REACH * seam_mm))


def points_near_edge(
    seams: tuple[Seam, ...], outline_mm: np.ndarray, reach_mm: float
) -> tuple[SeamPoint, ...]:
    """Find where two or more seams meet within `reach_mm` of the raw edge.

    Returns
    -------
    tuple of SeamPoint
        Clockwise from the top left, as seen from the block's middle.
    """
    outline = outline_mm.astype(np.float32)
    met: list[tuple[float, float, np.ndarray, set[int]]] = []
    for (i, one), (j, two) in combinations(enumerate(seams), 2):
        sine = abs(cross(one.along, two.along))
        if sine < _STRAIGHT_ON:
            continue
        # near a narrow tip there is less cloth than is compared, so that seams seem to end early
        gap = _END_MM + min(_TIP_MM / sine, _TIP_MOST_MM)
        at = _meeting(one, two)
        if max(beyond(one, at), beyond(two, at)) > gap:
            continue
        inside = cv2.pointPolygonTest(outline, (float(at[0]), float(at[1])), True)
        u = _meeting_u(one, two, at)
        if 0 <= inside <= reach_mm and 2 * u < _VAGUE_MM:
            met.append((u, min(one.contrast, two.contrast), at, {i, j}))
    points: list[tuple[float, np.ndarray, set[int]]] = []
    for u, _, at, which in sorted(met, key=lambda m: (round(m[0], 1), -m[1])):
        near = (p for p in points if np.linalg.norm(at - p[1]) < _APART_MM)
        if (same := next(near, None)) is not None:
            same[2].update(which)
        else:
            points.append((u, at, set(which)))
    middle = outline_mm.mean(axis=0)
    points.sort(key=lambda p: (np.arctan2(*(p[1] - middle)[::-1]) + 0.75 * np.pi) % (2 * np.pi))
    return tuple(SeamPoint(float(at[0]), float(at[1]), 2 * u, len(w)) for u, at, w in points)


def axis_of(seams: tuple[Seam, ...], corners_mm: np.ndarray, reach_mm: float) -> Axis | None:
    """Find the upright or level line on both sides of which seams lie as in a mirror.

    Only where a slanting pair, or two pairs, say so, most of the seams fit, and the line lies
    within `reach_mm` of the block's middle: one pair of strips has no axis of its own.

    Parameters
    ----------
    seams : tuple of Seam
    corners_mm : (4, 2) array
        The block's corners in block coordinates.
    reach_mm : float
    """
    total = sum(seam.length_mm for seam in seams)
    found = []
    for one, two in (((0, 3), (1, 2)), ((0, 1), (3, 2))):  # upright, level
        ends = (corners_mm[list(one)] + corners_mm[list(two)]) / 2
        pairs, across = _mirrored(seams, ends, reach_mm)
        if not pairs:
            continue
        # seams of different parts may pair by chance: the place that most of the length agrees on
        agreeing = [[q for q in pairs if abs(q.off_mm - p.off_mm) < _AGREE_MM] for p in pairs]
        pairs = max(agreeing, key=lambda these: sum(p.length_mm for p in these))
        share = sum(pair.length_mm for pair in pairs)
        offs = np.array([pair.off_mm for pair in pairs])
        share += sum(s.length_mm for s, off in across if abs(off - offs.mean()) < _OFF_MM)
        if share < _SHARE * total or not (len(pairs) > 1 or any(p.slanting for p in pairs)):
            continue
        way = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        a, b = ends + offs.mean() * np.array([-way[1], way[0]])
        line = ((float(a[0]), float(a[1])), (float(b[0]), float(b[1])))
        found.append((share, Axis(line, 2 * float(np.hypot(MODEL_MM, np.std(offs))))))
    return max(found, key=lambda f: f[0])[1] if found else None


@dataclass(frozen=True)
class _Pair:
    """Two seams as in a mirror: its distance from the block's middle line, their length."""

    off_mm: float
    length_mm: float
    slanting: bool


def _mirrored(
    seams: tuple[Seam, ...], ends: np.ndarray, reach_mm: float
) -> tuple[list[_Pair], list[tuple[Seam, float]]]:
    """Pairs about a line near the one through `ends`; seams straight across, with their middles."""
    way = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    frame = np.array([way, [-way[1], way[0]]])
    own = [(s, frame @ (s.middle_mm - ends[0]), frame @ s.along) for s in seams]
    across = [(s, float(p[1])) for s, p, d in own if abs(d[0]) < _ASKEW]
    pairs = []
    for (s, p, d), (r, q, e) in combinations([o for o in own if abs(o[2][0]) >= _ASKEW], 2):
        off = float(p[1] + q[1]) / 2
        if (
            abs(cross(d, e * (1, -1))) < _ASKEW
            and abs(p[0] - q[0]) < _OFF_MM < abs(p[1] - q[1])
            and abs(s.length_mm - r.length_mm) < _UNEQUAL * max(s.length_mm, r.length_mm)
            and abs(off) < reach_mm
        ):
            pairs.append(_Pair(off, s.length_mm + r.length_mm, min(abs(d)) > 4 * _ASKEW))
    return pairs, across


def _meeting(one: Seam, two: Seam) -> np.ndarray:
    """(2,) where two seams' lines meet."""
    across = np.column_stack([one.along, -two.along])
    t = np.linalg.solve(across, two.middle_mm - one.middle_mm)[0]
    return np.asarray(one.middle_mm + t * one.along)


def _meeting_u(one: Seam, two: Seam, at: np.ndarray) -> float:
    """1 sigma of the meeting place, in its worst direction."""
    normals = np.array([[-s.along[1], s.along[0]] for s in (one, two)])
    u = [np.hypot(s.u_mm, s.u_turn * np.linalg.norm(at - s.middle_mm)) for s in (one, two)]
    return float(np.linalg.norm(np.linalg.inv(normals) * u, 2))
