"""All references together give one plane: pixels to millimetres, with covariance.

One robust least-squares adjustment with priors (maximum a posteriori; Triggs et al.,
"Bundle adjustment", 2000, sections 3 and 4) over the camera's pose, focal length, k1, k2
and principal point, and over each reference's place, scale, height and (for the mat) shear.
The covariance is kept in parts by where it comes from, so that a length's budget adds up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...errors import NoReferenceError
from .lens import N_CAMERA, Camera, LensPrior, pose_from_points
from .plane import Placed, Plane
from .reference import Reference

_PLACE = 7  # x, y, turn, log scale, stretch, skew, height
_HUBER = 2.0
_STEPS = 25
_DAMPING = 1e-5
SETTLED, ROUGHLY = 1e-5, 1e-4  # of the cost: what no further step is made for


def first_camera(prior: LensPrior, reference: Reference) -> Camera:
    """Return a camera from one point reference, whose frame becomes the plane's."""
    return pose_from_points(prior, reference.points_mm, reference.points_px, reference.height_mm)


def place_on(camera: Camera, reference: Reference) -> np.ndarray:
    """(2, 3) rigid placing of a reference on the plane, from where its points are seen."""
    seen = camera.to_plane(reference.points_px, reference.height_mm)
    own, there = reference.points_mm - reference.points_mm.mean(0), seen - seen.mean(0)
    turn = np.arctan2(
        np.sum(own[:, 0] * there[:, 1] - own[:, 1] * there[:, 0]), np.sum(own * there)
    )
    c, s = np.cos(turn), np.sin(turn)
    R = np.array([[c, -s], [s, c]])
    return np.column_stack([R, seen.mean(0) - R @ reference.points_mm.mean(0)])


def adjust(
    references: Sequence[Reference],
    prior: LensPrior,
    camera: Camera,
    places: Sequence[np.ndarray] | None = None,
    rounds: int = 3,
    settled: float = SETTLED,
    noise: Sequence[np.ndarray] | None = None,
) -> Plane:
    """Adjust camera and references together.

    Parameters
    ----------
    references : sequence of Reference
        The first one's frame is the plane's.
    prior : LensPrior
    camera : Camera
        A first guess in the frame of the first reference.
    places : sequence of (2, 3) arrays, optional
        First placing of each reference; found by `place_on` where it is left out.
    rounds : int
        How often the fit is made; each round but the last learns the noise from the misfit.
    settled : float
        Share of the misfit that a step must still win for another to be made.
    noise : sequence of (2,) arrays, optional
        As of `noise_of`, to begin with.

    Returns
    -------
    Plane

    Raises
    ------
    NoReferenceError
        If there is nothing to adjust to, or the fit does not settle.
    """
    if not references:
        raise NoReferenceError(
            "No reference was found.", "Lay the printed card flat beside the block."
        )
    if places is None:
        places = [np.eye(2, 3), *(place_on(camera, r) for r in references[1:])]
    camera, state = _at_scale(references, camera, state_of(references, places))
    noise = first_noise(references) if noise is None else noise
    usual = prior
    prior = usual.as_bent_as(camera)
    for _ in range(rounds - 1):
        camera, state = _solve(references, prior, camera, state, noise, ROUGHLY)
        noise = noise_of(references, camera, state, noise)[0]
        prior = usual.as_bent_as(camera)
    camera, state = _solve(references, prior, camera, state, noise, settled)
    rms = noise_of(references, camera, state, noise)[1]
    return _plane(references, prior, camera, state, noise, rms)


def state_of(references: Sequence[Reference], places: Sequence[np.ndarray]) -> np.ndarray:
    """(N, 7) first state of references placed by (2, 3) affines."""
    return np.array([[*_parts(A), r.height_mm] for A, r in zip(places, references, strict=True)])


def _at_scale(
    references: Sequence[Reference], camera: Camera, state: np.ndarray
) -> tuple[Camera, np.ndarray]:
    """Enlarge a first world until the reference that is surest of its size has it.

    The photo shows the same, and the fit need not find the way there.
    """
    away = state[int(np.argmin([r.scale_sigma for r in references])), 3]
    times = np.exp(-away)
    state = state * np.array([times, times, 1, 1, 1, 1, 1])
    state[:, 3] -= away
    return replace(camera, t=times * camera.t), state


def _parts(A: np.ndarray) -> np.ndarray:
    """(6,) shift, turn, log scale, stretch and skew of a (2, 3) affine: `_affine` undone."""
    turn = np.arctan2(A[1, 0] - A[0, 1], A[0, 0] + A[1, 1])
    c, s = np.cos(turn), np.sin(turn)
    S = np.array([[c, s], [-s, c]]) @ A[:, :2]  # symmetric: the polar decomposition's other part
    scale = (S[0, 0] + S[1, 1]) / 2
    return np.array([*A[:, 2], turn, np.log(scale), S[0, 0] / scale - 1, S[0, 1] / scale])


def _affine(s: np.ndarray) -> np.ndarray:
    c, si = np.cos(s[2]), np.sin(s[2])
    S = np.exp(s[3]) * np.array([[1 + s[4], s[5]], [s[5], 1 - s[4]]])
    return np.column_stack([np.array([[c, -si], [si, c]]) @ S, s[:2]])


def misfit(reference: Reference, camera: Camera, s: np.ndarray) -> np.ndarray:
    """(2N,) residuals in pixels of a reference's points, x and y in turn, or (N,) across lines."""
    return _misfit(reference, camera, _in_plane(reference, s))


def _in_plane(reference: Reference, s: np.ndarray) -> np.ndarray:
    points = reference.at(_affine(s))
    return np.column_stack([points, np.full(len(points), -s[6])])


def _misfit(reference: Reference, camera: Camera, X: np.ndarray) -> np.ndarray:
    off = camera.project(X) - reference.points_px
    if reference.normals_px is None:
        return off.ravel()
    return np.einsum("ij,ij->i", reference.normals_px, off)


def rows_of(
    reference: Reference, camera: Camera, s: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """`misfit` with its derivatives by the camera and by the place."""
    q, X = reference.points_mm, _in_plane(reference, s)
    by_camera, by_X = camera.derivatives(X)
    off = _misfit(reference, camera, X)
    turned = X[:, :2] - s[:2]
    by_s = np.zeros((len(q), 3, _PLACE))
    by_s[:, 0, 0] = by_s[:, 1, 1] = 1
    by_s[:, 0, 2], by_s[:, 1, 2] = -turned[:, 1], turned[:, 0]
    by_s[:, :2, 3] = turned
    R = np.exp(s[3]) * np.array([[np.cos(s[2]), -np.sin(s[2])], [np.sin(s[2]), np.cos(s[2])]])
    by_s[:, :2, 4] = (q * (1, -1)) @ R.T
    by_s[:, :2, 5] = q[:, ::-1] @ R.T
    by_s[:, 2, 6] = -1
    by_place = by_X @ by_s
    n = reference.normals_px
    if n is None:
        return off, by_camera.reshape(-1, N_CAMERA), by_place.reshape(-1, _PLACE)
    return off, np.einsum("ij,ijk->ik", n, by_camera), np.einsum("ij,ijk->ik", n, by_place)


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
    n = N_CAMERA + _PLACE * len(references)
    r_lens, J_lens = prior.residuals(camera)
    r, J = [r_lens], [np.hstack([J_lens, np.zeros((len(r_lens), n - N_CAMERA))])]
    source = ["adjustment"] * len(r_lens)
    weights = [np.ones(len(r_lens))]
    for i, (ref, (sigma, common)) in enumerate(zip(references, noise, strict=True)):
        at = N_CAMERA + _PLACE * i
        off, by_camera, by_place = rows_of(ref, camera, state[i])
        block = np.zeros((len(off), n))
        block[:, :N_CAMERA] = by_camera / sigma
        block[:, at : at + _PLACE] = by_place / sigma
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
        scale = "mat scale" if ref.kind == "grid" else "print scale"
        for j, name in ((3, scale), (4, scale), (5, scale), (6, "card height")):
            if 0 < tight[j] < np.inf:
                row = np.zeros((1, n))
                row[0, at + j] = 1 / tight[j]
                r.append(np.array([(state[i, j] - (ref.height_mm if j == 6 else 0)) / tight[j]]))
                J.append(row)
                source.append(name)
                weights.append(np.ones(1))
    return np.concatenate(r), np.vstack(J), source, np.concatenate(weights)


def _weights(size: np.ndarray) -> np.ndarray:
    """Huber's weights of normalised residuals; none for what is far off."""
    return np.minimum(1, _HUBER / np.maximum(size, 1e-12)) * (size < 6 * _HUBER)


def _whitened(
    off: np.ndarray, J: np.ndarray, line: np.ndarray, fair: np.ndarray, common: float
) -> tuple[np.ndarray, np.ndarray]:
    """Rows with unit noise and `common` noise per line, turned into rows with unit noise.

    The square root of the inverse of 1 + common² on all of a line takes a part of the line's
    mean off each of its rows.
    """
    n = np.bincount(line, fair)
    share = (1 - 1 / np.sqrt(1 + n * common**2)) / np.maximum(n, 1e-12)
    means = share * np.bincount(line, fair * off, len(n))
    of_line = np.zeros((len(n), len(line)))
    of_line[line, np.arange(len(line))] = fair
    return off - means[line], J - (share[:, None] * (of_line @ J))[line]


def free_parameters(references: Sequence[Reference]) -> np.ndarray:
    """(n,) which of the camera's and the places' parameters the adjustment moves."""
    places = [_place_sigma(ref, i == 0) > 0 for i, ref in enumerate(references)]
    return np.concatenate([np.ones(N_CAMERA, bool), *places])


def _solve(
    references: Sequence[Reference],
    prior: LensPrior,
    camera: Camera,
    state: np.ndarray,
    noise: Sequence[np.ndarray],
    settled: float = SETTLED,
) -> tuple[Camera, np.ndarray]:
    """Levenberg-Marquardt with Huber's weights, the turn kept on the rotation group.

    The damping follows the gain of each step (Madsen, Nielsen & Tingleff, "Methods for
    Non-Linear Least Squares Problems", 2004, section 3.2).
    """
    free = free_parameters(references)
    held = np.array([*camera.to_plane(np.array([[prior.cx, prior.cy]]))[0], 0.0])
    damping, harder = _DAMPING, 2.0
    r, J, _, w = system(references, prior, camera, state, noise)
    cost = huber_cost(r, w)
    for _ in range(_STEPS):
        own = np.hstack([J[:, :N_CAMERA] @ camera.steps_about(held), J[:, N_CAMERA:]])[:, free]
        scale = np.sqrt(np.einsum("ij,ij,i->j", own, own, w)) + 1e-12
        own /= scale
        N = own.T @ (own * w[:, None])
        g = own.T @ (w * r)
        scaled = -np.linalg.solve(N + damping * np.eye(len(N)), g)
        step = np.zeros(len(free))
        step[free] = scaled / scale
        moved = camera.moved_about(step[:N_CAMERA], held)
        shifted = state + step[N_CAMERA:].reshape(state.shape)
        r2, J2, _, w2 = system(references, prior, moved, shifted, noise)
        new = huber_cost(r2, w2)
        if not np.isfinite(new):
            raise NoReferenceError(
                "The reference's points do not fit one plane.", "Lay it flat and try again."
            )
        # a hundredth of a sigma, or nothing more to win
        small = np.linalg.norm(scaled) < 1e-2 or abs(cost - new) < settled * cost
        if new <= cost or small:
            gain = (cost - new) / max(float(scaled @ (damping * scaled - g)), 1e-12)
            damping, harder = damping * max(1 / 3, 1 - (2 * gain - 1) ** 3), 2.0
            camera, state, r, J, w, cost = moved, shifted, r2, J2, w2, new
            if small:
                break
        else:
            damping, harder = damping * harder, 2 * harder
            if damping > 1e8:
                break
    return camera, state


def huber_cost(r: np.ndarray, w: np.ndarray) -> float:
    """Sum of Huber's function of normalised residuals, level beyond six times its bend."""
    size = np.abs(r)
    capped = np.minimum(size, 6 * _HUBER)
    return float(np.sum(np.where(capped <= _HUBER, capped**2, 2 * _HUBER * capped - _HUBER**2)))


def first_noise(references: Sequence[Reference]) -> list[np.ndarray]:
    """First guess of each reference's noise, as of `noise_of`."""
    return [np.array([r.sigma_px, r.common_px]) for r in references]


def noise_of(
    references: Sequence[Reference],
    camera: Camera,
    state: np.ndarray,
    noise: Sequence[np.ndarray],
) -> tuple[list[np.ndarray], list[float]]:
    """Noise of each reference from its misfit, with the freedom that the fit took from it.

    Returns
    -------
    list of (2,) arrays
        Standard deviation of one coordinate by itself, and of what a line's points have in
        common, in pixels.
    list of float
        Misfit of each reference.
    """
    found, rms = [], []
    for ref, s, (sigma, common) in zip(references, state, noise, strict=True):
        off = misfit(ref, camera, s)
        size = np.abs(off)
        near = size < max(6 * np.hypot(sigma, common), 4 * 1.4826 * float(np.median(size)))
        lost = min(0.5, 8 / len(off))
        rms.append(float(np.sqrt(np.mean(off[near] ** 2))))
        own, shared = rms[-1] / np.sqrt(1 - lost), 0.0
        if ref.line is not None:
            own, shared = _by_lines(off[near], ref.line[near])
            shared = max(shared, ref.common_px)
        found.append(np.array([max(0.4 * ref.sigma_px, own), shared]))
    return found, rms


def _by_lines(off: np.ndarray, line: np.ndarray) -> tuple[float, float]:
    """Noise within lines and between them: variance components (one-way layout)."""
    n = np.bincount(line)
    present = n > 0
    mean = np.bincount(line, off)[present] / n[present]
    within = off - mean[np.cumsum(present)[line] - 1]
    own = np.sum(within**2) / max(1, len(off) - present.sum())
    between = np.sum(n[present] * mean**2) / max(1, present.sum() - 4)
    size = (len(off) - np.sum(n**2) / len(off)) / max(1, present.sum() - 1)
    return float(np.sqrt(own)), float(np.sqrt(max(0.0, (between - own) / max(size, 1.0))))


def _plane(
    references: Sequence[Reference],
    prior: LensPrior,
    camera: Camera,
    state: np.ndarray,
    noise: Sequence[np.ndarray],
    rms: Sequence[float],
) -> Plane:
    free = free_parameters(references)
    _, J, source, w = system(references, prior, camera, state, noise)
    J = J[:, free] * np.sqrt(w)[:, None]
    scale = np.linalg.norm(J, axis=0) + 1e-12
    N = (J / scale).T @ (J / scale)
    # parameters from normalised rows
    gain = np.linalg.solve(N, (J / scale).T) / scale[:, None]
    factors = {}
    for name in dict.fromkeys(source):
        part = gain[:N_CAMERA, np.array(source) == name]
        # the same covariance in no more columns than parameters
        factors[name] = (
            np.asarray(np.linalg.qr(part.T, mode="r")).T if part.shape[1] > N_CAMERA else part
        )
    covariance = gain @ gain.T
    index = np.cumsum(free) - 1
    placed = []
    for i, (ref, s) in enumerate(zip(references, state, strict=True)):
        own = N_CAMERA + _PLACE * i + np.array([3, 4])
        kept = covariance[index[own], index[own]] * free[own]
        outline = None
        if ref.outline_mm is not None:
            corners = replace(ref, points_mm=ref.outline_mm).at(_affine(s))
            outline = camera.project(np.column_stack([corners, np.full(4, -s[6])]))
        scale_u = float(np.sqrt(kept.sum()))
        shape = float(s[3]), float(s[4]), scale_u
        placed.append(Placed(ref, _affine(s), *shape, outline, rms[i], noise[i]))
    n = [len(r.points_px) for r in references]
    return Plane(
        camera, factors, tuple(placed), float(np.sqrt(np.average(np.square(rms), weights=n)))
    )
