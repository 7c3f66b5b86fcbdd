"""The camera model: a pinhole with radial distortion, looking at a plane.

Frame of the plane: x to the right and y down as on the reference, z into the table, all
in millimetres; a point `height_mm` above the mat has z = -height_mm. The camera sees
``X_c = R X + t``, normalises ``x = X_c / Z_c``, stretches it by
``1 + k1 r^2 + k2 r^4`` (D. C. Brown 1966; Zhang, MSR-TR-98-71, eq. 11) and scales it to
pixels with one focal length (square pixels).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np

from ...profiles import LensProfile

N_CAMERA = 11  # turn (3), shift (3), log f, k1, k2, cx, cy
DIAGONAL_35MM = float(np.hypot(36.0, 24.0))
QUARTER_TURN = np.array([[0, -1], [1, 0]])  # a picture turned clockwise by 90°


@dataclass(frozen=True)
class Camera:
    """Pose and lens.

    Attributes
    ----------
    R : (3, 3) array
        Camera from plane.
    t : (3,) array
        Millimetres.
    f, k1, k2, cx, cy : float
        Pixels and plain numbers.
    """

    R: np.ndarray
    t: np.ndarray
    f: float
    k1: float
    k2: float
    cx: float
    cy: float

    @property
    def centre_mm(self) -> np.ndarray:
        """(3,) the camera's place in the frame of the plane."""
        return -self.R.T @ self.t

    @property
    def tilt_deg(self) -> float:
        """Angle between the line of sight and the plane's normal."""
        return float(np.degrees(np.arccos(np.clip(abs(self.R[2, 2]), 0, 1))))

    def project(self, points_mm: np.ndarray) -> np.ndarray:
        """(N, 2) pixels of (N, 3) points in the frame of the plane."""
        X = points_mm @ self.R.T + self.t
        x = X[:, :2] / X[:, 2:]
        r2 = np.sum(x * x, axis=1, keepdims=True)
        return self.f * x * (1 + r2 * (self.k1 + r2 * self.k2)) + (self.cx, self.cy)

    def normalise(self, points_px: np.ndarray) -> np.ndarray:
        """(N, 2) undistorted normalised coordinates of (N, 2) pixels, by Newton's method."""
        xd = (np.asarray(points_px, float) - (self.cx, self.cy)) / self.f
        rd = np.linalg.norm(xd, axis=1)
        r = rd.copy()
        for _ in range(6):
            r2 = r * r
            slope = 1 + r2 * (3 * self.k1 + 5 * self.k2 * r2)
            r = r - (r * (1 + r2 * (self.k1 + self.k2 * r2)) - rd) / np.maximum(slope, 0.2)
        return xd * np.where(rd > 0, r / np.where(rd > 0, rd, 1), 1)[:, None]

    def to_plane(self, points_px: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
        """(N, 2) millimetres where the rays of (N, 2) pixels meet the level `height_mm`."""
        rays = np.column_stack([self.normalise(points_px), np.ones(len(points_px))]) @ self.R
        c = self.centre_mm
        return c[:2] + rays[:, :2] * ((-height_mm - c[2]) / rays[:, 2])[:, None]

    def derivatives(self, points_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Derivatives of `project`.

        Returns
        -------
        (N, 2, 11) array
            By the camera: a small turn after R, t, log f, k1, k2, cx, cy.
        (N, 2, 3) array
            By the point's millimetres.
        """
        RX = points_mm @ self.R.T
        X = RX + self.t
        u, v = X[:, 0] / X[:, 2], X[:, 1] / X[:, 2]
        r2 = u * u + v * v
        d = 1 + r2 * (self.k1 + r2 * self.k2)
        bend = 2 * self.k1 + 4 * self.k2 * r2
        scale = self.f / X[:, 2]
        uu, uv, vv = scale * (d + bend * u * u), scale * bend * u * v, scale * (d + bend * v * v)
        J = np.zeros((len(X), 2, N_CAMERA))
        by_X = J[:, :, 3:6]  # a shift of the camera's frame is one of the point in it
        by_X[:, 0, 0], by_X[:, 0, 1], by_X[:, 0, 2] = uu, uv, -(uu * u + uv * v)
        by_X[:, 1, 0], by_X[:, 1, 1], by_X[:, 1, 2] = uv, vv, -(uv * u + vv * v)
        for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):  # d(exp(w) R X)/dw = -[R X]x
            J[:, :, i] = RX[:, None, j] * by_X[:, :, k] - RX[:, None, k] * by_X[:, :, j]
        x = self.f * np.column_stack([u, v])
        J[:, :, 6] = x * d[:, None]
        J[:, :, 7] = x * r2[:, None]
        J[:, :, 8] = x * (r2 * r2)[:, None]
        J[:, 0, 9] = J[:, 1, 10] = 1
        return J, by_X @ self.R

    def moved(self, step: np.ndarray) -> Camera:
        """Return the camera after a step in the eleven parameters of `derivatives`."""
        turn, _ = cv2.Rodrigues(np.asarray(step[:3], float))
        return replace(
            self,
            R=turn @ self.R,
            t=self.t + step[3:6],
            f=self.f * float(np.exp(step[6])),
            k1=self.k1 + step[7],
            k2=self.k2 + step[8],
            cx=self.cx + step[9],
            cy=self.cy + step[10],
        )

    def moved_about(self, step: np.ndarray, point_mm: np.ndarray) -> Camera:
        """Return the camera after a step that holds on to a (3,) point of the plane.

        The step is as for `moved`, but for the place: (px, px, log of scale) by which the point
        moves in the photo. A turn, another focal length or centre leave it where it is seen, so
        that what the photo hardly tells apart (tilt and centre, distance and focal length) does
        not slow a fit down.
        """
        depth = (self.R @ point_mm + self.t)[2] * np.exp(step[5] + step[6])
        px = self.project(point_mm[None])[0] + step[3:5]
        moved = self.moved(np.concatenate([step[:3], np.zeros(3), step[6:]]))
        ray = np.array([*moved.normalise(px[None])[0], 1.0])
        return replace(moved, t=depth * ray - moved.R @ point_mm)

    def steps_about(self, point_mm: np.ndarray) -> np.ndarray:
        """(11, 11) derivative of the steps of `moved` by those of `moved_about`."""
        J = self.derivatives(point_mm[None])[0][0]
        RX = self.R @ point_mm
        depth = RX[2] + self.t[2]
        held = np.zeros((3, N_CAMERA))
        held[:2] = -J
        held[:2, 3:6] = np.eye(3)[:2]
        held[2, :2] = -RX[1], RX[0]
        held[2, 5:7] = depth
        T = np.eye(N_CAMERA)
        T[3:6] = np.linalg.solve(np.vstack([J[:, 3:6], [0, 0, 1]]), held)
        return T


@dataclass(frozen=True, eq=False)
class LensPrior:
    """What is known of the lens before the references are looked at.

    Attributes
    ----------
    f, k1, k2, cx, cy : float
        As of `Camera`.
    covariance : (5, 5) array
        Of log f, k1, k2, cx, cy.
    """

    f: float
    k1: float
    k2: float
    cx: float
    cy: float
    covariance: np.ndarray

    @classmethod
    def of_photo(cls, size: tuple[int, int], focal_35mm: float | None) -> LensPrior:
        """Prior from the photo's size and its 35 mm focal length (26 mm is usual on phones).

        Phones straighten most of their lenses' distortion; what is left is about half a per
        cent at the photo's corner.
        """
        width, height = size
        f = (focal_35mm or 26.0) * float(np.hypot(width, height)) / DIAGONAL_35MM
        centre = 0.003 * max(width, height)
        sigma = np.array([0.03 if focal_35mm else 0.15, 0.012, 0.005, centre, centre])
        return cls(f, 0.0, 0.0, (width - 1) / 2, (height - 1) / 2, np.diag(sigma**2))

    @classmethod
    def of_profile(
        cls, profile: LensProfile, size: tuple[int, int], quarter_turns: int
    ) -> LensPrior:
        """Prior from one's own lens's profile, for a photo that was turned when decoded.

        What a phone's lens does from photo to photo (`between_photos`) is added.
        """
        width, height = size
        longer = max(size)
        turn = np.linalg.matrix_power(QUARTER_TURN, quarter_turns)
        to_px = np.eye(5)
        to_px[3:, 3:] = longer * turn
        cx, cy = longer * turn @ (profile.cx, profile.cy) + ((width - 1) / 2, (height - 1) / 2)
        covariance = to_px @ profile.covariance @ to_px.T + np.diag(between_photos(size) ** 2)
        return cls(longer * profile.f, profile.k1, profile.k2, float(cx), float(cy), covariance)

    @cached_property
    def _whitener(self) -> np.ndarray:
        return np.linalg.inv(np.linalg.cholesky(self.covariance))

    def camera(self, R: np.ndarray, t: np.ndarray) -> Camera:
        """Return the likeliest camera at a pose."""
        return Camera(R, t, self.f, self.k1, self.k2, self.cx, self.cy)

    def residuals(self, camera: Camera) -> tuple[np.ndarray, np.ndarray]:
        """(5,) normalised departures of log f, k1, k2, cx, cy, and their (5, 11) derivative."""
        return self._whitener @ self.off(camera), self._whitener @ np.eye(5, N_CAMERA, 6)

    def off(self, camera: Camera) -> np.ndarray:
        """(5,) how far a camera's log f, k1, k2, cx, cy are from the likeliest ones."""
        return np.array(
            [
                np.log(camera.f / self.f),
                camera.k1 - self.k1,
                camera.k2 - self.k2,
                camera.cx - self.cx,
                camera.cy - self.cy,
            ]
        )


def between_photos(size: tuple[int, int]) -> np.ndarray:
    """(5,) 1 sigma of how log f, k1, k2, cx, cy of one phone differ from photo to photo.

    A thin lens of 7 mm, focused at 12 to 24 in, moves by 1.1 % of its focal length, which
    is 0.35 % as one sigma; the stabiliser and the magnet that holds the lens leave about a
    thousandth of the picture. Neither bends the field much.
    """
    centre = 0.001 * max(size)
    return np.array([0.0035, 2e-4, 2e-4, centre, centre])


def pose_from_points(
    prior: LensPrior, points_mm: np.ndarray, points_px: np.ndarray, height_mm: float = 0.0
) -> Camera:
    """Return a first camera from four or more points on one level (SQPNP, then refined).

    Parameters
    ----------
    points_mm, points_px : (N, 2) arrays
    """
    X = np.column_stack([points_mm, np.full(len(points_mm), -height_mm)])
    x = prior.camera(np.eye(3), np.zeros(3)).normalise(points_px)
    _, rvec, tvec = cv2.solvePnP(X, x[:, None], np.eye(3), None, flags=cv2.SOLVEPNP_SQPNP)
    rvec, tvec = cv2.solvePnPRefineLM(X, x[:, None], np.eye(3), None, rvec, tvec)
    return prior.camera(cv2.Rodrigues(rvec)[0], tvec[:, 0])
