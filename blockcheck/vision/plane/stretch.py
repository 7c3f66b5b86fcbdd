"""A picture that may have been stretched in one direction: what that does to lengths.

A camera writes square pixels. By one small reference a stretch passes for a tilt, so nothing in
the photo shows it; the picture's shape does. How far that shape is from a camera's is then taken
as one standard uncertainty of the stretch (type B: JCGM 100, 4.3).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .adjust import adjust
from .lens import N_LENS, LensPrior
from .plane import Plane
from .reference import Reference

SOURCE = "picture's shape"
_GRID = 7  # places each way, over the picture, that the lengths' change is taken at


def stretched(prior: LensPrior, by: float) -> LensPrior:
    """Return a prior that lets a picture be longer one way by `by`, as 1 sigma (relative)."""
    sigma = prior.warp_sigma.copy()
    sigma[-2] = np.hypot(sigma[-2], by / 2)
    return replace(prior, warp_sigma=sigma)


def with_stretch(plane: Plane, prior: LensPrior, size: tuple[int, int], by: float) -> Plane:
    """Return the plane with a source of uncertainty for a stretch of its picture.

    The references are adjusted once more as if the picture's longer side were stretched by
    `by`; what that changes on the plane is what other values of pose and lens would, because
    both are perspectives of one plane.

    Parameters
    ----------
    plane : Plane
    prior : LensPrior
        That it was adjusted with.
    size : (width, height)
        Of the picture.
    by : float
        One standard uncertainty, relative.
    """
    wide = size[0] >= size[1]
    shrink = np.array([1 / (1 + by), 1.0] if wide else [1.0, 1 / (1 + by)])
    middle = (np.array(size) - 1) / 2
    references = [_shrunk(p.reference, shrink, middle) for p in plane.references]
    places = [p.affine for p in plane.references]
    other = adjust(references, prior, plane.camera, places, covariance=False)
    share = np.linspace(0.05, 0.95, _GRID)
    grid = np.stack(np.meshgrid(share, share), axis=-1).reshape(-1, 2) * size
    moved = other.mm_from_px((grid - middle) * shrink + middle) - plane.mm_from_px(grid)
    n = 6 + N_LENS
    J = plane.jacobian(grid)
    scale = np.linalg.norm(J[:, :, :n], axis=(0, 1))
    found = np.linalg.lstsq(J[:, :, :n].reshape(-1, n) / scale, moved.ravel(), rcond=1e-9)[0]
    factor = np.zeros((J.shape[2], 1))
    factor[:n, 0] = found / scale
    return replace(plane, factors={**plane.factors, SOURCE: factor})


def _shrunk(reference: Reference, by: np.ndarray, middle: np.ndarray) -> Reference:
    """A reference as it was seen before the picture was stretched, its own shape held."""
    normals = reference.normals_px
    if normals is not None:
        normals = normals / by
        normals = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    return replace(
        reference,
        points_px=(reference.points_px - middle) * by + middle,
        normals_px=normals,
        stretch_sigma=0.0,
    )
