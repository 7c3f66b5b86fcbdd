"""Straight seams inside a measured block, as the photo shows them.

The block is laid flat, coarsely, only to find. Line segments (LSD: Grompone von Gioi et al. 2010,
doi:10.1109/TPAMI.2008.300) are mere hints where a seam may run. Along each hint the cloth on both
sides is compared: on a seam two different cloths meet sharply, the same two for a long way. Lines of
a print look alike again after one repeat (stripes, ginghams, rows of dots) or change on their way
(flowers), and are left out; so is much that is a seam, since a false suggestion costs more than a
missing one. What is left is located in the photo's own pixels.

Block coordinates are millimetres from corner 0, x along the top side, y down.
"""

from __future__ import annotations

import itertools
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np

from ..plane.plane import Plane
from .seam import Seam, joined, lies_on, tied

MODEL_MM = 0.2  # 1 sigma of how far the fold seen lies from the line of stitches
MODEL_TURN_MM = 0.1  # of that, what differs from one end of a seam to the other
_PX_PER_MM, _LONG_SIDE_PX = 3.0, 900
_EDGE_MM = 1.5  # along the raw edge: fray, shadow, mat
_STEP_MM, _ACROSS_MM = 1.0, 0.25
_BAND_MM = 3.0  # of cloth that is compared on each side
_AROUND = np.array([[-1.0], [1.0]]) * (_BAND_MM + 2)  # beside the cloth, as far as is looked
_REPEATS_MM = 1.5, 9.5, 22.0  # repeats of a print that are looked for, the short ones first
_MIX_MM = 7  # length over which a print is averaged
_CONTRAST = 5.0  # least difference of two cloths, CIE Lab
_SHORTEST_MM = 14.0
_ALIKE = 0.1  # squared difference of a print's repeats ÷ that of the two sides
_RAGGED_MM = 0.6  # no seam strays as far from straight
_SAME_MM = 0.5  # runs nearer to each other show the same line
_HINTS = 300
_FEW = 8  # places, each a mm: less is no part of a seam
_NODE_PX = 16  # apart: between them the flat picture's way into the photo is as good as straight
_ROWS = 40  # places along a line that are enough to know a print by


@dataclass(frozen=True)
class _Seen:
    """A block in the photo: where its block coordinates lie, and the photo's colours there."""

    rgb: np.ndarray
    plane: Plane
    origin: np.ndarray
    turn: np.ndarray
    height_mm: float

    @classmethod
    def of(cls, rgb: np.ndarray, plane: Plane, corners_px: np.ndarray, height_mm: float) -> _Seen:
        corners = plane.mm_from_px(corners_px, height_mm)
        c, s = (corners[1] - corners[0]) / np.linalg.norm(corners[1] - corners[0])
        return cls(rgb, plane, corners[0], np.array([[c, s], [-s, c]]), height_mm)

    def px(self, points_mm: np.ndarray) -> np.ndarray:
        """(h, w, 2) float32 pixels of (h, w, 2) places in block coordinates."""
        flat = points_mm.reshape(-1, 2) @ self.turn + self.origin
        px = self.plane.px_from_mm(flat, self.height_mm).reshape(points_mm.shape)
        return np.asarray(px, np.float32)

    def at(self, px: np.ndarray) -> np.ndarray:
        """(h, w, 3) uint8 colours at pixels."""
        return np.asarray(cv2.remap(self.rgb, px, None, cv2.INTER_LINEAR))


@dataclass(frozen=True)
class _View:
    """A block laid flat.

    `lab` and `cloth` are (H, W, 3) float32, the pixel of (x, y) mm is k (x, y) + `shift`; `cloth`
    is NaN off the cloth, which lies between `low` and `high` (mm).
    """

    lab: np.ndarray
    cloth: np.ndarray
    k: float
    shift: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def along(self, point: np.ndarray, way: np.ndarray) -> np.ndarray:
        """(n,) places every mm on a line as far as it may run through the cloth, or beside it."""
        with np.errstate(divide="ignore", invalid="ignore"):
            ends = (np.stack([self.low, self.high]) + _AROUND - point) / way
        near, far = np.nanmax(ends.min(axis=0)), np.nanmin(ends.max(axis=0))
        # every line's places are counted from as far away, whichever part of it is in the cloth
        away = float(np.linalg.norm(self.high - self.low))
        return np.arange(np.ceil(near + away), far + away, _STEP_MM) - away

    def beside(
        self, point: np.ndarray, way: np.ndarray, t: np.ndarray, across: np.ndarray
    ) -> np.ndarray:
        """(n, m, 3) colours `t` (n,) along a line and `across` (m,) from it, NaN off the cloth."""
        x, y = (
            (self.k * (at + t * along) + off).astype(np.float32)[:, None]
            + (self.k * across * aside).astype(np.float32)
            for at, along, aside, off in zip(point, way, (-way[1], way[0]), self.shift, strict=True)
        )
        return cv2.remap(self.cloth, x, y, cv2.INTER_LINEAR, borderValue=(np.nan,) * 3)

    def between(self, ends: np.ndarray, across: np.ndarray) -> np.ndarray:
        """(n, m, 3) colours as of `beside`, every mm from one end to the other."""
        length = float(np.linalg.norm(ends[1] - ends[0]))
        t = np.arange(0.5, length, _STEP_MM)
        return self.beside(ends[0], (ends[1] - ends[0]) / length, t, across)


def find_seams(
    rgb: np.ndarray, plane: Plane, corners_px: np.ndarray, outline_mm: np.ndarray, height_mm: float
) -> tuple[Seam, ...]:
    """Find straight seams inside a block.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array
    plane : Plane
        Of this photo.
    corners_px : (4, 2) array
        The block's corners in the photo.
    outline_mm : (N, 2) array
        Its raw edges in block coordinates.
    height_mm : float
        Of the cloth's face above the mat.
    """
    photo = _Seen.of(rgb, plane, corners_px, height_mm)
    view = _flat(photo, outline_mm)
    step = 0.5 / plane.px_per_mm(photo.origin)
    found: list[Seam] = []
    printed: list[np.ndarray] = []  # or ragged: a run along it is not judged again

    def judged(ends: np.ndarray) -> bool:
        return lies_on(ends, [s.ends_mm for s in found]) or lies_on(ends, printed, _SAME_MM)

    for hint in _hints(view):
        if judged(hint):
            continue
        for run in _runs(view, hint):
            if judged(run):
                continue
            seam = _locate(photo, view, run, step)
            if seam is None:
                printed.append(run)
            elif not lies_on(seam.ends_mm, [s.ends_mm for s in found]):
                found.append(seam)
    return tied(joined(found), outline_mm)


def _flat(photo: _Seen, outline: np.ndarray) -> _View:
    """Lay a block flat: at most 3 px to the millimetre, to find only."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    k = min(_PX_PER_MM, _LONG_SIDE_PX / float((high - low).max()))
    wide, tall = np.ceil((high - low) * k).astype(int)
    # twice as fine, then halved, so that fine prints do not flicker
    nodes = [
        (np.arange(-1, -(-2 * n // _NODE_PX) + 1) + 0.5) * _NODE_PX / (2 * k) for n in (wide, tall)
    ]
    px = photo.px(np.stack(np.meshgrid(*nodes), axis=-1) + low)
    px = cv2.resize(px, None, fx=_NODE_PX, fy=_NODE_PX, interpolation=cv2.INTER_LINEAR)
    inner = slice(_NODE_PX, _NODE_PX + 2 * tall), slice(_NODE_PX, _NODE_PX + 2 * wide)
    seen = photo.at(np.ascontiguousarray(px[inner]))
    small = cv2.resize(seen, (int(wide), int(tall)), interpolation=cv2.INTER_AREA)
    lab = cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    shift = -low * k - 0.5
    inside = np.zeros((tall, wide), np.uint8)
    cv2.fillPoly(inside, [np.round(outline * k + shift).astype(np.int32)], 1)
    edge = 2 * round(_EDGE_MM * k) + 1
    inside = cv2.erode(inside, np.ones((edge, edge), np.uint8), borderValue=0)
    cloth = np.where(inside[..., None] > 0, lab, np.float32(np.nan))
    return _View(lab, cloth, k, shift, low, high)


def _places(ends: np.ndarray, across: np.ndarray, step: float) -> np.ndarray:
    """(n, m, 2) places along a line every `step` mm, and beside it."""
    length = float(np.linalg.norm(ends[1] - ends[0]))
    along = (ends[1] - ends[0]) / length
    normal = np.array([-along[1], along[0]])
    t = np.arange(0.5, length, step)
    return np.asarray(ends[0] + t[:, None, None] * along + across[:, None] * normal)


def _hints(view: _View) -> list[np.ndarray]:
    """(2, 2) ends of line segments, the longest first, near doubles left out."""
    pictures = []
    for blur_mm in (0.35, 1.2):
        smooth = cv2.GaussianBlur(view.lab, (0, 0), blur_mm * view.k)
        for channel, gain in enumerate((2.5, 3.0, 3.0)):
            at = smooth[..., channel] * gain + (0 if channel == 0 else 128)
            pictures.append(np.clip(at, 0, 255).astype(np.uint8))
    with ThreadPoolExecutor(len(pictures)) as threads:
        segments = np.vstack(list(threads.map(_segments, pictures)))
    ends = (segments - view.shift) / view.k
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    hints: list[np.ndarray] = []
    lines = np.zeros((0, 4))
    for i in np.argsort(-length):
        if length[i] < 3 or len(hints) == _HINTS:
            break
        middle, along = ends[i].mean(0), (ends[i, 1] - ends[i, 0]) / length[i]
        off = lines[:, 2] * (middle[1] - lines[:, 1]) - lines[:, 3] * (middle[0] - lines[:, 0])
        turn = lines[:, 2] * along[1] - lines[:, 3] * along[0]
        if not ((np.abs(turn) < 0.02) & (np.abs(off) < 0.5)).any():
            hints.append(ends[i])
            lines = np.vstack([lines, (*middle, *along)])
    return hints


def _segments(picture: np.ndarray) -> np.ndarray:
    """(n, 2, 2) ends of line segments, pixels."""
    lines = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD).detect(picture)[0]
    return np.zeros((0, 2, 2)) if lines is None else np.asarray(lines).reshape(-1, 2, 2)


def _runs(view: _View, hint: np.ndarray) -> list[np.ndarray]:
    """(2, 2) ends of the stretches of the line through a hint's ends where two cloths meet."""
    point, along = hint.mean(axis=0), (hint[1] - hint[0]) / np.linalg.norm(hint[1] - hint[0])
    across = np.arange(-_BAND_MM - 1, _BAND_MM + 1 + 1e-9, _ACROSS_MM)
    for _ in range(2):  # follow the sharpest place across: a short hint's direction is rough
        t = view.along(point, along)
        seen = view.beside(point, along, t, across)
        a, b = max(_stretches(seen, across), key=lambda run: run[1] - run[0], default=(0, 0))
        offs = _steepest(seen[a:b], across) if b > a else np.zeros(0)
        good = np.isfinite(offs) & (np.abs(offs) < 1.5)
        if good.sum() < 6:
            return []
        off, slope = _straight(t[a:b][good], offs[good])
        normal = np.array([-along[1], along[0]])
        point = point + off * normal
        along = (along + slope * normal) / np.hypot(1, slope)
    t = view.along(point, along)
    seen = view.beside(point, along, t, across)
    return [
        np.array([point + t[a] * along, point + t[b - 1] * along])
        for a, b in _stretches(seen, across)
        if b - a >= _SHORTEST_MM / _STEP_MM
    ]


def _bands(seen: np.ndarray, across: np.ndarray, low: float, high: float) -> np.ndarray:
    """(n, 3) colour right of the line minus left of it, between two distances from it."""
    first, last = np.searchsorted(across, low), np.searchsorted(across, high, "right")
    start, end = np.searchsorted(across, -high), np.searchsorted(across, -low, "right")
    return _mean(seen[:, first:last]) - _mean(seen[:, start:end])


def _mean(part: np.ndarray) -> np.ndarray:
    """(n, 3) means of (n, m, 3), as one product: much of the search's time goes here."""
    n, m, _ = part.shape
    return np.asarray(part.reshape(n, 3 * m) @ np.tile(np.eye(3, dtype=part.dtype) / m, (m, 1)))


def _mixed(values: np.ndarray) -> np.ndarray:
    """Mean over a print's length, of what is known; NaN stays NaN."""
    known = np.isfinite(values)
    sums = cv2.blur(np.where(known, values, 0), (1, _MIX_MM), borderType=cv2.BORDER_CONSTANT)
    part = cv2.blur(known.astype(values.dtype), (1, _MIX_MM), borderType=cv2.BORDER_CONSTANT)
    return np.where(known, sums / np.maximum(part, 1e-9), np.nan)


def _stretches(seen: np.ndarray, across: np.ndarray) -> list[tuple[int, int]]:
    """Index ranges where the sides differ sharply, and by the same colours."""
    far = _bands(seen, across, 0.75, _BAND_MM)
    mixed = _mixed(far)
    size = np.linalg.norm(mixed, axis=1)
    if np.count_nonzero(size > _CONTRAST) < _FEW:  # plain cloth, most of the time
        return []
    close = _mixed(_bands(seen, across, 0.25, 1.25))
    sharp = np.sum(close * mixed, axis=1) > 0.55 * size**2
    ok = np.isfinite(size) & (size > _CONTRAST) & sharp
    changes = np.flatnonzero(np.diff(ok, prepend=False, append=False))
    runs = []
    for first, last in changes.reshape(-1, 2):
        if last - first >= _FEW:
            own = slice(first, last)
            runs += [
                (first + a, first + b)
                for a, b in _of_one_kind(mixed[own], size[own])
                if b - a >= _FEW and _steady(far[first + a : first + b])
            ]
    return runs


def _of_one_kind(colours: np.ndarray, sizes: np.ndarray) -> list[tuple[int, int]]:
    """Index ranges in which each (n, 3) difference is like the last ones before it."""
    sums = np.vstack([np.zeros(3), np.cumsum(colours, axis=0)])
    cuts = [0]
    while True:
        i = np.arange(cuts[-1] + 1, len(colours))
        so_far = sums[i] - sums[np.maximum(cuts[-1], i - 12)]
        meet = np.einsum("ij,ij->i", colours[i], so_far)
        unlike = np.flatnonzero(meet <= 0.7 * sizes[i] * np.linalg.norm(so_far, axis=1))
        if not len(unlike):
            return list(itertools.pairwise([*cuts, len(colours)]))
        cuts.append(int(i[unlike[0]]))


def _steady(far: np.ndarray) -> bool:
    """Whether nearly every place shows the same difference of cloths."""
    mean = far.mean(axis=0)
    part = far @ mean / (mean @ mean + 1e-9)
    return bool(np.mean(part > 0.15) > 0.9 and np.std(part) < 0.8)


def _steepest(seen: np.ndarray, across: np.ndarray) -> np.ndarray:
    """(n,) place across the line of the sharpest change along the mean difference."""
    way = np.nanmean(_bands(seen, across, 0.75, _BAND_MM), axis=0)
    value = seen @ (way / np.linalg.norm(way))
    value = cv2.GaussianBlur(value.astype(np.float32), (0, 0), 1.2, sigmaY=1.5)
    slope = np.gradient(value, axis=1)
    slope[:, np.abs(across) > 1.8] = -np.inf
    slope[~np.isfinite(slope)] = -np.inf
    i = np.argmax(slope, axis=1)
    rows, i = np.arange(len(i)), np.clip(i, 1, len(across) - 2)
    a, b, c = slope[rows, i - 1], slope[rows, i], slope[rows, i + 1]
    with np.errstate(invalid="ignore", divide="ignore"):
        off = 0.5 * (a - c) / (a - 2 * b + c)
    return across[i] + np.where(np.abs(off) < 1, off, np.nan) * (across[1] - across[0])


def _printed(view: _View, ends: np.ndarray) -> bool:
    """Whether the line belongs to a print: what lies beside it comes again after one repeat."""
    ranges = itertools.pairwise(_REPEATS_MM)  # most prints repeat soon
    return any(_comes_again(view, ends, low_mm, high_mm) for low_mm, high_mm in ranges)


def _comes_again(view: _View, ends: np.ndarray, low_mm: float, high_mm: float) -> bool:
    """Whether a print repeats at some distance from a line."""
    reach = 2 * high_mm + 3
    across = np.arange(-reach, reach + 1e-9, _ACROSS_MM)
    seen = view.between(ends, across)
    seen = _mixed(seen.reshape(len(seen), -1)).reshape(seen.shape)
    seen = seen[1 :: max(3, len(seen) // _ROWS)]  # neighbours are alike
    zero, near = len(across) // 2, round(2 / _ACROSS_MM)
    jump = seen[:, zero + 1 : zero + 5].mean(axis=1) - seen[:, zero - 4 : zero].mean(axis=1)
    seen /= np.sqrt(np.sum(jump**2, axis=1) + 1e-9)[:, None, None]
    lines = np.ascontiguousarray(seen.transpose(1, 0, 2)).reshape(len(across), -1)

    def alike(squares: np.ndarray) -> np.ndarray:
        """(m,) whether strips are alike at most places, from mean squares (m, places × 3)."""
        # beyond a slanting seam the print is not seen: half of the length is enough
        return (squares.reshape(len(squares), -1, 3).sum(axis=2) < _ALIKE).mean(axis=1) > 0.5

    repeats = np.arange(round(low_mm / _ACROSS_MM), round(high_mm / _ACROSS_MM))
    beside = [lines[zero - r : zero] - lines[zero : zero + r] for r in repeats]
    if alike(np.stack([np.einsum("kv,kv->v", d, d) / len(d) for d in beside])).any():
        return True
    # the same edge, twice more at this distance
    edges = np.lib.stride_tricks.sliding_window_view(lines, 2 * near, axis=0)
    far = np.outer(repeats[repeats > near], (-2, -1, 1, 2)).ravel()
    off = edges[zero - near + far] - edges[zero - near]
    again = alike(np.einsum("mvk,mvk->mv", off, off) / (2 * near)).reshape(-1, 4)
    return bool((again[:, 1:] & again[:, :-1]).any())


def _locate(photo: _Seen, view: _View, ends: np.ndarray, step: float) -> Seam | None:
    """Fit a run's line in the photo, looked at every `step` mm; None for a line of a print."""
    if _printed(view, ends):
        return None
    across = np.arange(-_BAND_MM, _BAND_MM + 1e-9, _ACROSS_MM)
    sides = _bands(view.between(ends, across), across, 0.75, _BAND_MM)
    across = np.arange(-2.5, 2.5 + step, step)
    length = float(np.linalg.norm(ends[1] - ends[0]))
    apart = max(step, length / 400)
    seen = photo.at(photo.px(_places(ends, across, apart))).astype(np.float32)
    way = _bands(seen, across, 0.75, 2.5).mean(axis=0)
    value = seen @ (way / np.linalg.norm(way)).astype(np.float32)
    value = cv2.GaussianBlur(value, (0, 0), 1.5, sigmaY=max(1.0, 1.0 / apart))
    slope = np.gradient(value, axis=1)
    slope[:, np.abs(across) > 1.5] = 0
    weight = np.clip(slope - 0.5 * slope.max(axis=1, keepdims=True), 0, None)
    offs = (weight @ across) / np.maximum(weight.sum(axis=1), 1e-9)
    t = 0.5 + apart * np.arange(len(offs))
    start, slant = _straight(t, offs)
    spread = 1.4826 * float(np.median(np.abs(offs - start - slant * t)))
    if spread > _RAGGED_MM:
        return None
    along = (ends[1] - ends[0]) / length
    normal = np.array([-along[1], along[0]])
    noise = spread / np.sqrt(max(length / 3, 2))  # neighbouring places are not independent
    return Seam(
        ends + np.outer([start, start + slant * length], normal),
        float(np.hypot(MODEL_MM, noise)),
        float(np.hypot(MODEL_TURN_MM, noise) / (length / np.sqrt(12))),
        float(np.linalg.norm(np.nanmean(sides, axis=0))),
    )


def _straight(t: np.ndarray, offs: np.ndarray) -> tuple[float, float]:
    """Value at zero and slope of a robust line."""
    points = np.column_stack([t, offs]).astype(np.float32)
    vx, vy, x, y = cv2.fitLine(points, cv2.DIST_HUBER, 0, 0.001, 0.001).ravel()
    return float(y - x * vy / vx), float(vy / vx)
