"""The mat's plain colour under the photo's light."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

_SHADE = (0.55, 1.12)  # what light and shadow do to the mat's brightness
_v = np.arange(256) / 255
LINEAR = np.where(_v <= 0.04045, _v / 12.92, ((_v + 0.055) / 1.055) ** 2.4).astype(np.float32)


@dataclass(frozen=True)
class Mat:
    """The mat's colour, changing smoothly over the photo with the light.

    Attributes
    ----------
    size : (int, int)
        Width and height of the photo.
    coefficients : (6, 3) array
        Of the second-order surface of each colour.
    sigma : float
        Spread of the mat about it, grey levels.
    limit : float
        What is further from it, shadows apart, is not mat.
    """

    size: tuple[int, int]
    coefficients: np.ndarray
    sigma: float
    limit: float

    @classmethod
    def learn(cls, size: tuple[int, int], points_px: np.ndarray, colours: np.ndarray) -> Mat:
        """Fit the surface robustly to (N, 3) colours at (N, 2) places."""
        A = _surface(points_px, size)
        colours = np.asarray(colours, float)
        middle = np.median(colours, axis=0)
        off = np.linalg.norm(colours - middle, axis=1)
        w = off <= 3 * np.median(off) + 2
        extent = np.ptp(A[:, 1:3], axis=0).min() if len(A) else 0.0
        ridge = np.array([1e-6, 1, 1, 10, 10, 10]) * (3 if extent < 0.5 else 0.3)
        c = np.zeros((6, 3))
        for _ in range(6):
            Aw = A * w[:, None]
            c = np.linalg.solve(A.T @ Aw + np.diag(ridge), Aw.T @ (colours - middle))
            r = np.linalg.norm(colours - middle - A @ c, axis=1)
            s = 1.2 * np.median(r[w > 0]) + 0.5
            w = 1 / (1 + (r / (2 * s)) ** 4)
        c[0] += middle
        mat = cls(size, c, float(s), 0.0)
        off = mat.unlike(colours, A @ c)
        low, middle, high = np.percentile(off[w > 0.5], [5, 50, 90])
        return replace(
            mat, limit=float(min(max(middle + 3.5 * (middle - low), high), 4 * s + 4) + 1)
        )

    @property
    def kinds(self) -> np.ndarray:
        """(K, 3) the ground's colours as parts of `first`: a mat has one."""
        return np.ones((1, 3))

    def first(self, points_px: np.ndarray) -> np.ndarray:
        """(N, 3) the first of its colours at (N, 2) places."""
        return np.asarray(_surface(points_px, self.size) @ self.coefficients)

    def colours(self, points_px: np.ndarray) -> np.ndarray:
        """(N, 3) expected colours at (N, 2) places."""
        return self.first(points_px)

    def everywhere(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """(len(y), len(x), 3) float32 expected colours where columns `x` and rows `y` meet."""
        across, down = (
            ((v - n / 2) / (max(self.size) / 2)).astype(np.float32)
            for v, n in zip((x, y), self.size, strict=True)
        )
        c, X = self.coefficients.astype(np.float32), across[:, None]
        Y = down[:, None, None]
        # a polynomial in the row, whose factors change with the column
        found = Y * (c[2] + X * c[4])
        found += c[0] + X * (c[1] + X * c[3])
        found += Y**2 * c[5]
        return np.asarray(found)

    def unlike(
        self, colours: np.ndarray, expected: np.ndarray, shade: tuple[float, float] = _SHADE
    ) -> np.ndarray:
        """Distance of colours from the mat's, in grey levels, whatever the shadow on it."""
        c, e = colours, expected
        power = np.maximum(dot(e, e), 1)
        gain = dot(c, e) / power
        off = np.clip(gain, *shade) - gain
        # what is left beside the nearest allowed shade of the mat
        return np.sqrt(np.maximum(dot(c, c) + (off**2 - gain**2) * power, 0))


def dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Sum of products over three channels, by OpenCV: NumPy is slow along so short an axis."""
    way, summed = (b[None], a) if b.ndim == 1 else (np.ones((1, 3)), a * b)
    return cv2.transform(summed.reshape(-1, 1, 3), way).reshape(summed.shape[:-1])


def median_known(values: np.ndarray) -> np.ndarray:
    """(..., 1) median along the last axis of what is no NaN; NaN where nothing is known."""
    ordered = np.sort(values, axis=-1)  # NaN last
    known = np.isfinite(values).sum(axis=-1, keepdims=True)
    low, high = (
        np.take_along_axis(ordered, np.maximum(k, 0), axis=-1)
        for k in ((known - 1) // 2, known // 2)
    )
    return np.where(known > 0, (low + high) / 2, np.nan)


def _surface(points_px: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    x, y = ((np.asarray(points_px, float) - np.array(size) / 2) / (max(size) / 2)).T
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)


def lookup(mask: np.ndarray, at: np.ndarray, scale: float = 1.0) -> np.ndarray:
    """Values of a mask whose pixels are `scale` times larger at (h, w, 2) places."""
    there = ((at + 0.5) / scale - 0.5).astype(np.float32)
    return cv2.remap(mask, there, None, cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)


def linear(colour: np.ndarray) -> np.ndarray:
    return np.interp(colour, np.arange(256), LINEAR)
