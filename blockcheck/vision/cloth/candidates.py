"""Where blocks may lie: what is unlike mat, at an eighth of the photo's scale.

The mat's colour is learnt beside its printed lines where these are seen, else around the cards;
what differs from it, or hides its lines, and does not reach the photo's frame is a candidate.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from ...errors import BlockTooSmallError, MeasureError
from .judging import cut_off
from .mat_looks import Mat
from .small_picture import CLOTH_MM, PlaneLike, Small

SMALLEST_MM = 30.0
_SLENDER = 6.0  # longer for its width is no block but a ruler, or a strip
_SMALLEST_PX = 120.0
_CRUMB, _SMALLEST = 20, 120  # small pixels


@dataclass(frozen=True)
class Candidate:
    """A quadrilateral that may be a block.

    Attributes
    ----------
    corners_mm : (4, 2) array
    shortest_mm, shortest_px : float
        Its shortest side.
    area_mm2 : float
    fill : float
        How much of it is unlike mat.
    reach_mm : float
        How far its sides may be off.
    """

    corners_mm: np.ndarray
    shortest_mm: float
    shortest_px: float
    area_mm2: float
    fill: float
    reach_mm: float = 0.0


def candidates_on(
    small: Small, mat: Mat, plane: PlaneLike
) -> tuple[list[list[Candidate]], MeasureError | None]:
    """What may be blocks, each in one or two readings, likelier first; or what is wrong."""
    unlike = small.unlike(mat)
    unlike[small.cards > 0] = 0
    hidden = small.hidden()
    found: list[list[Candidate]] = []
    problem: MeasureError | None = None
    # what a low threshold joins to the frame (by glare, or the mat's border) may stand clear of it
    table: np.ndarray | None = None
    for level in (1.0, 2.0, 4.0):
        if table is not None and not _stands_clear((unlike > level * mat.limit) & (table > 0)):
            continue
        more, this, table = _at_level(small, unlike, level * mat.limit, hidden, plane)
        problem = problem or this
        found += [r for r in more if not any(_overlap(r[0], f[0]) for f in found)]
    return found, problem


def _stands_clear(mask: np.ndarray) -> bool:
    """Whether a part of some size does not reach the photo's frame."""
    opened = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    parts = _Parts.of(opened)
    return bool((~parts.on_frame & (parts.stats[:, 4] >= _SMALLEST))[1:].any())


def _overlap(a: Candidate, b: Candidate) -> bool:
    p, q = (c.corners_mm.astype(np.float32) for c in (a, b))
    return bool(cv2.intersectConvexConvex(p, q)[0] > 0)


def _at_level(
    small: Small,
    unlike: np.ndarray,
    limit: float,
    hidden_cell: tuple[np.ndarray, int],
    plane: PlaneLike,
) -> tuple[list[list[Candidate]], MeasureError | None, np.ndarray]:
    """Look for blocks with one threshold; last comes the mask of what reaches the frame."""
    square = np.ones((3, 3), np.uint8)
    # weakly unlike mat counts where it holds on to what is surely unlike it
    weak = cv2.morphologyEx(
        (unlike > limit).astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8)
    )
    sure = cv2.erode((unlike > 1.6 * limit + 1).astype(np.uint8), square)
    parts = _Parts.of(weak)
    held = parts.touched(sure) & (parts.stats[:, 4] >= _CRUMB)
    differs, table = parts.only(held), parts.only(held & parts.on_frame)
    hidden, cell = hidden_cell[0].copy(), hidden_cell[1]
    near_table = cv2.dilate(table, np.ones((2 * (cell // 3) + 1,) * 2, np.uint8))
    hidden[(differs | small.cards) > 0] = 0
    parts = _Parts.of(hidden)
    away = ~(parts.on_frame | parts.touched(near_table))
    hidden = parts.only(away & (parts.stats[:, 4] >= max(_CRUMB, 0.5 * cell**2)))
    shown = differs & ~table
    # no wider than this, or neighbouring blocks would become one
    whole = cv2.morphologyEx(shown | hidden, cv2.MORPH_CLOSE, square)
    found: list[list[Candidate]] = []
    problem: MeasureError | None = None
    _count, label, stats, _centre = cv2.connectedComponentsWithStats(whole)
    for k in np.argsort(-stats[1:, 4]) + 1:
        if stats[k, 4] < _SMALLEST:
            break
        part = (label == k).astype(np.uint8)
        bare = part & shown
        if bare.sum() < 0.25 * stats[k, 4] and not small.lines_seen_around(part, cell):
            continue  # lines faint or dashed, or glare
        if _borders(part, small.cards) > 0.6:  # the paper that the card is printed on
            continue
        got = _quadrilateral(bare, small, plane) if bare.any() else None
        readings = (
            []
            if got is None or got.fill < 0.86
            else [replace(got, reach_mm=min(5.0, 0.2 * got.shortest_mm))]
        )
        if (
            cell
            and (part & hidden).any()
            and (not readings or _goes_on(readings[0], small, hidden, plane, cell))
        ):
            more = _quadrilateral(part, small, plane)
            if more is not None and more.fill > 0.8:
                readings.insert(0, replace(more, reach_mm=min(12.0, 0.2 * more.shortest_mm)))
        if not readings or readings[0].shortest_mm < SMALLEST_MM:
            continue
        if readings[0].area_mm2 > _SLENDER * readings[0].shortest_mm ** 2:
            continue  # a ruler
        if readings[0].shortest_px < _SMALLEST_PX:
            problem = problem or BlockTooSmallError(
                "The block is too small in the photo.", "Hold the phone nearer to the block."
            )
            continue
        found.append(readings)
    _count, label = cv2.connectedComponents(table)
    if not found and any(_looks_cut_off((label == k).astype(np.uint8)) for k in range(1, _count)):
        problem = cut_off()
    return found, problem, table


@dataclass(frozen=True)
class _Parts:
    """Connected parts of a mask, the ground between them first."""

    label: np.ndarray
    stats: np.ndarray

    @classmethod
    def of(cls, mask: np.ndarray) -> _Parts:
        _, label, stats, _ = cv2.connectedComponentsWithStats(mask)
        return cls(label, stats)

    @property
    def on_frame(self) -> np.ndarray:
        """Which reach the photo's frame."""
        x, y, w, h = self.stats[:, :4].T
        rows, columns = self.label.shape
        return np.asarray((x < 2) | (y < 2) | (x + w > columns - 2) | (y + h > rows - 2))

    def touched(self, mask: np.ndarray) -> np.ndarray:
        """Which share a place with `mask`."""
        found = np.zeros(len(self.stats), bool)
        found[self.label[mask > 0]] = True
        return found

    def only(self, wanted: np.ndarray) -> np.ndarray:
        """Mask of the parts that are wanted."""
        wanted = wanted.copy()
        wanted[0] = False
        return np.asarray(wanted.astype(np.uint8)[self.label])


def _looks_cut_off(part: np.ndarray) -> bool:
    """A convex piece with a corner inside the photo; a table beyond the mat has none."""
    contours, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=cv2.contourArea)
    hull = cv2.convexHull(contour)
    area = cv2.contourArea(hull)
    if area < 0.005 * part.size or cv2.contourArea(contour) < 0.85 * area:
        return False
    corners = cv2.approxPolyDP(hull, 0.03 * cv2.arcLength(hull, True), True)[:, 0]
    h, w = part.shape
    inside = (corners > 4).all(axis=1) & (corners[:, 0] < w - 5) & (corners[:, 1] < h - 5)
    return bool(inside.sum() >= 1)


def _goes_on(
    found: Candidate, small: Small, hidden: np.ndarray, plane: PlaneLike, cell: int
) -> bool:
    """True where the mat's lines stay hidden beyond a side: cloth of the mat's colour."""
    corners = small.to_small(plane.px_from_mm(found.corners_mm, CLOTH_MM))
    for i in range(4):
        a, b = corners[i], corners[(i + 1) % 4]
        u = (b - a) / np.linalg.norm(b - a)
        out = np.array([u[1], -u[0]]) * cell
        strip = np.zeros(hidden.shape, np.uint8)
        corners_of = np.array([a + 0.6 * out, b + 0.6 * out, b + out, a + out])
        cv2.fillPoly(strip, [np.round(corners_of).astype(np.int32)], 1)
        if strip.any() and hidden[strip > 0].mean() > 0.6:
            return True
    return False


def area_mm2(plane: PlaneLike, corners_px: np.ndarray) -> float:
    return float(cv2.contourArea(plane.mm_from_px(corners_px, CLOTH_MM).astype(np.float32)))


def _borders(part: np.ndarray, cards: np.ndarray) -> float:
    """Fraction of the cards' rim that a part lies along."""
    rim = cv2.dilate(cards, np.ones((3, 3), np.uint8)) - cards
    near = cv2.dilate(part, np.ones((5, 5), np.uint8)) & rim
    count, label = cv2.connectedComponents(rim)
    return max((float(near[label == k].mean()) for k in range(1, count)), default=0.0)


def _quadrilateral(part: np.ndarray, small: Small, plane: PlaneLike) -> Candidate | None:
    """The quadrilateral about a part."""
    core = cv2.morphologyEx(part, cv2.MORPH_OPEN, np.ones((7, 7), np.uint8))
    contours, _ = cv2.findContours(
        core if core.any() else part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    contour = max(contours, key=cv2.contourArea)[:, 0]
    if len(contour) < 20:
        return None
    rim = plane.mm_from_px(small.to_photo(contour), CLOTH_MM)
    box = cv2.boxPoints(cv2.minAreaRect(rim.astype(np.float32))).astype(float)
    lines = []
    for i in range(4):
        a, b = box[i], box[(i + 1) % 4]
        length = np.linalg.norm(b - a)
        u = (b - a) / max(length, 1e-9)
        along, off = (rim - a) @ u, np.abs((rim - a) @ np.array([-u[1], u[0]]))
        depth = np.linalg.norm(box[(i + 2) % 4] - b)
        near = (off < 0.06 * depth + 2) & (along > 0.06 * length) & (along < 0.94 * length)
        if near.sum() < 8:
            return None
        vx, vy, x, y = cv2.fitLine(
            rim[near].astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01
        ).ravel()
        lines.append((np.array([x, y], float), np.array([vx, vy], float)))
    corners = np.array([meet(lines[i - 1], lines[i]) for i in range(4)])
    if not np.isfinite(corners).all():
        return None
    corners_px = in_order(plane.px_from_mm(corners, CLOTH_MM))
    corners = plane.mm_from_px(corners_px, CLOTH_MM)
    area, whole = (cv2.contourArea(p.astype(np.float32)) for p in (rim, corners))
    sides_mm, sides_px = (
        np.linalg.norm(np.roll(p, -1, axis=0) - p, axis=1) for p in (corners, corners_px)
    )
    return Candidate(
        corners, float(min(sides_mm)), float(min(sides_px)), whole, area / max(whole, 1e-9)
    )


def is_card(plane: PlaneLike, markers_px: np.ndarray, candidate: Candidate) -> bool:
    """True for a printed card that was not used as a reference: it shows markers."""
    quad = plane.px_from_mm(candidate.corners_mm).astype(np.float32)
    return sum(cv2.pointPolygonTest(quad, m.tolist(), False) > 0 for m in markers_px) >= 3


def meet(p: tuple[np.ndarray, np.ndarray], q: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Where two lines, each a point and a direction, meet."""
    M = np.stack([p[1], -q[1]], axis=1)
    if abs(np.linalg.det(M)) < 1e-3:
        return np.full(2, np.nan)
    return np.asarray(p[0] + np.linalg.solve(M, q[0] - p[0])[0] * p[1])


def in_order(corners_px: np.ndarray) -> np.ndarray:
    """Clockwise as seen, the first nearest the top left after a turn of less than 45°."""
    middle = corners_px.mean(0)
    turned = corners_px[np.argsort(np.arctan2(*(corners_px - middle).T[::-1]))]
    edge = np.roll(turned, -1, axis=0) - turned
    # the top side runs most nearly to the right
    top = int(np.argmax(edge[:, 0] / np.linalg.norm(edge, axis=1)))
    return np.roll(turned, -top, axis=0)
