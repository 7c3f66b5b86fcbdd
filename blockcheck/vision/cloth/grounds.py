"""What may be the ground: a mat of one colour, or a cover woven or laid in several."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from .mat_looks import Mat
from .small_picture import Small

_EVEN = 12.0  # grey levels: what varies more is no mat
_SHARE = 0.12  # of what lies around the cards and along the frame
_CHANGES = 8  # along the frame from one colour to another: a cover, not a table beyond a mat
_FRAME = 10  # small pixels
_SHADOW = (0.3, 1.0)  # of the light stays in one


@dataclass(frozen=True)
class Ground(Mat):
    """A ground of several colours, each in its places.

    Attributes
    ----------
    parts : (K, 3) array
        The colours as parts of the first one's.
    labels : (h, w) uint8 array
        Which of them lies nearest, in pixels `scale` times as large as the photo's.
    scale : int
    """

    parts: np.ndarray
    labels: np.ndarray
    scale: int

    @property
    def kinds(self) -> np.ndarray:
        """(K, 3) all of its colours as parts of the first one's."""
        return self.parts

    def colours(self, points_px: np.ndarray) -> np.ndarray:
        """(N, 3) expected colours at (N, 2) places: that of the nearest ground."""
        h, w = self.labels.shape
        i = np.clip(((points_px + 0.5) / self.scale).astype(int), 0, (w - 1, h - 1))
        return self.first(points_px) * self.parts[self.labels[i[:, 1], i[:, 0]]]


def unlike_ground(small: Small, ground: Mat) -> np.ndarray:
    """(h, w) distance from the nearest of the ground's colours."""
    if not isinstance(ground, Ground):
        return small.unlike(ground)
    return np.asarray(np.min([small.unlike(ground, part) for part in ground.parts], axis=0))


def grounds(small: Small) -> Iterator[Mat]:
    """What may be the ground, likeliest first."""
    learnt = small.mat_beside_lines()
    if learnt is not None:
        yield learnt
        return
    frame = np.ones_like(small.cards)
    frame[_FRAME:-_FRAME, _FRAME:-_FRAME] = 0
    ring = cv2.dilate(small.cards, np.ones((15, 15), np.uint8)) - small.cards
    if ring.sum() < 100:  # no card: what lies along the frame
        ring = frame
    y, x = np.nonzero(ring)
    colours = small.rgb[y, x].astype(np.float32)
    k = min(3, len(colours))
    cv2.setRNGSeed(0)
    _, label, _ = cv2.kmeans(
        colours, k, None, (cv2.TERM_CRITERIA_COUNT, 15, 0), 1, cv2.KMEANS_PP_CENTERS
    )
    # two shades of one mat are one kind of ground
    shares = np.bincount(label.ravel(), minlength=k) / len(colours)
    mats: list[Mat] = []
    for j in np.argsort(-shares):
        if shares[j] < _SHARE:
            continue
        own = label.ravel() == j
        mat = Mat.learn(small.size, small.to_photo(np.stack([x, y], 1)[own]), colours[own])
        grown = small.grow(mat)
        if any(_alike(small, grown, other) for other in mats):
            grown = mat  # a weave blends its colours into each other
        if grown.sigma < _EVEN:
            mats.append(grown)
    together = _cover(small, mats) or _in_shade(small, mats)
    if together is not None:
        yield together
    yield from mats


def _alike(small: Small, one: Mat, other: Mat) -> bool:
    """Whether two grounds have one colour."""
    middle = np.array([small.size]) / 2
    apart = float(np.linalg.norm(one.colours(middle) - other.colours(middle)))
    return apart < max(one.sigma, other.sigma)


def _in_shade(small: Small, mats: list[Mat]) -> Ground | None:
    """Grounds of one hue, one of them in the shadow that falls beside a card, as one."""
    middle = np.array([small.size]) / 2
    lit = max(mats, key=lambda mat: float(mat.colours(middle).sum()), default=None)
    if lit is None:
        return None
    shades = [
        mat
        for mat in mats
        if mat is not lit
        and mat.unlike(mat.colours(middle), lit.colours(middle), _SHADOW)[0]
        < 2 * (mat.sigma + lit.sigma)
    ]
    return _as_one(small, [lit, *shades]) if shades else None


def _cover(small: Small, mats: list[Mat]) -> Ground | None:
    """Grounds that change often along the frame as one."""
    if len(mats) < 2:
        return None
    nearest, known = _nearest(small, mats)
    m = _FRAME // 2
    rim = [(nearest[m], known[m]), (nearest[:, -m], known[:, -m])]
    rim += [(nearest[-m, ::-1], known[-m, ::-1]), (nearest[::-1, m], known[::-1, m])]
    along = np.concatenate([n[ok] for n, ok in rim])
    if len(along) < 0.6 * sum(len(n) for n, _ in rim):
        return None
    shares = np.bincount(along, minlength=len(mats)) / len(along)
    if np.sum(np.diff(along.astype(int)) != 0) < _CHANGES or np.sum(shares > _SHARE) < 2:
        return None
    return _as_one(small, mats)


def _nearest(small: Small, mats: list[Mat]) -> tuple[np.ndarray, np.ndarray]:
    """(h, w) which of the grounds each place is least unlike, and whether it is one of them."""
    off = np.stack([small.unlike(mat) for mat in mats])
    nearest = np.argmin(off, axis=0).astype(np.uint8)
    known = (np.min(off, axis=0) < max(mat.limit for mat in mats)) & (small.cards == 0)
    return nearest, np.asarray(known)


def _as_one(small: Small, mats: list[Mat]) -> Ground:
    nearest, known = _nearest(small, mats)
    middle = np.array([small.size]) / 2
    first = mats[0].colours(middle)[0]
    parts = np.array([mat.colours(middle)[0] / np.maximum(first, 1) for mat in mats])
    _, places = cv2.distanceTransformWithLabels(
        (~known).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    of_place = np.zeros(int(places.max()) + 1, np.uint8)
    of_place[places[known]] = nearest[known]
    base = mats[0]
    limit = max(mat.limit for mat in mats)
    return Ground(
        base.size, base.coefficients, base.sigma, limit, parts, of_place[places], small.scale
    )
