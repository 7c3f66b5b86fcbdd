"""Several photos' references in one adjustment: what the photos share is one unknown, not many.

Photos of one lens have one lens, up to what it does from photo to photo
(`lens.between_photos`), and photos of one card or mat have one print: its size, its shape and
its height. The other unknowns are each photo's own. So noise averages out over the photos, a
wrong print does not, and the lens is seen from all of them (Triggs et al., "Bundle adjustment",
2000, sections 3 and 4). Damped Gauss-Newton from where the single photos' adjustments ended.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .calibrate import moved_prior
from .lens import N_CAMERA, N_LENS, N_WARP, Camera, LensPrior, between_photos
from .plane import Plane
from .reference import Reference
from .rows import N_PLACE, free_parameters, huber_cost, state_of, system
from .stretch import SOURCE as STRETCH

_LENS = slice(6, 6 + N_LENS)
_SHAPE = slice(3, N_PLACE)  # of a place: log scale, stretch, skew, height
_STEPS = 40
_PRIORS = ("print scale", "mat scale", "card height")


@dataclass(frozen=True, eq=False)
class Shot:
    """One photo's plane as the sensor reads its pixels, its lens, and how its mat is turned.

    Attributes
    ----------
    plane : Plane
    lens : hashable
        Photos with the same one were taken through one lens.
    prior : LensPrior
        What is known of that lens; the first such photo's counts.
    size : (width, height)
    crossed : bool
        Whether the mat's lines along x are those along y of the first photo.
    """

    plane: Plane
    lens: object
    prior: LensPrior
    size: tuple[int, int]
    crossed: bool = False


@dataclass(frozen=True, eq=False)
class Joint:
    """All photos adjusted together.

    Attributes
    ----------
    cameras : tuple of Camera
    factors : dict of str to (28 n, m) array
        As of `Plane`, of the cameras' parameters in turn.
    strange : tuple of float
        For each photo the sum of squares of its lens's departure from the common one, in standard
        deviations: chi-squared with five degrees of freedom.
    """

    cameras: tuple[Camera, ...]
    factors: dict[str, np.ndarray]
    strange: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class _State:
    """Where the adjustment stands: lenses in common, and each photo's camera and places."""

    common: dict[object, np.ndarray]
    cameras: tuple[Camera, ...]
    places: tuple[np.ndarray, ...]


class _Layout:
    """Which unknown of all stands for which parameter of a photo."""

    def __init__(self, shots: Sequence[Shot]) -> None:
        self.shots = shots
        self.lenses = list(dict.fromkeys(s.lens for s in shots))
        self.references = _of_one_shape([[p.reference for p in s.plane.references] for s in shots])
        self.first: dict[tuple[str, str], int] = {}  # the photo that says what is known of a print
        at, shape = N_LENS * len(self.lenses), {}
        spots: list[list[tuple[int, int, float]]] = []
        for i, (shot, references) in enumerate(zip(shots, self.references, strict=True)):
            lens = N_LENS * self.lenses.index(shot.lens)
            spots.append([(6 + j, lens + j, 1.0) for j in range(N_LENS)])
            free = free_parameters(references)
            for j in np.flatnonzero(free):
                n, k = divmod(int(j) - N_CAMERA, N_PLACE)
                if j < N_CAMERA or k < _SHAPE.start:
                    spots[-1].append((int(j), at, 1.0))
                    at += 1
                    continue
                ref = references[n]
                self.first.setdefault(_key(ref), i)
                if (_key(ref), k) not in shape:
                    shape[_key(ref), k] = at
                    at += 1
                spots[-1].append((int(j), shape[_key(ref), k], _sign(shot, ref)[k]))
        self.size = at
        self.maps = []
        for references, some in zip(self.references, spots, strict=True):
            M = np.zeros((N_CAMERA + N_PLACE * len(references), at))
            for row, column, sign in some:
                M[row, column] += sign
            self.maps.append(M)

    def start(self) -> _State:
        """Each photo as its own adjustment left it, prints at their mean shape."""
        common = {}
        for lens in self.lenses:
            of = [s for s in self.shots if s.lens == lens]
            off = np.median([of[0].prior.off(s.plane.camera)[:3] for s in of], axis=0)
            common[lens] = np.array([*off, 0.0, 0.0])
        places = [
            state_of(refs, [p.affine for p in s.plane.references])
            for s, refs in zip(self.shots, self.references, strict=True)
        ]
        for key in self.first:
            found = [
                (i, n, _sign(s, ref))
                for i, s in enumerate(self.shots)
                for n, ref in enumerate(self.references[i])
                if _key(ref) == key
            ]
            mean = np.mean([sign * places[i][n] for i, n, sign in found], axis=0)
            for i, n, sign in found:
                places[i][n, _SHAPE] = (sign * mean)[_SHAPE]
        return _State(common, tuple(s.plane.camera for s in self.shots), tuple(places))

    def moved(self, state: _State, step: np.ndarray) -> _State:
        own = [M @ step for M in self.maps]
        return _State(
            {
                lens: c + step[N_LENS * i : N_LENS * (i + 1)]
                for i, (lens, c) in enumerate(state.common.items())
            },
            tuple(c.moved(p[:N_CAMERA]) for c, p in zip(state.cameras, own, strict=True)),
            tuple(
                s + p[N_CAMERA:].reshape(s.shape) for s, p in zip(state.places, own, strict=True)
            ),
        )

    def rows(self, state: _State) -> tuple[np.ndarray, np.ndarray, np.ndarray, list[str]]:
        """All rows, normalised, as of `rows.system`; each one's source.

        A photo's lens is the common one plus its own departure, which the first rows hold small.
        What bends the picture otherwise (k3, warp) is its own unknown, but no other chance: its
        rows are named so that `_factors` takes them together.
        """
        r, J, w, source = [], [], [], []
        for i, lens in enumerate(self.lenses):
            of = next(s for s in self.shots if s.lens == lens)
            W = np.linalg.inv(np.linalg.cholesky(of.prior.covariance))
            block = np.zeros((N_LENS, self.size))
            block[:, N_LENS * i : N_LENS * (i + 1)] = W
            r.append(W @ state.common[lens])
            J.append(block)
            w.append(np.ones(N_LENS))
            source += ["adjustment"] * N_LENS
        for i, shot in enumerate(self.shots):
            tie = moved_prior(
                next(s.prior for s in self.shots if s.lens == shot.lens),
                state.common[shot.lens],
                np.diag(between_photos(shot.size) ** 2),
            ).as_bent_as(shot.plane.camera)
            noise = [p.noise_px for p in shot.plane.references]
            references = self.references[i]
            off, by, names, weight = system(
                references, tie, state.cameras[i], state.places[i], noise
            )
            own = by @ self.maps[i]
            own[:N_LENS, : N_LENS * len(self.lenses)] = 0.0
            names[:N_LENS] = [f"lens {i}"] * N_LENS
            names[N_LENS : N_LENS + N_WARP] = [f"warp {shot.lens} {j}" for j in range(N_WARP)]
            kept = np.array([self._told_here(i, n, row) for n, row in zip(names, by, strict=True)])
            r.append(off[kept])
            J.append(own[kept])
            w.append(weight[kept])
            source += [n for n, k in zip(names, kept, strict=True) if k]
        return np.concatenate(r), np.vstack(J), np.concatenate(w), source

    def _told_here(self, i: int, name: str, row: np.ndarray) -> bool:
        """Whether a row counts: what is known of a print is told once, not by every photo."""
        if name not in _PRIORS:
            return True
        n = (int(np.flatnonzero(row)[0]) - N_CAMERA) // N_PLACE
        return self.first[_key(self.references[i][n])] == i


def adjust_jointly(shots: Sequence[Shot]) -> Joint:
    """Adjust several photos' cameras and references together.

    The noise is what each photo's own adjustment learned.
    """
    layout = _Layout(shots)
    state, damping = layout.start(), 1e-3
    r, J, w, source = layout.rows(state)
    cost = huber_cost(r, w)
    for _ in range(_STEPS):
        scale = np.sqrt(np.einsum("ij,ij,i->j", J, J, w)) + 1e-12
        A = J / scale
        N, g = A.T @ (A * w[:, None]), A.T @ (w * r)
        step = -np.linalg.solve(N + damping * np.eye(len(N)), g)
        after = layout.moved(state, step / scale)
        r2, J2, w2, source = layout.rows(after)
        new = huber_cost(r2, w2)
        small = np.linalg.norm(step) < 1e-2 or abs(cost - new) < 1e-6 * cost
        if new <= cost:
            state, r, J, w, cost = after, r2, J2, w2, new
            damping = max(damping / 10, 1e-12)
        else:
            damping *= 10
        if small or damping > 1e8:
            break
    names = np.array(source)
    strange = tuple(float(np.sum(r[names == f"lens {i}"] ** 2)) for i in range(len(shots)))
    factors = _factors(layout, J, w, names)
    nothing = np.zeros((N_CAMERA, 1))
    if any(STRETCH in s.plane.factors for s in shots):  # whoever changed one did so to all
        factors[STRETCH] = np.vstack([s.plane.factors.get(STRETCH, nothing) for s in shots])
    return Joint(state.cameras, factors, strange)


def _factors(
    layout: _Layout, J: np.ndarray, w: np.ndarray, names: np.ndarray
) -> dict[str, np.ndarray]:
    """Square-root parts of the cameras' covariance by source."""
    root = J * np.sqrt(w)[:, None]
    scale = np.linalg.norm(root, axis=0) + 1e-12
    root = root / scale
    gain = np.linalg.solve(root.T @ root, root.T) / scale[:, None]
    gain = np.vstack([M[:N_CAMERA] for M in layout.maps]) @ gain
    # one lens bends all its photos alike: one chance, however many rows say so
    bent = [gain[:, names == n].sum(axis=1) for n in np.unique(names) if n.startswith("warp ")]
    own = gain[:, [n == "adjustment" or n.startswith("lens ") for n in names]]
    parts = {"adjustment": np.column_stack([own, *bent])}
    parts |= {name: gain[:, names == name] for name in _PRIORS if name in names}
    return {  # the same covariance in no more columns than parameters
        name: np.asarray(np.linalg.qr(part.T, mode="r")).T if part.shape[1] > len(part) else part
        for name, part in parts.items()
    }


def _key(ref: Reference) -> tuple[str, str]:
    return ref.kind, ref.name


def _sign(shot: Shot, ref: Reference) -> np.ndarray:
    """(7,) signs of a place's numbers: a quarter turn of the mat changes its stretch's and skew's."""
    sign = np.ones(N_PLACE)
    if ref.kind == "grid" and shot.crossed:
        sign[4:6] = -1.0
    return sign


def _of_one_shape(references: Sequence[Sequence[Reference]]) -> list[list[Reference]]:
    """The same print with the same doubt about its size in all photos: the largest of any."""
    widest: dict[tuple[str, str], np.ndarray] = {}
    for ref in (r for some in references for r in some):
        sigma = np.array([ref.scale_sigma, ref.stretch_sigma, ref.skew_sigma, ref.height_sigma])
        widest[_key(ref)] = np.maximum(widest.get(_key(ref), 0.0), sigma)
    names = ("scale_sigma", "stretch_sigma", "skew_sigma", "height_sigma")
    return [
        [replace(r, **dict(zip(names, widest[_key(r)].tolist(), strict=True))) for r in some]
        for some in references
    ]
