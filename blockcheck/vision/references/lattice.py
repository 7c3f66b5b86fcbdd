"""Pieces of the mat's lines between neighbouring crossings, looked at across each piece.

The photo is sampled across the line in its own pixels; the median over the samples ignores
diagonals and numbers, and a ridge counts only where it stands out against both of its sides,
so that the edges of cloth do not pass for lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from ..plane.lens import Camera

_MAX_CELLS = 9000
_ALONG = np.linspace(0.14, 0.86, 9)  # clear of the crossing lines
_SMOOTH = np.array([[0.25, 0.5, 0.25]], np.float32)


@dataclass(frozen=True)
class Lattice:
    """Pieces of line between neighbouring crossings.

    Attributes
    ----------
    cells : (N, 2) int array
        Column and row of the crossing where the piece begins.
    family : (N,) int array
        0 for pieces along y (x constant), 1 along x.
    """

    cells: np.ndarray
    family: np.ndarray

    def points(self, along: np.ndarray) -> np.ndarray:
        """(N, len(along), 2) lattice coordinates at fractions along each piece."""
        p = np.repeat(self.cells[:, None, :].astype(float), len(along), axis=1)
        rows = np.arange(len(self.cells))
        p[rows, :, 1 - self.family] += along
        return p

    @property
    def line(self) -> np.ndarray:
        """(N,) which line of the lattice each piece lies on, counted from nought."""
        own = self.cells[np.arange(len(self.cells)), self.family]
        span = 1 + int(np.ptp(own)) if len(own) else 1
        return np.unique(self.family * span + own, return_inverse=True)[1]

    def only(self, keep: np.ndarray) -> Lattice:
        """Return the pieces where `keep` is true."""
        return Lattice(self.cells[keep], self.family[keep])


def lattice_in_view(camera: Camera, affine: np.ndarray, size: tuple[int, int]) -> Lattice | None:
    width, height = size
    x, y = np.linspace(0, width - 1, 5), np.linspace(0, height - 1, 5)
    frame = np.array([[a, b] for a in x for b in y])
    lattice = (camera.to_plane(frame) - affine[:, 2]) @ np.linalg.inv(affine[:, :2]).T
    low, high = np.floor(lattice.min(0)).astype(int), np.ceil(lattice.max(0)).astype(int)
    if np.prod(high - low + 1) > _MAX_CELLS:
        return None
    i, j = np.meshgrid(
        np.arange(low[0], high[0] + 1), np.arange(low[1], high[1] + 1), indexing="ij"
    )
    cells = np.column_stack([i.ravel(), j.ravel()])
    return Lattice(np.vstack([cells, cells]), np.repeat([0, 1], len(cells)))


def project_lattice(camera: Camera, affine: np.ndarray, lattice_points: np.ndarray) -> np.ndarray:
    flat = lattice_points.reshape(-1, 2)
    mm = flat @ affine[:, :2].T + affine[:, 2]
    px = camera.project(np.column_stack([mm, np.zeros(len(mm))]))
    return px.reshape(lattice_points.shape)


@dataclass(frozen=True)
class Seen:
    """Ridges across the pieces: offset and height in every one; sign 1 is bright, -1 dark."""

    offset_px: np.ndarray
    height: np.ndarray
    middle_px: np.ndarray
    normal_px: np.ndarray
    px_per_mm: float
    sign: int


def look_across(
    gray: np.ndarray,
    camera: Camera,
    affine: np.ndarray,
    lattice: Lattice,
    window_mm: float,
    sign: int = 0,
) -> Seen:
    """Find the strongest ridge across each piece within `window_mm`.

    Bright ridges (`sign` 1), dark ones (-1), or those of them that stand out more (0).
    """
    px = project_lattice(camera, affine, lattice.points(_ALONG))
    along = px[:, -1] - px[:, 0]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    spacing_px = np.median(np.linalg.norm(px[:, -1] - px[:, 0], axis=1)) / (_ALONG[-1] - _ALONG[0])
    scale = spacing_px / np.sqrt(abs(np.linalg.det(affine[:, :2])))
    side = max(3, round(0.8 * scale))
    half = max(2, round(window_mm * scale))
    k = np.arange(-half - 2 * side, half + 2 * side + 1)
    at = np.empty((len(px), len(_ALONG), len(k), 2), np.float32)
    for i in (0, 1):  # one coordinate at a time keeps the inner loop long
        at[..., i] = px[:, :, None, i] + (normal[:, i, None] * k)[:, None]
    median = _median(_sample(gray, at))
    profile = cv2.filter2D(median, cv2.CV_32F, _SMOOTH, borderType=cv2.BORDER_REPLICATE)
    ridges = [_ridge(way * profile, side) for way in ((sign,) if sign else (1, -1))]
    best = ridges[0] if sign else max(ridges, key=lambda ridge: np.percentile(ridge[1], 70))
    offset = best[0] - half - 2 * side
    way = sign or (1 if best is ridges[0] else -1)
    return Seen(offset, best[1], px.mean(1), normal, float(scale), way)


def _ridge(profile: np.ndarray, side: int) -> tuple[np.ndarray, np.ndarray]:
    """Place and height of each row's highest ridge, at most 2 * `side` wide."""
    left, right = profile[:, : -2 * side], profile[:, 2 * side :]
    ridge = profile[:, side:-side] - np.maximum(left, right)
    inner = ridge[:, side:-side]
    best = np.argmax(inner, axis=1) + 2 * side
    height = inner[np.arange(len(profile)), best - 2 * side]
    centre = best.astype(float)
    ramp = np.linspace(0, 1, 2 * side + 1)
    for _ in range(2):
        near = np.rint(centre).astype(int)[:, None] + np.arange(-side, side + 1)
        near = np.clip(near, 0, profile.shape[1] - 1)
        values = np.take_along_axis(profile, near, axis=1)
        above = np.maximum(values - (values[:, :1] * (1 - ramp) + values[:, -1:] * ramp), 0)
        total = above.sum(1)
        centre = np.where(total > 0, (above * near).sum(1) / np.maximum(total, 1e-9), centre)
        centre = np.clip(centre, best - side, best + side)
    return centre, height


def inked_share(
    gray: np.ndarray, camera: Camera, affine: np.ndarray, lattice: Lattice, seen: Seen
) -> np.ndarray:
    """(N,) share of each piece that is inked: one for a whole line, less for a dashed one."""
    middle = project_lattice(camera, affine, lattice.points(np.linspace(0.06, 0.94, 60)))
    middle += (seen.normal_px * seen.offset_px[:, None])[:, None]
    aside = seen.normal_px[:, None] * max(3, round(1.2 * seen.px_per_mm))
    line, left, right = (_sample(gray, middle + k * aside).astype(float) for k in (0, -1, 1))
    height = seen.sign * (line - (left + right) / 2)
    return np.asarray((height > 0.4 * np.percentile(seen.height, 75)).mean(axis=1))


def _median(samples: np.ndarray) -> np.ndarray:
    """(N, K) median over the nine samples of (N, 9, K): OpenCV's, over squares of three by three."""
    n, _, k = samples.shape
    squares = samples.reshape(n, 3, 3, k).transpose(0, 1, 3, 2).reshape(3 * n, 3 * k)
    return cv2.medianBlur(np.ascontiguousarray(squares), 3)[1::3, 1::3]


def _sample(gray: np.ndarray, at: np.ndarray) -> np.ndarray:
    flat = at.reshape(at.shape[0], -1, 2).astype(np.float32, copy=False)
    out = np.empty(flat.shape[:2], np.uint8)
    for start in range(0, len(flat), 4000):  # remap takes sides below 32768 only
        part = flat[start : start + 4000]
        out[start : start + 4000] = cv2.remap(
            gray, part, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    return out.reshape(at.shape[:-1])


def clear_of(
    camera: Camera,
    affine: np.ndarray,
    lattice: Lattice,
    size: tuple[int, int],
    hidden: Sequence[np.ndarray],
) -> np.ndarray:
    """Which pieces lie in the frame and off the other references."""
    ends = project_lattice(camera, affine, lattice.points(np.array([0.0, 0.5, 1.0])))
    inside = np.all((ends > 6) & (ends < np.array(size) - 7), axis=(1, 2))
    for polygon in hidden:
        inside &= ~is_inside(ends.reshape(-1, 2), polygon).reshape(-1, 3).any(axis=1)
    return inside


def is_inside(points: np.ndarray, polygon: np.ndarray) -> np.ndarray:
    """Whether points lie in a convex polygon given clockwise as seen in the photo."""
    a, b = polygon, np.roll(polygon, -1, axis=0)
    side = (b - a)[:, 0] * (points[:, None, 1] - a[:, 1]) - (b - a)[:, 1] * (
        points[:, None, 0] - a[:, 0]
    )
    return np.all(side >= 0, axis=1)


def trusted(seen: Seen, lattice: Lattice, window_mm: float) -> np.ndarray | None:
    """Which ridges are the mat's lines; None where the lattice does not hold."""
    strong = seen.height > max(2.0, 0.4 * np.percentile(seen.height, 75))
    line = lattice.line
    apart = np.zeros(len(line))
    for _ in range(3):  # ridges agree with their neighbours on the same line or are left out
        if strong.sum() < 8:
            return None
        middle = _by_line(seen.offset_px, line, strong)
        apart = np.abs(seen.offset_px - middle)
        spread = np.maximum(1.5, 3 * 1.4826 * _by_line(apart, line, strong))
        keep = strong & (apart < spread)
        if (keep == strong).all():
            break
        strong = keep
    # on a mat without lines the strongest ridges lie anywhere in the window
    if np.median(apart[strong]) > 0.12 * window_mm * seen.px_per_mm:
        return None
    for family in (0, 1):
        own = strong & (lattice.family == family)
        if own.sum() < 3 or len(np.unique(lattice.cells[own, family])) < 2:
            return None
    return strong


def _by_line(values: np.ndarray, line: np.ndarray, strong: np.ndarray) -> np.ndarray:
    """(N,) median of the strong values on the line that each piece belongs to."""
    order = np.lexsort((values[strong], line[strong]))
    ranked = values[strong][order]
    present, first, count = np.unique(line[strong][order], return_index=True, return_counts=True)
    found = np.zeros(line.max() + 1)
    found[present] = (ranked[first + (count - 1) // 2] + ranked[first + count // 2]) / 2
    return found[line]
