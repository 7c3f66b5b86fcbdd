"""How mat and cloth look just outside and inside an edge, piece by piece along it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .evidence import ONE_KIND, Colours
from .mat_looks import median_known

PIECES = 12  # of a side, each with its own looks of mat and cloth
_DRIFT = 5.0  # by which the mat beside a piece may differ from the mat as a whole
_MANY, _FEW = 500, 30  # places that tell colours; that tell which of them


@dataclass(frozen=True)
class Looks:
    """How mat and cloth look beside four sides, piece by piece along them.

    Attributes
    ----------
    cloth : Colours
    share : (S, P, K) array
        How much of the cloth just inside each piece has each of its colours.
    mat : (S, P, 3) array
        The plain mat's colour just outside.
    sigma : float
        Its spread.
    kinds : (K, 3) array
        All colours of the ground as parts of this one.
    """

    cloth: Colours
    share: np.ndarray
    mat: np.ndarray
    sigma: float
    kinds: np.ndarray = field(default_factory=ONE_KIND.copy)


def learnt(
    looks: Looks,
    colour: np.ndarray,
    each: np.ndarray,
    plain: np.ndarray,
    cloth: np.ndarray,
    sound: np.ndarray | None = None,
) -> tuple[Looks, np.ndarray]:
    """Learn the looks from what shows plain mat and cloth.

    Parameters
    ----------
    colour : (T, M, 3) array
        Seen along the sides, one after another.
    each : (K, T, M) array
        `Colours.log_each` of it.
    plain, cloth : (T, M) bool arrays
    sound : (S,) bool array or None
        Sides whose cloth is known, to tell its colours anew; none, they stay as they are.

    Returns
    -------
    Looks; and `Colours.log_each` of its cloth
    """
    sides, pieces = looks.share.shape[:2]
    known = looks.cloth
    if sound is not None:
        some = colour[cloth]
        if len(some) >= _MANY:
            known = Colours.learn(some[:: max(1, len(some) // 2500)])
    share = np.tile(known.share, (sides, pieces, 1))
    if sound is not None and known is not looks.cloth:
        if not sound.all():
            # a side that nothing is learnt of may be of a cloth that the others have not
            share = np.dstack([np.zeros_like(looks.share), share])
            share[~sound] = np.dstack([looks.share, np.zeros((sides, pieces, len(known.share)))])[
                ~sound
            ]
            known = looks.cloth.beside(known)
        each = known.log_each(colour)
    mat, spread = _mat_beside(looks, colour, plain)
    sigma = float(np.median(spread)) if len(spread) else looks.sigma
    kinds, width = len(known.share), colour.shape[1] // (sides * pieces)
    piece = np.broadcast_to(np.arange(colour.shape[1]) // width, cloth.shape)[cloth]
    kind = each[:, cloth].argmax(axis=0)
    counted = np.bincount(kinds * piece + kind, minlength=sides * pieces * kinds)
    counted = counted.reshape(sides, pieces, kinds)
    total = counted.sum(axis=2)
    told = total > _FEW
    share[told] = 0.85 * counted[told] / total[told, None] + 0.15 * known.share
    return Looks(known, share, mat, sigma, looks.kinds), each


def _mat_beside(
    looks: Looks, colour: np.ndarray, plain: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(S, P, 3) the mat's colour beside each piece, and its spread where enough of it is seen."""
    sides, pieces = looks.share.shape[:2]
    some = plain.any(axis=1)
    if not some.any():
        return looks.mat, np.zeros(0)
    seen, plain = colour[some], plain[some]
    if len(looks.kinds) > 1:
        expected = np.repeat(looks.mat.reshape(-1, 3), colour.shape[1] // (sides * pieces), axis=0)
        seen = seen / looks.kinds[nearest_kind(seen, expected, looks.kinds)]
    seen = np.where(plain[..., None], seen, np.float32(np.nan))
    seen = seen.reshape(len(seen), sides * pieces, -1, 3).transpose(1, 3, 0, 2)
    seen = seen.reshape(sides * pieces, 3, -1)  # piece by piece
    middle = median_known(seen)
    spread = 1.4826 * median_known(np.abs(seen - middle).reshape(len(seen), -1))[:, 0]
    told = np.isfinite(seen[:, 0]).sum(axis=1) > _FEW
    middle = middle.reshape(looks.mat.shape)
    near = np.linalg.norm(middle - looks.mat, axis=2) < _DRIFT * looks.sigma + _DRIFT
    near &= told.reshape(near.shape)
    return np.where(near[..., None], middle, looks.mat), spread[told]


def nearest_kind(colours: np.ndarray, mat: np.ndarray, kinds: np.ndarray) -> np.ndarray:
    """(...) which of the ground's colours each of (..., 3) is least unlike, `mat` as seen there."""
    if len(kinds) == 1:
        return np.zeros(colours.shape[:-1], int)
    off = [np.linalg.norm(colours - mat * kind, axis=-1) for kind in kinds]
    return np.argmin(off, axis=0)
