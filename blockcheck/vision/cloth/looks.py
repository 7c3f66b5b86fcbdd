"""How mat and cloth look just outside and inside an edge, piece by piece along it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .evidence import ONE_KIND, Colours

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
    mat, known = looks.mat.copy(), looks.cloth
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
    kind = each.argmax(axis=0)
    width = colour.shape[1] // (sides * pieces)
    spread = []
    for i in range(sides * pieces):
        own = slice(i * width, (i + 1) * width)
        k, j = divmod(i, pieces)
        seen = colour[:, own][plain[:, own]]
        if len(seen) > _FEW:
            seen = seen / looks.kinds[nearest_kind(seen, mat[k, j], looks.kinds)]
            middle = np.median(seen, axis=0)
            if np.linalg.norm(middle - mat[k, j]) < _DRIFT * looks.sigma + _DRIFT:
                mat[k, j] = middle
            spread.append(float(np.median(np.abs(seen - middle))) * 1.4826)
        counted = np.bincount(kind[:, own][cloth[:, own]], minlength=len(known.share))
        if counted.sum() > _FEW:
            share[k, j] = 0.85 * counted / counted.sum() + 0.15 * known.share
    sigma = float(np.median(spread)) if spread else looks.sigma
    return Looks(known, share, mat, sigma, looks.kinds), each


def nearest_kind(colours: np.ndarray, mat: np.ndarray, kinds: np.ndarray) -> np.ndarray:
    """(N,) which of the ground's colours each of (N, 3) is least unlike; `mat` (3,) or (N, 3)."""
    if len(kinds) == 1:
        return np.zeros(len(colours), int)
    off = [np.linalg.norm(colours - mat * kind, axis=1) for kind in kinds]
    return np.argmin(off, axis=0)
