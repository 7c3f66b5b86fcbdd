"""The mat's plane as a photo shows it: pixels to millimetres, with covariance by source."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ...errors import Problem
from ...uncertainty import Estimate, Term, combine
from .lens import Camera
from .reference import MatLines, Reference


@dataclass(frozen=True)
class Placed:
    """A reference as the adjustment left it.

    Attributes
    ----------
    affine : (2, 3) array
        Plane millimetres from the reference's own.
    log_scale, stretch : float
        How much larger than named it came out, and by how much more so along x, less along y.
    scale_u : float
        Standard uncertainty of its scale along one of its sides, as found.
    outline_px : (4, 2) array or None
    rms_px : float
        Misfit of its points or lines.
    noise_px : (2,) array
        Noise of one coordinate by itself, and of what the points of one line have in common.
    """

    reference: Reference
    affine: np.ndarray
    log_scale: float
    stretch: float
    scale_u: float
    outline_px: np.ndarray | None
    rms_px: float
    noise_px: np.ndarray

    @property
    def name(self) -> str:
        """The reference's name for people."""
        return self.reference.name


@dataclass(frozen=True)
class Plane:
    """The mat's plane as the photo shows it.

    Attributes
    ----------
    camera : Camera
    factors : dict of str to (28, m) array
        Square-root parts of the camera's covariance by source: the covariance is the sum
        of ``F @ F.T``.
    references : tuple of Placed
    fit_rms_px : float
        Misfit of all references together.
    mat : MatLines or None
        The mat's lines, where they were found.
    markers_px : (N, 2) array
        Middles of all printed markers in view, of boards that serve as references or not.
    problems : tuple of Problem
        Warnings about the references.
    """

    camera: Camera
    factors: dict[str, np.ndarray]
    references: tuple[Placed, ...]
    fit_rms_px: float
    mat: MatLines | None = None
    markers_px: np.ndarray = field(default_factory=lambda: np.zeros((0, 2)))
    problems: tuple[Problem, ...] = ()

    def mm_from_px(self, points_px: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
        """(N, 2) millimetres of (N, 2) pixels at a height above the mat."""
        return self.camera.to_plane(np.atleast_2d(points_px), height_mm)

    def px_from_mm(self, points_mm: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
        """(N, 2) pixels of (N, 2) millimetres at a height above the mat."""
        p = np.atleast_2d(np.asarray(points_mm, float))
        return self.camera.project(np.column_stack([p, np.full(len(p), -height_mm)]))

    def px_per_mm(self, point_mm: np.ndarray) -> float:
        """Pixels per millimetre at a point (geometric mean over directions)."""
        by_point = self._by_point(np.atleast_2d(point_mm), 0.0)[1]
        return float(np.sqrt(abs(np.linalg.det(by_point[0]))))

    def jacobian(self, points_px: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
        """(N, 2, 28) derivative of `mm_from_px` by the camera's parameters."""
        by_camera, by_point = self._by_point(self.mm_from_px(points_px, height_mm), height_mm)
        return -np.linalg.solve(by_point, by_camera)

    def terms(self, gradient: np.ndarray) -> tuple[Term, ...]:
        """Budget of a quantity whose derivative by the camera's parameters is `gradient` (28,)."""
        return tuple(
            Term(name, float(np.linalg.norm(gradient @ F))) for name, F in self.factors.items()
        )

    def length(self, p_px: np.ndarray, q_px: np.ndarray, height_mm: float = 0.0) -> Estimate:
        """Distance in mm between two places in the photo, exact pixels assumed."""
        ends_px = np.array([p_px, q_px], float)
        ends = self.mm_from_px(ends_px, height_mm)
        along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        J = self.jacobian(ends_px, height_mm)
        return Estimate(
            float(np.linalg.norm(ends[1] - ends[0])), combine(self.terms(along @ (J[1] - J[0])))
        )

    def _by_point(self, points_mm: np.ndarray, height_mm: float) -> tuple[np.ndarray, np.ndarray]:
        X = np.column_stack([points_mm, np.full(len(points_mm), -height_mm)])
        by_camera, by_X = self.camera.derivatives(X)
        return by_camera, by_X[:, :, :2]
