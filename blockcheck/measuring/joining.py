"""One block's shape from several photos of it, and whether they agree.

First the references of all photos are adjusted together (`vision.plane.joint`): that gives the
corners in every photo with one covariance over all of them. Then the corners themselves: the
block has one shape, each photo lays it somewhere, and its cloth has one height, which moves the
corners according to where the camera stood. That is generalised least squares (Aitken, 1935):
what the photos share (the print's and the mat's size, the lens, where cloth begins) stays
shared, and only what is each photo's own averages out (JCGM 100, F.1.2.3).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..uncertainty import Estimate, weighted_mean
from ..vision.cloth.likeness import likeness
from ..vision.cloth.outline import Outline
from ..vision.plane.joint import Shot, adjust_jointly
from ..vision.plane.lens import N_LENS
from .results import Measurement, PhotoResult
from .sides import CLOTH_HEIGHT_U, Sides, measured, sides_of

_RARE = 0.001  # a photo's lens that fits the others' is told not to once in a thousand photos
_SLIP_MM = 0.15  # 1 sigma of what a block that nobody moved has slipped
_UNMOVED_MM = 2.0  # farther from where it lay beside the card, it was moved
_UNLIKELY = 0.05  # of a block that lies still
_NEAR_MM = 1.5  # corners this near, or three times as far as the nearest, may be the same ones
_ALIKE = 0.1  # looks whose correlations differ by less do not tell a turn


@dataclass(frozen=True, eq=False)
class View:
    """One photo of the block: what it says by itself, and what it hands to the others.

    Attributes
    ----------
    result : PhotoResult
    shot : Shot
        Its references, in the sensor's pixels.
    outline : Outline
        The block's, in the same pixels.
    looks : (4, N) array
        As of `looks_of`.
    """

    result: PhotoResult
    shot: Shot
    outline: Outline
    looks: np.ndarray

    @property
    def block(self) -> Measurement:
        """What the photo says by itself."""
        return self.result.blocks[0]


@dataclass(frozen=True, eq=False)
class Joined:
    """One block in several photos.

    Attributes
    ----------
    views : tuple of View
        The first one's frame and corners lead.
    turns : tuple of int
        Which of a photo's corners is corner 0 of the first one.
    corners : (4, 2) array
        Millimetres, in the first photo's plane.
    parts : dict of str to (8, m) arrays
        Square-root parts of the corners' covariance by source.
    chance : float
        Of photos of one block to differ by more than these.
    sides : tuple of Sides
        Of each photo after the adjustment.
    """

    views: tuple[View, ...]
    turns: tuple[int, ...]
    corners: np.ndarray
    parts: dict[str, np.ndarray]
    chance: float
    sides: tuple[Sides, ...]

    def measurement(self) -> Measurement:
        """Return the sizes; outline and bows are the photos' mean."""
        laid, found = [], []
        for sides, k in zip(self.sides, self.turns, strict=True):
            corners = np.roll(sides.corners, -k, axis=0)
            outline = np.roll(sides.outline, -k * (len(sides.outline) // 4), axis=0)
            A = _onto(corners, self.corners)
            laid.append(np.vstack([_laid(corners, A), _laid(outline, A)]))
            found.append(sides.bow_mm[k:] + sides.bow_mm[:k])
        mean = np.mean(laid, axis=0)
        off, outline = self.corners - mean[:4], mean[4:]
        t = np.linspace(0, 1, len(outline) // 4, endpoint=False)[:, None]
        moved = [(1 - t) * off[k] + t * off[(k + 1) % 4] for k in range(4)]
        return measured(
            self.views[0].block.corners_px,
            self.corners,
            self.parts,
            tuple(weighted_mean(of_side) for of_side in zip(*found, strict=True)),
            outline + np.vstack(moved),
            any(v.block.by_hand for v in self.views),
        )

    def as_first(self, view: View) -> tuple[Estimate, Estimate]:
        """Width and height that a photo shows by itself, turned as the first shows the block."""
        block = view.block
        turned = turn_between(self.views[0], view) % 2
        size = block.width_mm, block.height_mm
        return size[::-1] if turned else size


def turn_between(first: View, other: View) -> int:
    """Which corner of a photo is the first one's corner 0.

    The sides' lengths tell quarter turns of an oblong, the look of the cloth tells the others.
    Where both leave it open the corners' own places decide, and there a wrong turn does little.
    """
    there = first.block.corners_mm
    turned = [np.roll(other.block.corners_mm, -k, axis=0) for k in range(4)]
    off = [float(np.abs(_laid(c, _onto(c, there)) - there).max()) for c in turned]
    near = [k for k in range(4) if off[k] < max(_NEAR_MM, 3 * min(off))]
    alike = likeness(first.looks[0], other.looks)
    best = max(alike[k] for k in near)
    return min((k for k in near if alike[k] > best - _ALIKE), key=lambda k: off[k])


def join(views: Sequence[View], cloth_height: float) -> Joined:
    """Adjust several photos of one block together.

    Parameters
    ----------
    views : sequence of View
    cloth_height : float
        As told, in millimetres.
    """
    from scipy.special import chdtrc

    turns = tuple(turn_between(views[0], v) for v in views)
    shots = [
        replace(v.shot, crossed=_crossed(v, k) != _crossed(views[0], 0))
        for v, k in zip(views, turns, strict=True)
    ]
    joint = adjust_jointly(shots)
    strange = [i for i, off in enumerate(joint.strange) if chdtrc(N_LENS, off) < _RARE]
    if strange:  # another lens after all, or another zoom
        joint = adjust_jointly(
            [replace(s, lens=(s.lens, i)) if i in strange else s for i, s in enumerate(shots)]
        )
    sides = tuple(
        sides_of(v.outline, replace(v.shot.plane, camera=camera), cloth_height)
        for v, camera in zip(views, joint.cameras, strict=True)
    )
    still = [i for i in range(1, len(views)) if _lies_still(views, turns, sides, i)]
    found = _solve(sides, turns, joint.factors, still)
    if still and found.chance < _UNLIKELY:
        found = _solve(sides, turns, joint.factors, [])
    return Joined(
        tuple(views),
        turns,
        found.corners,
        found.parts,
        found.chance,
        sides,
    )


@dataclass(frozen=True, eq=False)
class _Solved:
    corners: np.ndarray
    parts: dict[str, np.ndarray]
    chance: float


def _solve(
    sides: Sequence[Sides],
    turns: Sequence[int],
    factors: dict[str, np.ndarray],
    still: Sequence[int],
) -> _Solved:
    """Generalised least squares for the shape, the cloth's height and each photo's place."""
    from scipy.linalg import block_diag  # takes long to load, and one photo needs none
    from scipy.special import chdtrc

    n = len(sides)
    base = sides[0].corners
    rolled = [np.roll(s.corners, -k, axis=0) for s, k in zip(sides, turns, strict=True)]
    places = [np.eye(2, 3) if i in still else _onto(c, base) for i, c in enumerate(rolled)]
    y = np.concatenate([_laid(c, A).ravel() for c, A in zip(rolled, places, strict=True)])
    # each photo's corners, in the first one's order and frame, from its own
    frames = [
        np.kron(np.roll(np.eye(4), k, axis=1), A[:, :2]) for k, A in zip(turns, places, strict=True)
    ]
    own = block_diag(*(F @ s.by_camera for F, s in zip(frames, sides, strict=True)))
    parts = {name: own @ factor for name, factor in factors.items()}
    edges = [F @ s.by_side for F, s in zip(frames, sides, strict=True)]
    cloth = [
        np.roll(e * s.cloth_u, -2 * k, axis=1) for e, s, k in zip(edges, sides, turns, strict=True)
    ]
    waves = [
        np.roll(e * s.wave_u, -2 * k, axis=1) for e, s, k in zip(edges, sides, turns, strict=True)
    ]
    seen = block_diag(*(e * s.photo_u for e, s in zip(edges, sides, strict=True)))
    parts["edge fit"] = np.hstack([seen, np.vstack(cloth)])
    parts["waviness"] = np.vstack(waves)

    middle = base.mean(0)
    reach = float(np.linalg.norm(base - middle, axis=1).mean())
    A = np.zeros((8 * n, 9 + 3 * (n - 1)))
    A[:, :8] = np.tile(np.eye(8), (n, 1))
    A[:, 8] = -np.concatenate([F @ s.by_height for F, s in zip(frames, sides, strict=True)])
    for i in range(1, n):
        rows, at = slice(8 * i, 8 * i + 8), 9 + 3 * (i - 1)
        A[rows, at : at + 2] = np.tile(np.eye(2), (4, 1))
        A[rows, at + 2] = ((base - middle) @ np.array([[0, 1], [-1, 0]])).ravel() / reach
    known = [8, *(9 + 3 * (i - 1) + j for i in still for j in range(3))]
    known_u = np.array([CLOTH_HEIGHT_U, *[_SLIP_MM] * (3 * len(still))])
    prior = np.eye(A.shape[1])[known] / known_u[:, None]

    C = sum((part @ part.T for part in parts.values()), np.zeros((8 * n, 8 * n)))
    L = np.linalg.inv(np.linalg.cholesky(C))
    J = np.vstack([L @ A, prior])
    gain = np.linalg.inv(J.T @ J) @ J.T
    right = np.concatenate([L @ y, np.zeros(len(known))])
    x = gain @ right
    left = right - J @ x
    dof = len(right) - len(x)
    chi2 = float(left @ left)
    # photos that agree less well than they should are each less sure (Birge, 1932)
    wider = np.sqrt(max(1.0, chi2 / dof))
    K = gain[:8, : len(y)] @ L
    out = {
        name: (K @ part) * (1.0 if name.endswith("scale") else wider)
        for name, part in parts.items()
    }
    out["cloth height"] = gain[:8, len(y) : len(y) + 1]
    out["edge fit"] = np.hstack([out["edge fit"], gain[:8, len(y) + 1 :]])
    corners = x[:8].reshape(4, 2)
    return _Solved(corners, out, float(chdtrc(dof, chi2)))


def _lies_still(
    views: Sequence[View], turns: Sequence[int], sides: Sequence[Sides], i: int
) -> bool:
    """Whether a block lies beside the card where it lay in the first photo.

    Only printed boards have one frame in all photos.
    """
    first, own = (views[j].shot.plane.references[0].reference for j in (0, i))
    if first.kind not in ("card", "sheet") or first.name != own.name:
        return False
    off = np.roll(sides[i].corners, -turns[i], axis=0) - sides[0].corners
    return bool(np.linalg.norm(off, axis=1).max() < _UNMOVED_MM)


def _crossed(view: View, turn: int) -> bool:
    """Whether the mat's lines along x run across the block, its corner `turn` at the top left."""
    mats = [p for p in view.shot.plane.references if p.reference.kind == "grid"]
    if not mats:
        return False
    corners = np.roll(view.block.corners_mm, -turn, axis=0)
    top, x = corners[1] - corners[0], mats[0].affine[:, 0]
    return bool(abs(top @ x) < abs(top[0] * x[1] - top[1] * x[0]))


def _onto(points: np.ndarray, there: np.ndarray) -> np.ndarray:
    """(2, 3) turn and shift that lays (N, 2) points best onto others (Kabsch, 1976)."""
    own, other = points - points.mean(0), there - there.mean(0)
    a, b = np.sum(own * other), np.sum(own[:, 0] * other[:, 1] - own[:, 1] * other[:, 0])
    c, s = np.array([a, b]) / np.hypot(a, b)
    R = np.array([[c, -s], [s, c]])
    return np.column_stack([R, there.mean(0) - R @ points.mean(0)])


def _laid(points: np.ndarray, A: np.ndarray) -> np.ndarray:
    return np.asarray(points @ A[:, :2].T + A[:, 2])
