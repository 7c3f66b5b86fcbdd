"""What a place's colour says: mat (plain, shaded or printed), or cloth.

Three explanations compete for every colour. The mat: its own colour nearby, darker where a shadow
falls. The print: any mixture of the mat's colour with the ink's, likely where a line runs and
rare elsewhere (numbers, ticks, logos). Cloth: the block's own colours, most of all those just
inside this piece of the edge, and a little of any colour. The logarithm of how much likelier
cloth is than mat and print together is the evidence of the place.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .mat_looks import dot

BESIDE, ON = 1, 2  # a printed line, or where it may be
MOST_CLOTH, MOST_MAT = 2.0, 4.0  # of one place: two of three are cloth in a cloth's body
_KINDS = 6  # colours of a block, or of the print, that are told apart
_ANY = np.log(1 / 200.0**3)  # any colour at all
_OTHER = 0.05  # part of a cloth that has none of the colours seen further in
_DIRT = {0: 0.03, BESIDE: 0.1, ON: 0.1}  # part of the mat that is neither plain nor printed
_INKED = {0: 0.03, BESIDE: 0.45, ON: 0.8}  # how much of the mat is print
_SHADED = 0.12  # part of the mat's plain places that a shadow may darken
_DARKEST = 0.4  # of its brightness, in a shadow
ONE_KIND = np.ones((1, 3))
_NOISE = 4.0  # grey levels, at least


@dataclass(frozen=True)
class Colours:
    """The colours of a cloth, or of a print: a mixture of normal distributions.

    Attributes
    ----------
    whiten : (K, 3, 3) array
    mean : (K, 3) array
    log_peak : (K,) array
        Logarithm of each one's density at its mean.
    share : (K,) array
        How much each one is of the whole.
    """

    whiten: np.ndarray
    mean: np.ndarray
    log_peak: np.ndarray
    share: np.ndarray

    @classmethod
    def learn(cls, colours: np.ndarray) -> Colours:
        """Tell apart the colours in a sample (N, 3)."""
        c = np.ascontiguousarray(colours, np.float32)
        k = min(_KINDS, max(1, len(c) // 20))
        stop = (cv2.TERM_CRITERIA_COUNT, 8, 0)
        cv2.setRNGSeed(0)
        _, label, mean = cv2.kmeans(c, k, None, stop, 1, cv2.KMEANS_PP_CENTERS)
        label = label.ravel()
        whiten, peak = np.zeros((k, 3, 3)), np.zeros(k)
        share = np.bincount(label, minlength=k) / len(c)
        for j in range(k):
            own = c[label == j] - mean[j]
            cov = own.T @ own / max(len(own), 1) + _NOISE**2 * np.eye(3)
            whiten[j] = np.linalg.inv(np.linalg.cholesky(cov))
            peak[j] = np.log(np.abs(np.linalg.det(whiten[j]))) - 1.5 * np.log(2 * np.pi)
        return cls(whiten, mean, peak, share)

    def beside(self, other: Colours) -> Colours:
        """Both mixtures as one, with half of the whole each."""
        return Colours(
            np.concatenate([self.whiten, other.whiten]),
            np.concatenate([self.mean, other.mean]),
            np.concatenate([self.log_peak, other.log_peak]),
            np.concatenate([self.share, other.share]) / 2,
        )

    def log_each(self, colours: np.ndarray) -> np.ndarray:
        """(K, ...) log density of each of these colours."""
        shape = colours.shape[:-1]
        c = colours.reshape(-1, 1, 3).astype(np.float32)
        found = np.empty((len(self.share), len(c)), np.float32)
        for k, (w, mean) in enumerate(zip(self.whiten, self.mean, strict=True)):
            y = cv2.transform(c, np.column_stack([w, -w @ mean]))[:, 0]
            found[k] = dot(y, y)
        found *= -0.5
        found += self.log_peak.astype(np.float32)[:, None]
        return found.reshape(-1, *shape)

    def log_mixed(self, colours: np.ndarray) -> np.ndarray:
        """(...) log density of the likeliest of them, by their shares."""
        each = self.log_each(colours)
        each += np.log(np.maximum(self.share, 1e-4)).astype(np.float32)[:, None, None]
        return np.asarray(each.max(axis=0))


def log_cloth(each: np.ndarray, share: np.ndarray) -> np.ndarray:
    """(T, M) log density of cloth where its colours have the (M, K) shares."""
    best = each[0] + np.log(np.maximum((1 - _OTHER) * share[:, 0], 1e-4)).astype(np.float32)
    for k in range(1, len(each)):
        shared = np.log(np.maximum((1 - _OTHER) * share[:, k], 1e-4)).astype(np.float32)
        np.maximum(best, each[k] + shared, out=best)
    return np.maximum(best, np.float32(np.log(_OTHER) + _ANY))


def log_mat(
    colours: np.ndarray,
    mat: np.ndarray,
    sigma: float,
    print_: np.ndarray | None = None,
    zone: np.ndarray | None = None,
    kinds: np.ndarray = ONE_KIND,
) -> np.ndarray:
    """Log density of the mat, plain, shaded or printed.

    Parameters
    ----------
    colours, mat : (T, M, 3), (M, 3) arrays
        What is seen, and the plain mat's colour at each of the M places along the edge.
    sigma : float
        Spread of the plain mat's colours.
    print_ : (T, M) array or None
        Log density of the print's colours.
    zone : (T, M) array or None
        As of `Printed.at`.
    kinds : (K, 3) array
        The ground's colours as parts of `mat`, the first: a cover may be woven in several.
    """
    s = max(sigma, _NOISE)
    known = _log_lit(colours, mat, s)
    for kind in kinds[1:]:
        np.maximum(known, _log_lit(colours, mat * kind, s), out=known)
    if print_ is None or zone is None:
        return np.maximum(known, np.float32(np.log(_DIRT[0]) + _ANY))
    inked, dirt = (np.array([x[k] for k in (0, BESIDE, ON)], np.float32) for x in (_INKED, _DIRT))
    known += np.log(1 - inked - dirt)[zone]
    np.maximum(known, print_ + np.log(inked)[zone], out=known)
    return np.maximum(known, (np.log(dirt) + np.float32(_ANY))[zone])


def _log_lit(colours: np.ndarray, mat: np.ndarray, s: float) -> np.ndarray:
    """(T, M) log density of the plain mat, lit or in a shadow."""
    m = mat.astype(np.float32)[None]
    power = np.maximum(dot(m, m), 1)
    gain = dot(colours, m) / power
    beside = np.maximum(dot(colours, colours) - gain**2 * power, 0)
    level = np.sqrt(power)
    plain = -0.5 * (beside + (gain - 1) ** 2 * power) / s**2 - 3 * np.log(s) - 2.757
    over = (np.clip(gain, _DARKEST, 1.05) - gain) ** 2 * power
    shade = (
        np.log(_SHADED)
        - 0.5 * (beside + over) / s**2
        - 2 * np.log(s)
        - 1.838
        - np.log((1.05 - _DARKEST) * level)
    )
    return np.maximum(plain, shade)


def evidence(cloth: np.ndarray, mat: np.ndarray) -> np.ndarray:
    """How much likelier cloth than mat, as a logarithm, no place alone deciding too much."""
    return np.clip(cloth - mat, -MOST_MAT, MOST_CLOTH)
