"""The mat's print as this photo shows it: the ink's colour, and each line where it really runs.

A printed lattice is foreseen to a few tenths of a millimetre only: lenses leave a residue, mats
curl and shrink, and lines come in several weights. So every piece of line that is seen near a
block is looked at across, and what a block hides is taken to run as the rest of its line does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from .evidence import BESIDE, ON, Colours
from .mat_looks import dot, linear, lookup, median_known
from .small_picture import PlaneLike, depths

_ENOUGH = 150  # pieces of line to tell their colour from
_LINE_MM = 0.9  # the widest printed line
_OFF_MM = 1.2  # how far off its foreseen place a line is looked for
_ABOUT_MM = 0.25  # how well a line's place is known from its own pieces
_AROUND_MM = 18.0  # of the block, where lines matter
_FAR = 25  # pieces along a line: seen further off they do not tell where it runs
_FAINT = 0.3  # of the ink's usual strength: less is no line
_DASHED = 0.12  # of the pieces halfway between lines are seen: there are lines, whole or dashed
_EXCHANGES = (  # that leave the middle one of nine in its place
    *((1, 2), (4, 5), (7, 8), (0, 1), (3, 4), (6, 7), (1, 2), (4, 5), (7, 8), (0, 3)),
    *((5, 8), (4, 7), (3, 6), (1, 4), (2, 5), (4, 7), (4, 2), (6, 4), (4, 2)),
)
_WITHIN = np.linspace(0.12, 0.88, 9)  # of a piece, clear of the crossing lines


@dataclass(frozen=True)
class Ink:
    """Colours of the print, grey levels.

    Attributes
    ----------
    ink, mat : (3,) arrays
        Colour of the lines, and of the mat beside them.
    halfway : (3,) array
        Colour of an even mixture of both in linear light, as blur makes it.
    """

    ink: np.ndarray
    mat: np.ndarray
    halfway: np.ndarray

    @classmethod
    def of(cls, ink: np.ndarray, mat: np.ndarray) -> Ink:
        """Mix the two."""
        mixed = (linear(ink) + linear(mat)) / 2
        return cls(ink, mat, encoded(mixed))


@dataclass(frozen=True)
class Printed:
    """The mat's printed lines near a block.

    Attributes
    ----------
    ink : Ink
    colours : Colours or None
        All that is seen on and just beside the lines.
    mask : (h, w) uint8 array
        `ON` a line, `BESIDE` one where it may also be, else 0.
    corner_px : (2,) array
        Photo pixel of the mask's first.
    """

    ink: Ink
    colours: Colours | None
    mask: np.ndarray
    corner_px: np.ndarray

    def at(self, places_px: np.ndarray) -> np.ndarray:
        """What (h, w, 2) places are."""
        return lookup(self.mask, places_px - self.corner_px)


def ink_of(rgb: np.ndarray, plane: PlaneLike, segments: np.ndarray, seen: np.ndarray) -> Ink | None:
    """The ink's colour, from the pieces of line that are seen."""
    some = np.flatnonzero(seen)
    some = some[:: max(1, len(some) // _ENOUGH)]
    if not len(some):
        return None
    profile, _ = _across(rgb, plane, segments[some])
    beside = _beside(profile)
    off = profile - beside[:, None]
    strongest = np.linalg.norm(off, axis=2).argmax(axis=1)
    peak = off[np.arange(len(off)), strongest]
    # the larger half is clear of what was taken for a line and is none
    large = dot(peak, np.median(peak, axis=0))
    keep = large >= np.median(large)
    return Ink.of(
        np.clip(np.median((beside + peak)[keep], axis=0), 0, 255), np.median(beside[keep], axis=0)
    )


def lines_near(
    rgb: np.ndarray,
    plane: PlaneLike,
    segments: np.ndarray,
    ink: Ink,
    corners_mm: np.ndarray,
) -> Printed:
    """Follow the printed lines around a block and under it.

    Parameters
    ----------
    segments : (M, 2, 2) array
        Foreseen pieces of line, from crossing to crossing, in pixels.
    corners_mm : (4, 2) array
        Of the block.
    """
    middle = corners_mm.mean(0)
    reach = 1 + _AROUND_MM / (np.linalg.norm(corners_mm - middle, axis=1).min() / np.sqrt(2))
    box = plane.px_from_mm(middle + reach * (corners_mm - middle))
    h, w = rgb.shape[:2]
    low = np.clip(np.floor(box.min(0)), 0, (w - 2, h - 2)).astype(int)
    high = np.clip(np.ceil(box.max(0)), low + 2, (w, h)).astype(int)
    centre = segments.mean(axis=1)
    near = ((centre > low) & (centre < high)).all(axis=1)
    if reach < 1.8:  # lines under the middle of a block matter to none of its edges
        inner = plane.px_from_mm(middle + (2 - reach) * (corners_mm - middle))
        near &= depths(centre, inner).min(axis=1) < 0
    pieces = segments[near]
    mask = np.zeros((high[1] - low[1], high[0] - low[0]), np.uint8)
    printed = Printed(ink, None, mask, low.astype(float))
    if not len(pieces):
        return printed
    ends = plane.mm_from_px(pieces.reshape(-1, 2)).reshape(-1, 2, 2)
    across = (ends[:, 1] - ends[:, 0])[:, None] @ np.array([[0, 0.5], [-0.5, 0]])
    halfway = plane.px_from_mm((ends + across).reshape(-1, 2)).reshape(-1, 2, 2)
    some = halfway[:: max(1, len(halfway) // _ENOUGH)]
    if _ridges(_across(rgb, plane, some)[0], ink)[3].mean() > _DASHED:
        _draw(rgb, plane, halfway, ends + across, False, printed)
    colours = _draw(rgb, plane, pieces, ends, True, printed)
    return replace(printed, colours=Colours.learn(colours) if len(colours) > 50 else None)


def _draw(
    rgb: np.ndarray,
    plane: PlaneLike,
    pieces: np.ndarray,
    ends_mm: np.ndarray,
    solid: bool,
    printed: Printed,
) -> np.ndarray:
    """Mark the lines in the mask, each where its own pieces show it; (N, 3) colours on them."""
    profile, step = _across(rgb, plane, pieces)
    amount, top, strong, seen = _ridges(profile, printed.ink)
    k = _foot(amount)
    if not seen.any():
        return np.zeros((0, 3))
    t = np.arange(amount.shape[1])
    near = np.abs(t - top[:, None]) <= k
    above = np.where(near, np.clip(amount - 0.3 * strong[:, None], 0, None), 0)
    total = np.maximum(above.sum(axis=1), 1e-9)
    place = (above @ t / total - amount.shape[1] // 2) * step
    width = (
        np.where(near, np.clip(amount, 0, None), 0).sum(axis=1) / np.maximum(strong, 1e-3) * step
    )
    offset, wide, known = _along_lines(ends_mm, place, width, seen, step)
    along = pieces[:, 1] - pieces[:, 0]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    px_per_mm = (amount.shape[1] // 2) * step / _OFF_MM
    drawn = pieces + (offset[:, None] * normal)[:, None] - printed.corner_px
    wide = np.clip(wide, 1.0, 1.3 * _LINE_MM * px_per_mm)
    around = wide + 2 * px_per_mm * np.where(known, _ABOUT_MM, 2.5 * _ABOUT_MM)
    for value, thick in ((BESIDE, around), (ON, 0.7 * wide)):
        if value == ON and not solid:
            continue
        thick = np.maximum(1, np.rint(thick)).astype(int)
        for size in np.unique(thick):
            own = (thick == size) & (known if value == ON else True)
            fixed = list(np.rint(16 * drawn[own]).astype(np.int32))
            cv2.polylines(printed.mask, fixed, False, value, int(size), cv2.LINE_8, 4)
    on = np.abs(t - amount.shape[1] // 2 - place[:, None] / step) < 0.5 * width[:, None] / step + 1
    return np.asarray(profile[on & seen[:, None]])


def _foot(amount: np.ndarray) -> int:
    """How far from a line's middle its foot is, in samples."""
    return round(_LINE_MM / _OFF_MM * (amount.shape[1] // 2))


def _ridges(profile: np.ndarray, ink: Ink) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Amount of ink (N, K); the highest ridge's place and height (N,), and where it is a line."""
    way = ink.ink - ink.mat
    beside = _beside(profile)
    amount = (profile - beside[:, None]) @ way / (way @ way)
    # a ridge falls off on both sides, the edge of cloth does not
    k = _foot(amount)
    ridge = amount[:, k:-k] - np.maximum(amount[:, : -2 * k], amount[:, 2 * k :])
    strong = ridge.max(axis=1)
    plain = np.linalg.norm(beside - ink.mat, axis=1) < 0.6 * np.linalg.norm(way)
    return amount, ridge.argmax(axis=1) + k, strong, (strong > _FAINT) & plain


def _beside(profile: np.ndarray) -> np.ndarray:
    """(N, 3) median of the two outermost colours on both sides."""
    four = profile[:, [0, 1, -2, -1]].astype(np.float32)
    return (four.sum(axis=1) - four.min(axis=1) - four.max(axis=1)) / 2


def _along_lines(
    pieces_mm: np.ndarray, place: np.ndarray, width: np.ndarray, seen: np.ndarray, step: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Offset and width of every piece by what is seen of its own line, and where that is enough.

    Pieces lie on a square lattice, so whole numbers tell the line that each belongs to and its
    place on it; the nearest that are seen weigh most.
    """
    along = pieces_mm[:, 1] - pieces_mm[:, 0]
    pitch = float(np.median(np.linalg.norm(along, axis=1)))
    first = along[0] / np.linalg.norm(along[0])
    one = np.abs(along @ first) > np.abs(along @ np.array([-first[1], first[0]]))
    middle = pieces_mm.mean(1)
    middle = middle - middle[0]
    offset, wide, known = np.zeros(len(place)), width.copy(), np.zeros(len(place), bool)
    for way in (one, ~one):
        own = np.flatnonzero(way)
        if not seen[own].any():
            continue
        u = along[own][0] / np.linalg.norm(along[own][0])
        line, cell = (
            np.rint((middle[own] @ v - middle[own[0]] @ v) / pitch).astype(int)
            for v in (np.array([-u[1], u[0]]), u)
        )
        line, cell = line - line.min(), cell - cell.min()
        grid = np.full((2, line.max() + 1, cell.max() + 1), np.nan)
        there = own[seen[own]]
        at = line[seen[own]], cell[seen[own]]
        grid[0][at], grid[1][at] = place[there], width[there]
        usual = median_known(grid)
        apart = np.abs(grid[0] - usual[0])
        spread = median_known(apart)
        good = apart <= 3 * spread + 3 * step
        far = np.arange(-_FAR, _FAR + 1)
        kernel = 1 / (np.abs(far) + 0.5) ** 2

        def weighted(x: np.ndarray, kernel: np.ndarray = kernel) -> np.ndarray:
            return np.asarray(cv2.filter2D(x, -1, kernel[None], borderType=cv2.BORDER_CONSTANT))

        weight = weighted(good.astype(float))
        smooth = weighted(np.where(good, grid[0], 0)) / np.maximum(weight, 1e-9)
        enough = good.sum(axis=1, keepdims=True) >= 2
        known[own] = (enough & (weight > 0))[line, cell]
        offset[own] = np.where(known[own], smooth[line, cell], 0.0)
        wide[own] = np.where(
            np.isfinite(usual[1][line, 0]), usual[1][line, 0], np.median(width[seen])
        )
    return offset, wide, known


def _across(rgb: np.ndarray, plane: PlaneLike, pieces: np.ndarray) -> tuple[np.ndarray, float]:
    """(N, 2 K + 1, 3) colours across pieces of line, the median along each; and the step in px."""
    a, b = pieces[len(pieces) // 2]
    middle = (a + b) / 2
    mm = plane.mm_from_px(np.array([middle, middle + (b - a) / np.linalg.norm(b - a) * 8]))
    px_per_mm = 8 / float(np.linalg.norm(mm[1] - mm[0]))
    half = max(4, int(np.ceil(_OFF_MM * px_per_mm)))
    step = _OFF_MM * px_per_mm / half
    along = pieces[:, 1] - pieces[:, 0]
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    t = (step * np.arange(-half, half + 1)).astype(np.float32)
    at = np.empty((len(pieces), len(_WITHIN), len(t), 2), np.float32)
    for i in (0, 1):  # one coordinate at a time keeps the inner loop long
        on = pieces[:, 0, None, i] + along[:, None, i] * _WITHIN
        at[..., i] = on[:, :, None] + (normal[:, i, None] * t)[:, None]
    n, m, k = at.shape[:3]
    found = np.empty((n, m, k, 3), np.uint8)
    for first in range(0, n, 3000):
        part = at[first : first + 3000].reshape(-1, m * k, 2)
        found[first : first + 3000] = cv2.remap(
            rgb, part, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        ).reshape(-1, m, k, 3)
    return _middle_of_nine(found), step


def _middle_of_nine(found: np.ndarray) -> np.ndarray:
    """(N, ...) median of (N, 9, ...), by exchanges (Paeth, Graphics Gems, 1990).

    All places at once, many times faster than by sorting each.
    """
    p = [np.ascontiguousarray(found[:, i]) for i in range(9)]
    for i, j in _EXCHANGES:
        p[i], p[j] = np.minimum(p[i], p[j]), np.maximum(p[i], p[j])
    return p[4].astype(float)


def encoded(light: np.ndarray) -> np.ndarray:
    """Grey levels of linear light (IEC 61966-2-1)."""
    v = np.clip(light, 0, 1)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055) * 255
