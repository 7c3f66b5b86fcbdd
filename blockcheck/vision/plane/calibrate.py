"""One's own lens from several photos: a joint adjustment of all of them.

Every photo keeps its own pose, references and lens; the lenses are tied to a common one by
how much a phone's lens differs from photo to photo (`lens.between_photos`). The common
lens and its covariance are what later photos take as their prior. Damped Gauss-Newton on
the normal equations of all photos together (Triggs et al., "Bundle adjustment", 2000;
model and idea: Zhang, MSR-TR-98-71). The model has one focal length: a camera whose pixels
are not square leaves a misfit, which widens the covariance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...errors import ProfileError
from ...profiles import LensProfile
from ..photo import Optics, Photo
from .adjust import adjust, noise_of
from .focal import focal_of
from .lens import N_CAMERA, N_LENS, QUARTER_TURN, Camera, LensPrior, between_photos
from .plane import Plane
from .reference import Reference
from .rows import free_parameters, huber_cost, misfit, state_of, system
from .stretch import SOURCE as STRETCH

MIN_PHOTOS = 5
_LENS = slice(6, 6 + N_LENS)
_ANY_FOCAL = 0.5  # 1 sigma of its logarithm: from half to twice and beyond
# standard deviations, and the least difference that is worth a word
_DOUBTED, _SURE, _NOTABLE = 2.0, 3.0, 0.1
_STRAINED = 1.5  # standard deviations; references that show another focal length strain more
_STEPS, _ROUNDS = 60, 4
_RARE = 0.001  # a lens that does fit is told not to once in a thousand photos


@dataclass(frozen=True, eq=False)
class Calibration:
    """The common lens of several photos.

    Attributes
    ----------
    lens : LensPrior
        Likeliest values and their covariance.
    rms_px : float
        Root mean square distance of seen from calculated points, over all photos.
    view_rms_px : tuple of float
        The same for each photo.
    """

    lens: LensPrior
    rms_px: float
    view_rms_px: tuple[float, ...]


@dataclass(frozen=True)
class _View:
    references: tuple[Reference, ...]
    camera: Camera
    state: np.ndarray
    noise: tuple[np.ndarray, ...]


def calibrate(planes: Sequence[Plane], prior: LensPrior, between: np.ndarray) -> Calibration:
    """Adjust the lens that several photos have in common.

    Parameters
    ----------
    planes : sequence of Plane
        Each photo's references and a first guess of its camera.
    prior : LensPrior
        What is known of the common lens beforehand.
    between : (5,) array
        1 sigma of a photo's log f, k1, k2, cx, cy about the common ones, greater than zero.
    """
    middle = np.median([[p.camera.f, p.camera.k1, p.camera.k2] for p in planes], axis=0)
    common = np.array([np.log(middle[0] / prior.f), *(middle[1:] - (prior.k1, prior.k2)), 0, 0])
    views = [_view(p, moved_prior(prior, common)) for p in planes]
    for _ in range(_ROUNDS):
        views, common = _solve(views, prior, common, between)
        views = _with_noise(views)
    N = _normal(views, prior, common, between)[0]
    scale = np.sqrt(np.diag(N))
    covariance = np.linalg.inv(N / np.outer(scale, scale))[:5, :5] / np.outer(scale[:5], scale[:5])
    squares = [_squares(v) for v in views]
    return Calibration(
        lens=moved_prior(prior, common, (covariance + covariance.T) / 2),
        rms_px=float(np.sqrt(np.mean(np.concatenate(squares)))),
        view_rms_px=tuple(float(np.sqrt(np.mean(s))) for s in squares),
    )


@dataclass(frozen=True, eq=False)
class LensView:
    """One photo for a profile, its pixels turned back to how the sensor reads them.

    Attributes
    ----------
    name : str
    key : tuple
        Camera, width, height and 35 mm focal length, as of `LensProfile.key`.
    plane : Plane
        Of its factors only the one for the picture's shape (`stretch`), where there is one.
    """

    name: str
    key: tuple[str | None, int, int, float | None]
    plane: Plane

    @classmethod
    def of(cls, photo: Photo, plane: Plane) -> LensView:
        """Take a photo's references and camera, without its pixels."""
        Q, own = _unturned(photo), plane.camera
        camera = own.turned(Q, on_sensor(photo, np.array([own.cx, own.cy])))
        placed = []
        for p in plane.references:
            r = p.reference
            normals = None if r.normals_px is None else r.normals_px @ Q.T
            seen = replace(r, points_px=on_sensor(photo, r.points_px), normals_px=normals)
            placed.append(replace(p, reference=seen))
        T = np.eye(N_CAMERA)
        T[:2, :2] = T[3:5, 3:5] = T[9:11, 9:11] = Q
        factors = {n: T @ F for n, F in plane.factors.items() if n == STRETCH}
        return cls(
            photo.path.name,
            photo.lens_key,
            replace(plane, camera=camera, factors=factors, references=tuple(placed)),
        )


def on_sensor(photo: Photo, points_px: np.ndarray) -> np.ndarray:
    """(..., 2) where pixels of the upright photo lie in the sensor's picture."""
    Q, middle = _unturned(photo), (np.array(photo.size) - 1) / 2
    return np.asarray((points_px - middle) @ Q.T + np.abs(Q @ middle))


def _unturned(photo: Photo) -> np.ndarray:
    return np.linalg.matrix_power(QUARTER_TURN, 4 - photo.quarter_turns)


def make_profile(views: Sequence[LensView]) -> tuple[LensProfile, Calibration]:
    """Calibrate the lens that took these photos.

    What is usual on phones (`LensPrior.of_photo`) helps where the photos alone do not
    contradict it.

    Raises
    ------
    ProfileError
        If there are fewer than five photos, or they are not all by one lens.
    """
    if len(views) < MIN_PHOTOS:
        raise ProfileError(
            f"A lens profile needs {MIN_PHOTOS} or more photos, but {len(views)} can be used.",
            "Photograph the reference sheet from above, then leaning about 20° to each side.",
        )
    for v in views:
        if v.key[0] is None:
            raise ProfileError(
                f"{v.name} does not say which camera took it.",
                "Use the photos as the phone made them, not sent through a messenger or edited.",
            )
        if v.key != views[0].key:
            raise ProfileError(
                f"{v.name} and {views[0].name} were not taken with one lens at one resolution.",
                "Make a profile for each lens of the phone, without zoom.",
            )
    camera, width, height, focal = views[0].key
    size = (width, height)
    usual = LensPrior.of_photo(size, *focal_of(Optics(focal), size))
    planes, between = [v.plane for v in views], between_photos(size)
    found = calibrate(planes, _open(usual, size), between)
    off = usual.off(found.lens.camera(np.eye(3), np.zeros(3)))
    if _fits(off, found.lens.covariance + usual.covariance):
        found = calibrate(planes, usual, between)
    lens, longer = found.lens, max(size)
    relative = np.diag([1, 1, 1, 1 / longer, 1 / longer])
    return LensProfile(
        camera=str(camera),
        width=width,
        height=height,
        focal_35mm=focal,
        f=lens.f / longer,
        k1=lens.k1,
        k2=lens.k2,
        cx=(lens.cx - (width - 1) / 2) / longer,
        cy=(lens.cy - (height - 1) / 2) / longer,
        covariance=relative @ lens.covariance @ relative,
        photos=len(views),
        rms_px=found.rms_px,
    ), found


def lens_fits(plane: Plane, prior: LensPrior, size: tuple[int, int]) -> bool:
    """Whether what a photo's references alone say of its lens agrees with a prior.

    The references are adjusted once more with the lens all but free; a chi-squared test of
    the five differences tells.
    """
    alone = _open(prior, size)
    free = readjust(plane, alone)
    parts = np.hstack(list(free.factors.values()))[_LENS]
    return _fits(prior.off(free.camera), parts @ parts.T + prior.covariance)


def other_focal(plane: Plane, prior: LensPrior) -> tuple[Plane, LensPrior, bool] | None:
    """Return the plane with the focal length that the references show, where a prior's is wrong.

    A tilted reference shows it by its perspective: they are adjusted once more with the focal
    length all but free. Where the two differ by more than `_SURE` standard deviations, what was
    noted is dropped; by more than `_DOUBTED`, it is as unsure as they differ.

    Returns
    -------
    (Plane, LensPrior, bool) or None
        The plane, the prior that it was adjusted with, and whether what was noted is surely
        wrong. None where the two agree, or where the references show too little to tell. With the
        mat's lines nothing is adjusted anew where nothing is strained (`_strain`): many lines are
        dear to adjust. Without them it always is: a wrong focal length that the fit does not
        leave looks like noise.
    """
    by_lines = any(p.reference.kind == "grid" for p in plane.references)
    if by_lines and _strain(plane, prior) < _STRAINED:
        return None
    open_prior = any_focal(prior)
    free = readjust(plane, open_prior)
    parts = np.hstack(list(free.factors.values()))[_LENS]
    off = abs(float(np.log(free.camera.f / prior.f)))
    u = float(np.sqrt((parts @ parts.T + prior.covariance)[0, 0]))
    if off > max(_SURE * u, _NOTABLE):
        return free, open_prior, True
    if off > _DOUBTED * u:
        doubted = any_focal(prior, off)
        return readjust(plane, doubted), doubted, False
    return None


def _strain(plane: Plane, prior: LensPrior) -> float:
    """How far a focal length is pulled away from what was noted, and the mat out of its shape.

    In standard deviations. A wrong focal length makes a wrong tilt, and a wrong tilt makes squares
    longer than wide.
    """
    pulled = np.log(plane.camera.f / prior.f) / np.sqrt(prior.covariance[0, 0])
    stretched = [
        p.stretch / p.reference.stretch_sigma
        for p in plane.references
        if p.reference.kind == "grid"
    ]
    return float(np.linalg.norm([pulled, *stretched]))


def any_focal(prior: LensPrior, sigma: float = _ANY_FOCAL) -> LensPrior:
    """Return a prior that leaves the focal length to the photos."""
    covariance = prior.covariance.copy()
    covariance[0, :] = covariance[:, 0] = 0.0
    covariance[0, 0] = sigma**2
    return replace(prior, covariance=covariance)


def readjust(plane: Plane, prior: LensPrior) -> Plane:
    """Return the plane of the same references under another prior."""
    references = [p.reference for p in plane.references]
    found = adjust(references, prior, plane.camera, [p.affine for p in plane.references])
    return replace(found, mat=plane.mat)


def _open(prior: LensPrior, size: tuple[int, int]) -> LensPrior:
    """Return a prior that leaves all but everything to the photos."""
    centre = 0.03 * max(size)
    return replace(prior, covariance=np.diag(np.square([0.15, 0.3, 0.3, centre, centre])))


def _fits(off: np.ndarray, covariance: np.ndarray) -> bool:
    from scipy.special import chdtri  # takes long to load, and is needed with a profile only

    return float(off @ np.linalg.solve(covariance, off)) < chdtri(len(off), _RARE)


def moved_prior(
    prior: LensPrior, common: np.ndarray, covariance: np.ndarray | None = None
) -> LensPrior:
    """Return a prior whose log f, k1, k2, cx, cy are moved by `common` (5,)."""
    return LensPrior(
        f=prior.f * float(np.exp(common[0])),
        k1=prior.k1 + float(common[1]),
        k2=prior.k2 + float(common[2]),
        cx=prior.cx + float(common[3]),
        cy=prior.cy + float(common[4]),
        covariance=prior.covariance if covariance is None else covariance,
        warp_sigma=prior.warp_sigma,
    )


def _view(plane: Plane, lens: LensPrior) -> _View:
    """Start a photo from its own pose, seen through the common lens."""
    own = plane.camera
    t = own.t * (1, 1, lens.f / own.f)
    t[:2] += (np.array([own.cx, own.cy]) - (lens.cx, lens.cy)) * t[2] / lens.f
    references = tuple(p.reference for p in plane.references)
    camera = lens.camera(own.R, t)
    state = state_of(references, [p.affine for p in plane.references])
    rough = [np.array([5.0, 0.0])] * len(references)
    return _View(references, camera, state, tuple(noise_of(references, camera, state, rough)[0]))


def _with_noise(views: Sequence[_View]) -> list[_View]:
    """Learn the noise of each kind of reference from the misfit over all photos.

    One noise for all: photos that fit badly, most of them steep ones, say most of the lens.
    """
    found: dict[str, list[np.ndarray]] = {}
    for v in views:
        noise = noise_of(v.references, v.camera, v.state, v.noise)[0]
        for ref, own in zip(v.references, noise, strict=True):
            found.setdefault(ref.kind, []).append(own**2)
    common = {kind: np.sqrt(np.mean(squares, axis=0)) for kind, squares in found.items()}
    return [replace(v, noise=tuple(common[r.kind] for r in v.references)) for v in views]


def _normal(
    views: Sequence[_View], prior: LensPrior, common: np.ndarray, between: np.ndarray
) -> tuple[np.ndarray, np.ndarray, float]:
    """Return normal matrix, gradient and cost; the common lens comes first, then each photo."""
    tie = moved_prior(prior, common, np.diag(between**2))
    W = np.linalg.inv(np.linalg.cholesky(prior.covariance))
    blocks, cost = [], float(np.sum((W @ common) ** 2))
    for v in views:
        r, J, _, w = system(v.references, tie, v.camera, v.state, v.noise)
        # a photo's lens is the common one plus its own departure, which the tie's rows hold small
        by_common = J[:, _LENS].copy()
        by_common[:5] = 0
        J = np.hstack([by_common, J[:, free_parameters(v.references)]])
        blocks.append(((J * w[:, None]).T @ J, J.T @ (w * r)))
        cost += float(r[:5] @ r[:5]) + huber_cost(r[5:], w[5:])
    n = 5 + sum(len(g) - 5 for _, g in blocks)
    N, g = np.zeros((n, n)), np.zeros(n)
    N[:5, :5], g[:5] = W.T @ W, W.T @ W @ common
    at = 5
    for block, gradient in blocks:
        index = np.r_[0:5, at : at + len(gradient) - 5]
        N[np.ix_(index, index)] += block
        g[index] += gradient
        at += len(gradient) - 5
    return N, g, cost


def _solve(
    views: list[_View], prior: LensPrior, common: np.ndarray, between: np.ndarray
) -> tuple[list[_View], np.ndarray]:
    damping = 1e-3
    N, g, cost = _normal(views, prior, common, between)
    for _ in range(_STEPS):
        scale = np.sqrt(np.diag(N))
        A = N / np.outer(scale, scale) + damping * np.eye(len(N))
        step = -np.linalg.solve(A, g / scale) / scale
        moved, after = _stepped(views, step), common + step[:5]
        N2, g2, new = _normal(moved, prior, after, between)
        small = np.linalg.norm(step * scale) < 1e-2 or abs(cost - new) < 1e-7 * cost
        if new <= cost:
            views, common, N, g, cost = moved, after, N2, g2, new
            damping = max(damping / 10, 1e-12)
        else:
            damping *= 10
        if small or damping > 1e8:
            break
    return views, common


def _stepped(views: Sequence[_View], step: np.ndarray) -> list[_View]:
    moved, at = [], 5
    for v in views:
        free = free_parameters(v.references)
        own = np.zeros(len(free))
        own[free] = step[at : at + free.sum()]
        own[_LENS] += step[:5]
        at += int(free.sum())
        state = v.state + own[N_CAMERA:].reshape(v.state.shape)
        moved.append(replace(v, camera=v.camera.moved(own[:N_CAMERA]), state=state))
    return moved


def _squares(view: _View) -> np.ndarray:
    """Squared distance of each point (or of each place on a line, across it), in px²."""
    found = []
    for ref, s in zip(view.references, view.state, strict=True):
        off = misfit(ref, view.camera, s)
        found.append(off**2 if ref.normals_px is not None else (off.reshape(-1, 2) ** 2).sum(1))
    return np.concatenate(found)
