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
from .rows import N_PLACE, affine_of, free_parameters, huber_cost, misfit, state_of, system

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
    covariance: bool = True,
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
    covariance : bool
        Whether to work it out: a fit that another one follows needs none.

    Returns
    -------
    Plane
        Without the covariance it has no factors, and the scales' uncertainties are infinite.

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
    budget = _budget(references, prior, camera, state, noise) if covariance else None
    return _plane(references, camera, state, noise, rms, budget)


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
        by = np.vstack([camera.steps_about(held).T @ J.T[:N_CAMERA], J.T[N_CAMERA:]])[free]
        weighed = by * w
        scale = np.sqrt(np.einsum("ij,ij->i", by, weighed)) + 1e-12
        N = weighed @ by.T / np.outer(scale, scale)
        g = weighed @ r / scale
        scaled = -np.linalg.solve(N + damping * np.eye(len(N)), g)
        step = np.zeros(len(free))
        step[free] = scaled / scale
        moved = camera.moved_about(step[:N_CAMERA], held)
        shifted = state + step[N_CAMERA:].reshape(state.shape)
        foreseen = float(scaled @ (damping * scaled - g))
        # a hundredth of a sigma, or nothing more to win
        if np.linalg.norm(scaled) < 1e-2 or foreseen < settled * cost:
            return moved, shifted
        r2, J2, _, w2 = system(references, prior, moved, shifted, noise)
        new = huber_cost(r2, w2)
        if not np.isfinite(new):
            raise NoReferenceError(
                "The reference's points do not fit one plane.", "Lay it flat and try again."
            )
        small = abs(cost - new) < settled * cost
        if new <= cost or small:
            gain = (cost - new) / max(foreseen, 1e-12)
            damping, harder = damping * max(1 / 3, 1 - (2 * gain - 1) ** 3), 2.0
            camera, state, r, J, w, cost = moved, shifted, r2, J2, w2, new
            if small:
                break
        else:
            damping, harder = damping * harder, 2 * harder
            if damping > 1e8:
                break
    return camera, state


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


def _budget(
    references: Sequence[Reference],
    prior: LensPrior,
    camera: Camera,
    state: np.ndarray,
    noise: Sequence[np.ndarray],
) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Factors of the camera's covariance by source, and (N,) variances of the scales."""
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
    variance = np.zeros(len(free))
    variance[free] = np.einsum("ij,ij->i", gain, gain)
    places = variance[N_CAMERA:].reshape(len(references), N_PLACE)
    return factors, places[:, 3] + places[:, 4]


def _plane(
    references: Sequence[Reference],
    camera: Camera,
    state: np.ndarray,
    noise: Sequence[np.ndarray],
    rms: Sequence[float],
    budget: tuple[dict[str, np.ndarray], np.ndarray] | None,
) -> Plane:
    factors, variances = budget or ({}, np.full(len(references), np.inf))
    placed = []
    for i, (ref, s) in enumerate(zip(references, state, strict=True)):
        outline = None
        if ref.outline_mm is not None:
            corners = replace(ref, points_mm=ref.outline_mm).at(affine_of(s))
            outline = camera.project(np.column_stack([corners, np.full(4, -s[6])]))
        shape = float(s[3]), float(s[4]), float(np.sqrt(variances[i]))
        placed.append(Placed(ref, affine_of(s), *shape, outline, rms[i], noise[i]))
    n = [len(r.points_px) for r in references]
    return Plane(
        camera, factors, tuple(placed), float(np.sqrt(np.average(np.square(rms), weights=n)))
    )
