"""Where blocks may lie: what is unlike mat, at an eighth of the photo's scale.

The mat's colour is learnt beside its printed lines where these are seen, else around the cards;
what differs from it, or hides its lines, and does not reach the photo's frame is a candidate.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from ...errors import BlockCutOffError, BlockTooSmallError, MeasureError
from .grounds import unlike_ground
from .hidden_lines import sharpened
from .judging import cut_off, doubtful
from .mat_looks import Mat
from .neighbours import parted
from .parts import Parts
from .rectangles import fill_best
from .small_picture import CLOTH_MM, PlaneLike, Small

SMALLEST_MM = 30.0
_SLENDER = 6.0  # longer for its width is no block but a ruler, or a strip
_SMALLEST_PX = 120.0
_CRUMB, _SMALLEST = 20, 300  # small pixels
_MOST = 4  # blocks in one patch
_FULL = 0.86  # of a block's outline is unlike mat
_ROUGH_MM = 8.0  # a candidate that is no surer may be told better
_UNSURE = 5.0  # small pixels
_SPILL = 0.08  # of a patch may hang out of its block: a dog-ear, a tool
_BY_LINES_MM = 6.0  # as lines a third of this apart tell
_NECK = 15  # small pixels
_THROUGH = 0.85  # of the lines are seen on what is clear


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
    faces : int or None
        The side that faces another block close by: 0 top, 1 right, 2 bottom, 3 left.
    """

    corners_mm: np.ndarray
    shortest_mm: float
    shortest_px: float
    area_mm2: float
    fill: float
    reach_mm: float = 0.0
    faces: int | None = None


def candidates_on(
    small: Small, mat: Mat, plane: PlaneLike
) -> tuple[list[list[Candidate]], MeasureError | None]:
    """What may be blocks, each in one or two readings, likelier first; or what is wrong."""
    unlike = unlike_ground(small, mat)
    unlike[(small.cards > 0) | (small.bare() > 0)] = 0
    found, problem = _at_levels(small, unlike, mat.limit, plane)
    # a glare, or a corner on the mat's rim, may join a block to the table
    if not found and small.cell:
        found, _ = _at_levels(small, np.zeros_like(unlike), mat.limit, plane)
    if not found:
        found, _ = _at_levels(small, unlike, mat.limit, plane, neck=_NECK)
    if small.cell and all(readings[0].reach_mm > _ROUGH_MM for readings in found):
        evenly = small.evenly(unlike, mat.limit)
        evenly[small.cards > 0] = 0
        better, _ = _at_levels(small, np.maximum(unlike, evenly), mat.limit, plane)
        found = [r for r in better if r[0].reach_mm <= _ROUGH_MM] or found
    return [one for readings in found for one in _apart(readings, small, mat, plane)], problem


def _at_levels(
    small: Small, unlike: np.ndarray, limit: float, plane: PlaneLike, neck: int = 5
) -> tuple[list[list[Candidate]], MeasureError | None]:
    """Look for blocks with one threshold after another; what is narrower than `neck` joins none."""
    hidden, through = small.hidden(), small.lines_seen
    found: list[list[Candidate]] = []
    problem: MeasureError | None = None
    # what a low threshold joins to the frame (by glare, or the mat's border) may stand clear of it
    table: np.ndarray | None = None
    for level in (1.0, 2.0, 4.0):
        if table is not None and not _stands_clear((unlike > level * limit) & (table > 0)):
            continue
        more, this, table = _at_level(small, unlike, level * limit, hidden, through, plane, neck)
        problem = problem or this
        found += [r for r in more if not any(_overlap(r[0], f[0]) for f in found)]
    return found, problem


def _apart(
    readings: list[Candidate], small: Small, mat: Mat, plane: PlaneLike
) -> list[list[Candidate]]:
    """Part what are two blocks with a groove between them."""
    parts = parted(small.rgb_px, mat, plane, readings[0].corners_mm)
    made = [
        (_candidate(plane.px_from_mm(corners, CLOTH_MM), 1.0, plane), side)
        for corners, side in parts
    ]
    apart = [[replace(c, reach_mm=2.0, faces=side)] for c, side in made if c is not None]
    return apart if len(apart) == 2 else [readings]


def _stands_clear(mask: np.ndarray) -> bool:
    """Whether a part of some size does not reach the photo's frame."""
    opened = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    parts = Parts.of(opened)
    return bool((~parts.on_frame & (parts.stats[:, 4] >= _SMALLEST))[1:].any())


def _overlap(a: Candidate, b: Candidate) -> bool:
    p, q = (c.corners_mm.astype(np.float32) for c in (a, b))
    return bool(cv2.intersectConvexConvex(p, q)[0] > 0)


def _at_level(
    small: Small,
    unlike: np.ndarray,
    limit: float,
    hidden_cell: tuple[np.ndarray, int],
    through: np.ndarray,
    plane: PlaneLike,
    neck: int,
) -> tuple[list[list[Candidate]], MeasureError | None, np.ndarray]:
    """Look for blocks with one threshold; last comes the mask of what reaches the frame."""
    square = np.ones((3, 3), np.uint8)
    # weakly unlike mat counts where it holds on to what is surely unlike it
    weak = cv2.morphologyEx(
        (unlike > limit).astype(np.uint8), cv2.MORPH_OPEN, np.ones((neck, neck), np.uint8)
    )
    sure = cv2.erode((unlike > 1.6 * limit + 1).astype(np.uint8), square)
    parts = Parts.of(weak)
    held = parts.touched(sure) & (parts.stats[:, 4] >= _CRUMB)
    held &= parts.mean_of(through) < _THROUGH  # a clear ruler, or a shadow
    differs, table = parts.only(held), parts.only(held & parts.on_frame)
    hidden, cell = hidden_cell[0].copy(), hidden_cell[1]
    near_table = cv2.dilate(table, np.ones((2 * (cell // 3) + 1,) * 2, np.uint8))
    hidden[(differs | small.cards) > 0] = 0
    parts = Parts.of(hidden)
    away = ~(parts.on_frame | parts.touched(near_table))
    hidden = parts.only(away & (parts.stats[:, 4] >= max(_CRUMB, 0.5 * cell**2)))
    shown = differs & ~table
    # no wider than this, or neighbouring blocks would become one
    whole = cv2.morphologyEx(shown | hidden, cv2.MORPH_CLOSE, square)
    found: list[list[Candidate]] = []
    problem: MeasureError | None = None
    parts = Parts.of(whole)
    for k in np.argsort(-parts.stats[1:, 4]) + 1:
        if parts.stats[k, 4] < _SMALLEST:
            break
        part = (parts.label == k).astype(np.uint8)
        bare = part & shown
        if bare.sum() < 0.25 * parts.stats[k, 4] and not small.lines_seen_around(part, cell):
            continue  # lines faint or dashed, or glare
        if _borders(part, small.cards) > 0.6:  # the paper that the card is printed on
            continue
        for _ in range(_MOST):
            readings = _readings(part, bare, hidden, small, plane)
            if not readings:
                break
            if _is_block(readings[0]):
                if readings[0].shortest_px >= _SMALLEST_PX:
                    found.append(readings)
                else:
                    problem = problem or _too_small(readings[0], plane)
            # what is left of it may be another one
            part = _without(part, readings[0], small, plane)
            bare = part & shown
            if part.sum() < _SMALLEST:
                break
    cut = None if found else _cut_off(table, small, plane)
    return found, cut or problem, table


def _readings(
    part: np.ndarray, bare: np.ndarray, hidden: np.ndarray, small: Small, plane: PlaneLike
) -> list[Candidate]:
    """A part as a block: by its colour, and by the lines it hides, likelier first."""
    seen = _quadrilateral(bare, small, plane) if bare.any() else None
    if seen is not None and (seen.fill < _FULL or _spills(bare, seen, small, plane)):
        seen = None
    if seen is not None:
        # a line beside an edge, and what blurs it in the small picture
        reach = max(5.0, _UNSURE * small.scale * seen.shortest_mm / seen.shortest_px)
        seen = replace(seen, reach_mm=min(reach, 0.2 * seen.shortest_mm))
    if not (part & hidden).any() or (seen is not None and not _goes_on(seen, small, part, plane)):
        return [seen] if seen is not None else []
    more = _quadrilateral(part, small, plane)
    if more is None or more.fill < 0.8:
        return []
    corners_px, told = sharpened(
        small.rgb_px, plane, plane.px_from_mm(more.corners_mm, CLOTH_MM), *small.lines
    )
    reach = _BY_LINES_MM if told.all() else 12.0
    stops = _candidate(in_order(corners_px), more.fill, plane)
    # a print of lines may pass for the mat's: then much of the patch would be left out
    if stops is not None and not _spills(part, stops, small, plane):
        more = stops
    else:
        reach = 12.0
    return [replace(more, reach_mm=min(reach, 0.2 * more.shortest_mm))]


def by_lines(found: Candidate, small: Small, plane: PlaneLike) -> Candidate | None:
    """A candidate as far as the mat's lines are hidden, where they tell of all its sides.

    A glare beside a block is unlike the mat as cloth is, but lines are seen in it.
    """
    if not small.cell:
        return None
    corners_px, told = sharpened(
        small.rgb_px, plane, plane.px_from_mm(found.corners_mm, CLOTH_MM), *small.lines
    )
    stops = _candidate(in_order(corners_px), found.fill, plane) if told.all() else None
    if stops is None or not _is_block(stops):
        return None
    return replace(stops, reach_mm=min(_BY_LINES_MM, 0.2 * stops.shortest_mm), faces=found.faces)


def _spills(patch: np.ndarray, taken: Candidate, small: Small, plane: PlaneLike) -> bool:
    """Whether much of a patch lies outside the outline, and is no other block: a triangle."""
    rest = _without(patch, taken, small, plane)
    if rest.sum() < _SPILL * patch.sum():
        return False
    other = _quadrilateral(rest, small, plane)
    return other is None or other.fill < _FULL or not _is_block(other)


def _is_block(c: Candidate) -> bool:
    """Whether it has a block's size, and is no ruler, or strip."""
    return c.shortest_mm >= SMALLEST_MM and c.area_mm2 <= _SLENDER * c.shortest_mm**2


def _too_small(c: Candidate, plane: PlaneLike) -> BlockTooSmallError:
    return BlockTooSmallError(
        "The block is too small in the photo.",
        "Hold the phone nearer to the block.",
        doubtful(plane.px_from_mm(c.corners_mm, CLOTH_MM)),
    )


def _without(part: np.ndarray, taken: Candidate, small: Small, plane: PlaneLike) -> np.ndarray:
    """Return a part without a candidate and what hangs on to it."""
    corners = small.to_small(plane.px_from_mm(taken.corners_mm, CLOTH_MM))
    covered = np.zeros_like(part)
    cv2.fillPoly(covered, [np.round(corners).astype(np.int32)], 1)
    covered = cv2.dilate(covered, np.ones((5, 5), np.uint8))
    rest = cv2.morphologyEx(part & (1 - covered), cv2.MORPH_OPEN, np.ones((9, 9), np.uint8))
    parts = Parts.of(rest)
    if len(parts.stats) < 2:
        return rest
    return np.asarray((parts.label == 1 + int(np.argmax(parts.stats[1:, 4]))).astype(np.uint8))


def _cut_off(table: np.ndarray, small: Small, plane: PlaneLike) -> BlockCutOffError | None:
    """A block that reaches past the frame, where what lies along the frame looks like one."""
    parts = Parts.of(table)
    for k in np.argsort(-parts.stats[1:, 4]) + 1:
        corners = _cut_corners((parts.label == k).astype(np.uint8), small, plane)
        if corners is not None:
            return cut_off(doubtful(small.to_photo(corners)))
    return None


def _cut_corners(part: np.ndarray, small: Small, plane: PlaneLike) -> np.ndarray | None:
    """Four corners of a convex piece with a square corner inside the photo.

    A table beyond the mat has none, nor have stripes and boards that end at something.
    """
    contours, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=cv2.contourArea)
    hull = cv2.convexHull(contour)
    area = cv2.contourArea(hull)
    if area < 0.005 * part.size or cv2.contourArea(contour) < 0.85 * area:
        return None
    corners = cv2.approxPolyDP(hull, 0.03 * cv2.arcLength(hull, True), True)[:, 0]
    h, w = part.shape
    inside = (corners > 4).all(axis=1) & (corners[:, 0] < w - 5) & (corners[:, 1] < h - 5)
    flat = plane.mm_from_px(small.to_photo(corners), CLOTH_MM)
    before, after = np.roll(flat, 1, axis=0) - flat, np.roll(flat, -1, axis=0) - flat
    long = np.minimum(np.linalg.norm(before, axis=1), np.linalg.norm(after, axis=1))
    cosine = np.sum(before * after, axis=1) / np.maximum(
        np.linalg.norm(before, axis=1) * np.linalg.norm(after, axis=1), 1e-9
    )
    if not (inside & (np.abs(cosine) < 0.25) & (long > SMALLEST_MM)).any():
        return None
    box = cv2.boxPoints(cv2.minAreaRect(hull))
    return np.asarray(in_order(np.clip(box, 0, (w - 1, h - 1)).astype(float)))


def _goes_on(found: Candidate, small: Small, part: np.ndarray, plane: PlaneLike) -> bool:
    """True where its patch goes on beyond a side: cloth of the mat's colour, or nearly so."""
    corners = small.to_small(plane.px_from_mm(found.corners_mm, CLOTH_MM))
    cell = small.cell
    for i in range(4):
        a, b = corners[i], corners[(i + 1) % 4]
        u = (b - a) / np.linalg.norm(b - a)
        out = np.array([u[1], -u[0]]) * cell
        strip = np.zeros(part.shape, np.uint8)
        corners_of = np.array([a + 0.6 * out, b + 0.6 * out, b + out, a + out])
        cv2.fillPoly(strip, [np.round(corners_of).astype(np.int32)], 1)
        if strip.any() and part[strip > 0].mean() > 0.6:
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
    found = fill_best(part, small, plane)
    return None if found is None else _candidate(in_order(found[0]), found[1], plane)


def _candidate(corners_px: np.ndarray, fill: float, plane: PlaneLike) -> Candidate | None:
    corners = plane.mm_from_px(corners_px, CLOTH_MM)
    if not np.isfinite(corners).all():
        return None
    whole = cv2.contourArea(corners.astype(np.float32))
    sides_mm, sides_px = (
        np.linalg.norm(np.roll(p, -1, axis=0) - p, axis=1) for p in (corners, corners_px)
    )
    return Candidate(corners, float(min(sides_mm)), float(min(sides_px)), whole, fill)


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
