"""What references and priors say, as rows of one normalised system of equations."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .lens import N_CAMERA, Camera, LensPrior
from .reference import Reference

N_PLACE = 7  # x, y, turn, log scale, stretch, skew, height
_HUBER = 2.0


def state_of(references: Sequence[Reference], places: Sequence[np.ndarray]) -> np.ndarray:
    """(N, 7) first state of references placed by (2, 3) affines, but for a shape that is held."""
    state = np.array([[*_parts(A), r.height_mm] for A, r in zip(places, references, strict=True)])
    # an earlier fit may have left it free, and what is held would stay there
    state[:, 4:6][[[r.stretch_sigma == 0, r.skew_sigma == 0] for r in references]] = 0.0
    return state


def _parts(A: np.ndarray) -> np.ndarray:
    """(6,) shift, turn, log scale, stretch and skew of a (2, 3) affine: `_affine` undone."""
    turn = np.arctan2(A[1, 0] - A[0, 1], A[0, 0] + A[1, 1])
    c, s = np.cos(turn), np.sin(turn)
    S = np.array([[c, s], [-s, c]]) @ A[:, :2]  # symmetric: the polar decomposition's other part
    scale = (S[0, 0] + S[1, 1]) / 2
    return np.array([*A[:, 2], turn, np.log(scale), S[0, 0] / scale - 1, S[0, 1] / scale])


def affine_of(s: np.ndarray) -> np.ndarray:
    c, si = np.cos(s[2]), np.sin(s[2])
    S = np.exp(s[3]) * np.array([[1 + s[4], s[5]], [s[5], 1 - s[4]]])
    return np.column_stack([np.array([[c, -si], [si, c]]) @ S, s[:2]])


def misfit(reference: Reference, camera: Camera, s: np.ndarray) -> np.ndarray:
    """(2N,) residuals in pixels of a reference's points, x and y in turn, or (N,) across lines."""
    return _off(reference, camera.project(_in_plane(reference, s)))


def _in_plane(reference: Reference, s: np.ndarray) -> np.ndarray:
    points = reference.at(affine_of(s))
    return np.column_stack([points, np.full(len(points), -s[6])])


def _off(reference: Reference, px: np.ndarray) -> np.ndarray:
    off = px - reference.points_px
    if reference.normals_px is None:
        return off.ravel()
    return np.asarray((reference.normals_px * off).sum(axis=1))


def _rows_of(
    reference: Reference, s: np.ndarray, X: np.ndarray, by_camera: np.ndarray, by_X: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Derivatives of `misfit` by the camera (28, M) and by the place (7, M).

    Parameters
    ----------
    X : (N, 3) array
        The reference's points in the plane's frame.
    by_camera, by_X : (N, 2, 28), (N, 2, 3) arrays
        As of `Camera.derivatives`.
    """
    q, turned = reference.points_mm, X[:, :2] - s[:2]
    n = reference.normals_px
    if n is None:  # two rows to a point
        q, turned = np.repeat(q, 2, axis=0), np.repeat(turned, 2, axis=0)
        by_camera, by_X = by_camera.reshape(-1, N_CAMERA), by_X.reshape(-1, 3)
    else:
        by_camera, by_X = (n[:, :1] * by[:, 0] + n[:, 1:] * by[:, 1] for by in (by_camera, by_X))
    (x, y), (a, b, c) = turned.T, by_X.T
    # stretch and skew come before the turn
    R = np.exp(s[3]) * np.array([[np.cos(s[2]), -np.sin(s[2])], [np.sin(s[2]), np.cos(s[2])]])
    (sx, sy), (kx, ky) = R @ (q * (1, -1)).T, R @ q[:, ::-1].T
    by_place = [a, b, x * b - y * a, x * a + y * b, sx * a + sy * b, kx * a + ky * b, -c]
    return by_camera.T, np.array(by_place)


def _place_sigma(reference: Reference, first: bool) -> np.ndarray:
    """Prior of a place: inf is free, 0 is fixed."""
    free = 0.0 if first else np.inf
    r = reference
    return np.array(
        [free, free, free, r.scale_sigma, r.stretch_sigma, r.skew_sigma, r.height_sigma]
    )


def system(
    references: Sequence[Reference],
    prior: LensPrior,
    camera: Camera,
    state: np.ndarray,
    noise: Sequence[np.ndarray],
) -> tuple[np.ndarray, np.ndarray, list[str], np.ndarray]:
    """All rows, normalised: residuals, derivatives, source of each row, robust weights.

    What the points of one line have in common is noise as well: they are whitened together.
    """
    n = N_CAMERA + N_PLACE * len(references)
    off, by_lens = prior.residuals(camera)
    first = np.zeros((n, len(off)))
    first[:N_CAMERA] = by_lens.T
    r, J = [off], [first]
    source = ["adjustment"] * len(off)
    weights = [np.ones(len(off))]
    X = np.vstack([_in_plane(ref, s) for ref, s in zip(references, state, strict=True)])
    px, (by, by_X) = camera.project(X), camera.derivatives(X)
    end = 0
    for i, (ref, (sigma, common)) in enumerate(zip(references, noise, strict=True)):
        own = slice(end, end := end + len(ref.points_mm))
        off = _off(ref, px[own])
        by_camera, by_place = _rows_of(ref, state[i], X[own], by[own], by_X[own])
        at = N_CAMERA + N_PLACE * i
        block = np.zeros((n, len(off)))
        block[:N_CAMERA] = by_camera / sigma
        block[at : at + N_PLACE] = by_place / sigma
        off = off / sigma
        if ref.line is not None and common > 0:
            fair = _weights(np.abs(off) / np.hypot(1, common / sigma))
            off, block = _whitened(off, block, ref.line, fair, common / sigma)
        r.append(off)
        J.append(block)
        source += ["adjustment"] * len(off)
        size = np.abs(off)
        if ref.normals_px is None:  # one weight for both coordinates of a point
            size = np.repeat(np.hypot(size[::2], size[1::2]) / 1.4, 2)
        weights.append(_weights(size))
        tight = _place_sigma(ref, i == 0)
        told = np.flatnonzero((tight > 0) & (tight < np.inf))
        usual = np.array([*[0.0] * 6, ref.height_mm])
        r.append((state[i] - usual)[told] / tight[told])
        block = np.zeros((n, len(told)))
        block[at + told, np.arange(len(told))] = 1 / tight[told]
        J.append(block)
        scale = "mat scale" if ref.kind == "grid" else "print scale"
        source += ["card height" if j == 6 else scale for j in told]
        weights.append(np.ones(len(told)))
    return np.concatenate(r), np.hstack(J).T, source, np.concatenate(weights)


def _weights(size: np.ndarray) -> np.ndarray:
    """Huber's weights of normalised residuals; none for what is far off."""
    return np.minimum(1, _HUBER / np.maximum(size, 1e-12)) * (size < 6 * _HUBER)


def _whitened(
    off: np.ndarray, J: np.ndarray, line: np.ndarray, fair: np.ndarray, common: float
) -> tuple[np.ndarray, np.ndarray]:
    """Rows with unit noise and `common` noise per line, turned into rows with unit noise.

    Their derivatives `J` are (n, M), as `rows_of` gives them.

    The square root of the inverse of 1 + common² on all of a line takes a part of the line's
    mean off each of its rows.
    """
    n = np.bincount(line, fair)
    share = (1 - 1 / np.sqrt(1 + n * common**2)) / np.maximum(n, 1e-12)
    means = share * np.bincount(line, fair * off, len(n))
    of_line = np.zeros((len(line), len(n)))
    of_line[np.arange(len(line)), line] = fair
    return off - means[line], J - ((J @ of_line) * share)[:, line]


def free_parameters(references: Sequence[Reference]) -> np.ndarray:
    """(n,) which of the camera's and the places' parameters the adjustment moves."""
    places = [_place_sigma(ref, i == 0) > 0 for i, ref in enumerate(references)]
    return np.concatenate([np.ones(N_CAMERA, bool), *places])


def huber_cost(r: np.ndarray, w: np.ndarray) -> float:
    """Sum of Huber's function of normalised residuals, level beyond six times its bend."""
    size = np.abs(r)
    capped = np.minimum(size, 6 * _HUBER)
    return float(np.sum(np.where(capped <= _HUBER, capped**2, 2 * _HUBER * capped - _HUBER**2)))
