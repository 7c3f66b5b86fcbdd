"""One straight seam, and what ties the pieces seen of it together."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

_LONG_MM = 60.0  # a shorter seam must end at something
_TIED_MM = 6.0  # from the end of a seam, as it was seen, to what it ends at


@dataclass(frozen=True, eq=False)
class Seam:
    """One straight seam.

    Attributes
    ----------
    ends_mm : (2, 2) array
        In block coordinates.
    u_mm, u_turn : float
        1 sigma of its place across at its middle, and of its direction (radians).
    contrast : float
        Difference of the cloths it joins, CIE Lab.
    """

    ends_mm: np.ndarray
    u_mm: float
    u_turn: float
    contrast: float

    @cached_property
    def length_mm(self) -> float:
        """Between its ends, as far as it was seen."""
        return float(np.linalg.norm(self.ends_mm[1] - self.ends_mm[0]))

    @cached_property
    def middle_mm(self) -> np.ndarray:
        """(2,) between its ends."""
        return np.asarray(self.ends_mm.mean(axis=0))

    @cached_property
    def along(self) -> np.ndarray:
        """(2,) unit vector."""
        return np.asarray((self.ends_mm[1] - self.ends_mm[0]) / self.length_mm)


def joined(found: list[Seam]) -> tuple[Seam, ...]:
    """Join pieces of one line, the longest first: other cloths meet behind each crossing."""
    left, whole = sorted(found, key=lambda seam: -seam.length_mm), []
    while left:
        seam = left.pop(0)
        for other in left:
            places = np.sort((other.ends_mm - seam.ends_mm[0]) @ seam.along)
            gap = max(places[0] - seam.length_mm, -places[1])
            off = [cross(seam.along, e - seam.middle_mm) for e in other.ends_mm]
            if gap < 6 and np.abs(off).max() < 1:
                left.remove(other)
                left.insert(0, _one(seam, other))
                break
        else:
            whole.append(seam)
    return tuple(sorted(whole, key=lambda seam: -seam.length_mm))


def tied(seams: tuple[Seam, ...], outline_mm: np.ndarray) -> tuple[Seam, ...]:
    """Leave out short lines with a loose end: seams end at other seams or at the raw edge.

    A long one may end at a seam that was not found.
    """
    outline = outline_mm.astype(np.float32)

    def loose(seam: Seam) -> bool:
        return any(
            cv2.pointPolygonTest(outline, (float(x), float(y)), True) > _TIED_MM
            and all(other is seam or _away(other, np.array([x, y])) > _TIED_MM for other in seams)
            for x, y in seam.ends_mm
        )

    while gone := [s for s in seams if s.length_mm < _LONG_MM and loose(s)]:
        seams = tuple(s for s in seams if s not in gone)
    return seams


def _away(seam: Seam, at: np.ndarray) -> float:
    """Distance of a place from a seam."""
    return float(np.hypot(max(0.0, beyond(seam, at)), cross(seam.along, at - seam.middle_mm)))


def _one(a: Seam, b: Seam) -> Seam:
    """Two pieces of one line as one seam."""
    ends = np.vstack([a.ends_mm, b.ends_mm])
    weights = np.repeat([a.length_mm, b.length_mm], 2)
    middle = np.average(ends, axis=0, weights=weights)
    centred = ends - middle
    along = np.linalg.eigh((centred * weights[:, None]).T @ centred)[1][:, 1]
    place = centred @ along
    outer = middle + np.outer([place.min(), place.max()], along)
    return Seam(outer, max(a.u_mm, b.u_mm), min(a.u_turn, b.u_turn), max(a.contrast, b.contrast))


def beyond(seam: Seam, at: np.ndarray) -> float:
    """How far a place on a seam's line lies beyond its ends; negative between them."""
    return abs(float((at - seam.middle_mm) @ seam.along)) - seam.length_mm / 2


def cross(a: np.ndarray, b: np.ndarray) -> float:
    """Cross product of two plane vectors: of unit vectors the sine between them."""
    return float(a[0] * b[1] - a[1] * b[0])


def lies_on(ends: np.ndarray, lines: list[np.ndarray], within_mm: float = 1.5) -> bool:
    """Whether a run lies on one of the lines that are known, all of them as (2, 2) ends."""
    if not lines:
        return False
    first, last = np.stack(lines, axis=1)
    length = np.linalg.norm(last - first, axis=1)
    along = (last - first) / length[:, None]
    away = ends[:, None] - first
    off = along[:, 0] * away[..., 1] - along[:, 1] * away[..., 0]
    places = np.sort(np.einsum("kij,ij->ki", away, along), axis=0)
    shared = np.minimum(places[1], length) - np.maximum(places[0], 0)
    near = np.abs(off).max(axis=0) < within_mm
    return bool((near & (shared > 0.5 * (places[1] - places[0]))).any())
