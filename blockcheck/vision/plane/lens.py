"""The camera model: a pinhole with a distorting lens, looking at a plane.

Frame of the plane: x to the right and y down as on the reference, z into the table, all
in millimetres; a point `height_mm` above the mat has z = -height_mm. The camera sees
``X_c = R X + t``, normalises ``x = X_c / Z_c``, stretches it by
``1 + k1 r^2 + k2 r^4 + k3 r^6`` (D. C. Brown 1966; Zhang, MSR-TR-98-71, eq. 11), adds a smooth
warp and scales it to pixels with one focal length (square pixels).

The warp has all monomials of second and third degree in x and y. It takes what no lens of
revolution does: elements off their axis (Brown's tangential terms are of second degree), the
phone's stabiliser and straightening, and a mat that is not quite flat, on which the cloth lies
as the lines do. Its prior holds it to a pixel or so, and without lines it stays at nothing. Of
first degree it has what a sensor that is read row by row does to a hand that moves meanwhile: a
stretch of one direction over the other, and a shear.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import cv2
import numpy as np

from ...profiles import LensProfile
from .focal import DIAGONAL_35MM, NOTED_U

N_LENS, N_WARP = 5, 17  # log f, k1, k2, cx, cy; k3, the warp, stretch and shear
N_CAMERA = 6 + N_LENS + N_WARP  # turn (3), shift (3), lens, warp
# how what each of the lens's and the warp's coefficients does grows with the focal length's inverse
_POWERS = np.array([0, 2, 4, 0, 0, 6, *([1] * 3 + [2] * 4) * 2, 0, 0])
# 1 sigma at the photo's corner, as a part of its distance from the middle
_CORNER_K1, _CORNER_K2, _CORNER_K3, _CORNER_WARP = 0.02, 0.015, 0.006, 0.0004
# 1 sigma of half of what across and along differ by: a hand moves at 10 to 20 mm/s, and a sensor
# is read in 1/30 to 1/50 s, while it sees 300 mm
_STRETCH = 0.0007
_BENT = slice(1, 15)  # of the warp: second and third degree
_MOST_BENT = 6.0  # times what is usual
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
    warp : (17,) array
        k3, then what x and y gain by u², uv, v², u³, u²v, uv², v³; stretch (u more, v less) and
        shear (x by v, y by u).
    """

    R: np.ndarray
    t: np.ndarray
    f: float
    k1: float
    k2: float
    cx: float
    cy: float
    warp: np.ndarray = field(default_factory=lambda: np.zeros(N_WARP))

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
        X = self.R @ points_mm.T + self.t[:, None]
        return self._seen(X[:2] / X[2]).T

    def _seen(self, x: np.ndarray) -> np.ndarray:
        """(2, N) pixels of (2, N) normalised coordinates."""
        bent = x * self._stretch(x[0] * x[0] + x[1] * x[1]) + self._warp(x)
        return np.asarray(self.f * bent + np.array([[self.cx], [self.cy]]))

    def _stretch(self, r2: np.ndarray) -> np.ndarray:
        return 1 + r2 * (self.k1 + r2 * (self.k2 + r2 * self.warp[0]))

    def _warp(self, x: np.ndarray) -> np.ndarray:
        stretch, shear = self.warp[15:]
        linear = np.array([[stretch, shear], [shear, -stretch]])
        return np.asarray(self.warp[_BENT].reshape(2, -1) @ _monomials(x) + linear @ x)

    def normalise(self, points_px: np.ndarray) -> np.ndarray:
        """(N, 2) undistorted normalised coordinates of (N, 2) pixels, by Newton's method."""
        seen = (np.asarray(points_px, float) - (self.cx, self.cy)).T / self.f
        x = xd = seen
        k3, bare = self.warp[0], not self.warp.any()
        r = rd = np.sqrt(seen[0] * seen[0] + seen[1] * seen[1])
        for _ in range(7):
            if not bare:  # a warp of a thousandth leaves a thousandth of what was off
                xd = seen - self._warp(x)
                rd = np.sqrt(xd[0] * xd[0] + xd[1] * xd[1])
            r2 = r * r
            slope = 1 + r2 * (3 * self.k1 + r2 * (5 * self.k2 + 7 * k3 * r2))
            r = r - (r * self._stretch(r2) - rd) / np.maximum(slope, 0.2)
            r = np.minimum(np.maximum(r, 0), 4 * rd)  # no ray is seen so far out
            last, x = x, xd * (r / np.maximum(rd, 1e-300))
            if np.abs(x - last).max(initial=0) < 1e-11:
                break
        return x.T

    def to_plane(self, points_px: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
        """(N, 2) millimetres where the rays of (N, 2) pixels meet the level `height_mm`."""
        rays = np.column_stack([self.normalise(points_px), np.ones(len(points_px))]) @ self.R
        c = self.centre_mm
        return c[:2] + rays[:, :2] * ((-height_mm - c[2]) / rays[:, 2])[:, None]

    def turned(self, Q: np.ndarray, centre_px: np.ndarray) -> Camera:
        """Return the camera of the picture turned by `Q` (2, 2), its principal point there."""
        full = np.eye(3)
        full[:2, :2] = Q
        some = np.random.default_rng(0).normal(size=(2, 28))
        bent = Q @ self.warp[_BENT].reshape(2, -1) @ _monomials(Q.T @ some)
        warp = np.linalg.lstsq(_monomials(some).T, bent.T, rcond=None)[0].T
        stretch, shear = self.warp[15:]
        linear = Q @ np.array([[stretch, shear], [shear, -stretch]]) @ Q.T
        return replace(
            self,
            R=full @ self.R,
            t=full @ self.t,
            cx=float(centre_px[0]),
            cy=float(centre_px[1]),
            warp=np.array([self.warp[0], *warp.ravel(), *linear[0]]),
        )

    def derivatives(self, points_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Derivatives of `project`.

        Returns
        -------
        (N, 2, 28) array
            By the camera: a small turn after R, t, log f, k1, k2, cx, cy, k3, warp, stretch, shear.
        (N, 2, 3) array
            By the point's millimetres.
        """
        RX = self.R @ points_mm.T
        X = RX + self.t[:, None]
        x = X[:2] / X[2]
        u, v = x
        r2 = u * u + v * v
        d = self._stretch(r2)
        bend = 2 * self.k1 + r2 * (4 * self.k2 + 6 * r2 * self.warp[0])
        uu, uv, vu, vv = d + bend * u * u, bend * u * v, bend * u * v, d + bend * v * v
        if self.warp.any():
            by_u, by_v = _slopes(x)
            along, down = self.warp[_BENT].reshape(2, -1)
            stretch, shear = self.warp[15:]
            uu, uv = uu + along @ by_u + stretch, uv + along @ by_v + shear
            vu, vv = vu + down @ by_u + shear, vv + down @ by_v - stretch
        scale = self.f / X[2]
        uu, uv, vu, vv = scale * uu, scale * uv, scale * vu, scale * vv
        J = np.zeros((2, N_CAMERA, len(points_mm)))  # the points last: what is long is contiguous
        by_X = J[:, 3:6]  # a shift of the camera's frame is one of the point in it
        by_X[0] = uu, uv, -(uu * u + uv * v)
        by_X[1] = vu, vv, -(vu * u + vv * v)
        for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):  # d(exp(w) R X)/dw = -[R X]x
            J[:, i] = RX[j] * by_X[:, k] - RX[k] * by_X[:, j]
        fx = self.f * x
        J[:, 6] = fx * d + self.f * self._warp(x)
        J[:, 7], J[:, 8], J[:, 11] = fx * r2, fx * (r2 * r2), fx * r2**3
        J[0, 9] = J[1, 10] = 1
        J[0, 12:19] = J[1, 19:26] = self.f * _monomials(x)
        J[:, 26], J[:, 27] = fx * [[1], [-1]], fx[::-1]
        return J.transpose(2, 0, 1), (self.R.T @ by_X).transpose(2, 0, 1)

    def moved(self, step: np.ndarray) -> Camera:
        """Return the camera after a step in the parameters of `derivatives`."""
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
            warp=self.warp + step[11:],
        )

    def moved_about(self, step: np.ndarray, point_mm: np.ndarray) -> Camera:
        """Return the camera after a step that holds on to a (3,) point of the plane.

        The step is as for `moved`, but for the place: (px, px, log of scale) by which the point
        moves in the photo. A turn, another focal length or centre leave it where it is seen, so
        that what the photo hardly tells apart (tilt and centre, distance and focal length) does
        not slow a fit down.
        """
        X = (self.R @ point_mm + self.t)[:, None]
        depth = X[2, 0] * np.exp(step[5] + step[6])
        x = X[:2] / X[2]
        px = self._seen(x) + step[3:5, None]
        moved = self.moved(np.concatenate([step[:3], np.zeros(3), step[6:]]))
        for _ in range(3):  # nearly right to begin with: each time a hundredth is left
            x = x + (px - moved._seen(x)) / moved.f
        return replace(moved, t=depth * np.array([*x[:, 0], 1.0]) - moved.R @ point_mm)

    def steps_about(self, point_mm: np.ndarray) -> np.ndarray:
        """(28, 28) derivative of the steps of `moved` by those of `moved_about`."""
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


def _monomials(x: np.ndarray) -> np.ndarray:
    """(7, N) u², uv, v², u³, u²v, uv², v³ of (2, N)."""
    u, v = x
    uu, uv, vv = u * u, u * v, v * v
    return np.array([uu, uv, vv, uu * u, uu * v, u * vv, vv * v])


def _slopes(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(7, N) derivatives of `_monomials` by u and by v."""
    u, v = x
    none, uu, vv, twice = np.zeros_like(u), u * u, v * v, 2 * u * v
    by_u = np.array([2 * u, v, none, 3 * uu, twice, vv, none])
    by_v = np.array([none, u, 2 * v, none, uu, twice, 3 * vv])
    return by_u, by_v


@dataclass(frozen=True, eq=False)
class LensPrior:
    """What is known of the lens before the references are looked at.

    Attributes
    ----------
    f, k1, k2, cx, cy : float
        As of `Camera`.
    covariance : (5, 5) array
        Of log f, k1, k2, cx, cy.
    warp_sigma : (17,) array
        1 sigma of k3, the warp, stretch and shear, which are likeliest nothing.
    """

    f: float
    k1: float
    k2: float
    cx: float
    cy: float
    covariance: np.ndarray
    warp_sigma: np.ndarray = field(default_factory=lambda: np.full(N_WARP, 1e-9))

    @classmethod
    def of_photo(
        cls, size: tuple[int, int], focal_35mm: float, focal_u: float = NOTED_U
    ) -> LensPrior:
        """Prior from the photo's size and its 35 mm focal length with its relative 1 sigma.

        Phones straighten most of their lenses' distortion, other cameras less of it. What is
        left is given as a part of the distance of the photo's corner from its middle.
        """
        width, height = size
        diagonal = float(np.hypot(width, height))
        f = focal_35mm * diagonal / DIAGONAL_35MM
        centre = 0.003 * max(width, height)
        corner = diagonal / 2 / f
        k1, k2 = _CORNER_K1 / corner**2, _CORNER_K2 / corner**4
        sigma = np.array([focal_u, k1, k2, centre, centre])
        return cls(
            f,
            0.0,
            0.0,
            (width - 1) / 2,
            (height - 1) / 2,
            np.diag(sigma**2),
            _warp_sigma(corner),
        )

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
        f = longer * profile.f
        warp = _warp_sigma(float(np.hypot(width, height)) / 2 / f)
        return cls(f, profile.k1, profile.k2, float(cx), float(cy), covariance, warp)

    @cached_property
    def _whitener(self) -> np.ndarray:
        return np.linalg.inv(np.linalg.cholesky(self.covariance))

    def camera(self, R: np.ndarray, t: np.ndarray) -> Camera:
        """Return the likeliest camera at a pose."""
        return Camera(R, t, self.f, self.k1, self.k2, self.cx, self.cy)

    def as_bent_as(self, camera: Camera) -> LensPrior:
        """Return a prior that lets pictures be as bent as a camera shows this one to be.

        The spread of the warp's terms is learned from them (empirical Bayes): lines that bend
        it more than is usual say so in all of its terms at once.
        """
        power = (self.f / camera.f) ** _POWERS[N_LENS:][_BENT]
        size = camera.warp[_BENT] * power / self.warp_sigma[_BENT]
        sigma = self.warp_sigma.copy()
        sigma[_BENT] *= np.clip(np.sqrt(np.mean(size**2)), 1, _MOST_BENT)
        return replace(self, warp_sigma=sigma)

    def residuals(self, camera: Camera) -> tuple[np.ndarray, np.ndarray]:
        """(22,) normalised departures of lens and warp, and their (22, 28) derivative.

        Distortion counts by what it does at the photo's corner, so that a shorter focal length
        with less of each coefficient is not likelier for the same picture.
        """
        nearer = self.f / camera.f
        power = nearer**_POWERS
        warp = camera.warp * power[N_LENS:] / self.warp_sigma
        off = np.concatenate([self._whitener @ self.off(camera), warp])
        by_lens = np.diag(power[:N_LENS])
        by_lens[:, 0] -= _POWERS[:N_LENS] * power[:N_LENS] * (0, camera.k1, camera.k2, 0, 0)
        J = np.zeros((len(off), N_CAMERA))
        J[:N_LENS, 6 : 6 + N_LENS] = self._whitener @ by_lens
        J[N_LENS:, 6 + N_LENS :] = np.diag(power[N_LENS:] / self.warp_sigma)
        J[N_LENS:, 6] = -_POWERS[N_LENS:] * warp
        return off, J

    def off(self, camera: Camera) -> np.ndarray:
        """(5,) how far a camera's log f, k1, k2, cx, cy are from the likeliest ones.

        k1 and k2 as they would be at the likeliest focal length, for the same picture.
        """
        nearer = self.f / camera.f
        return np.array(
            [
                np.log(camera.f / self.f),
                camera.k1 * nearer**2 - self.k1,
                camera.k2 * nearer**4 - self.k2,
                camera.cx - self.cx,
                camera.cy - self.cy,
            ]
        )


def _warp_sigma(corner: float) -> np.ndarray:
    """(17,) 1 sigma of k3 and the warp where the photo's corner lies `corner` off the axis."""
    second, third = _CORNER_WARP / corner, _CORNER_WARP / corner**2
    bent = ([second] * 3 + [third] * 4) * 2
    return np.array([_CORNER_K3 / corner**6, *bent, _STRETCH, _STRETCH])


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
