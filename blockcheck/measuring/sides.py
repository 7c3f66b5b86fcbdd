"""An outline on its plane becomes sides, sizes, angles and bows, each with its uncertainty."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from ..settings import Settings
from ..uncertainty import Estimate, Term, combine
from ..vision.cloth.outline import Outline, Side
from ..vision.plane.plane import Plane
from .results import Measurement

CLOTH_HEIGHT_U = 0.2  # mm, 1 sigma: one layer against several at a seam
EDGE_MODEL_PX = 0.35  # 1 sigma of where blur and shade put an edge, the same along a side
EDGE_MODEL_MM = (
    0.09  # 1 sigma of where a raw edge begins: on real cloth yarn ends put it 0.05 to 0.1 mm out
)
FRAY = 0.3  # of the points' spread, 1 sigma of what yarns along a whole side may move it by
SHARP_PX = 4.0  # over which a sharp edge does not tell mat from cloth: blur
BY_HAND_PX = 4.0  # 1 sigma of a corner set by hand
_ENDS = 0.04  # of a side, left out at each end


@dataclass(frozen=True)
class _Line:
    """A side on the plane: point and direction, residuals along it.

    Its own uncertainty, of a shift and of a turn, by what it comes from.
    """

    point: np.ndarray
    along: np.ndarray
    s: np.ndarray
    off: np.ndarray
    photo_u: tuple[float, float]
    cloth_u: tuple[float, float]
    wave_u: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Sides:
    """A block's four sides on a plane, and how its corners move with all that is uncertain.

    Attributes
    ----------
    corners : (4, 2) array
        Millimetres.
    by_camera, by_side, by_height : (8, 28), (8, 8), (8,) arrays
        Derivatives of the corners' x and y in turn, by the camera's parameters, by a shift outwards
        and a turn of each side in turn, and by the cloth's height.
    photo_u, cloth_u, wave_u : (8,) arrays
        1 sigma of each shift and turn: what the photo leaves open; what the cloth does, in every
        photo of it; and what unseen parts of a wavy side do.
    bow_mm : tuple of four Estimate
    outline : (32, 2) array
        Corner and seven points of each side's curve in turn.
    """

    corners: np.ndarray
    by_camera: np.ndarray
    by_side: np.ndarray
    by_height: np.ndarray
    photo_u: np.ndarray
    cloth_u: np.ndarray
    wave_u: np.ndarray
    bow_mm: tuple[Estimate, ...]
    outline: np.ndarray


def measure_outline(outline: Outline, plane: Plane, settings: Settings) -> Measurement:
    height = settings.cloth_height
    sides = sides_of(outline, plane, height)
    parts = {
        **{name: sides.by_camera @ factor for name, factor in plane.factors.items()},
        "cloth height": sides.by_height[:, None] * CLOTH_HEIGHT_U,
        "edge fit": sides.by_side * np.hypot(sides.photo_u, sides.cloth_u),
        "waviness": sides.by_side * sides.wave_u,
    }
    return measured(
        plane.px_from_mm(sides.corners, height),
        sides.corners,
        parts,
        sides.bow_mm,
        sides.outline,
        any(side.by_hand for side in outline.sides),
    )


def sides_of(outline: Outline, plane: Plane, height: float) -> Sides:
    """Fit a line to each raw edge on the plane, `height` above the mat."""
    corners = plane.mm_from_px(outline.corners_px, height)
    points = [plane.mm_from_px(side.points_px, height) for side in outline.sides]
    px_per_mm = plane.px_per_mm(corners.mean(0))
    lines: list[_Line] = []
    for _ in range(2):
        lines = [
            _fit(points[k], corners[k], corners[(k + 1) % 4], outline.sides[k], px_per_mm)
            for k in range(4)
        ]
        corners = _corners(lines, np.zeros(8))
    corners_px = plane.px_from_mm(corners, height)
    curves = [_curve(line) for line in lines]
    return Sides(
        corners=corners,
        by_camera=plane.jacobian(corners_px, height).reshape(8, -1),
        by_side=_gradient(lambda x: _corners(lines, x).reshape(-1, 8), np.zeros(8), 1e-4),
        by_height=(plane.mm_from_px(corners_px, height + 0.1) - corners).ravel() / 0.1,
        photo_u=np.array([line.photo_u for line in lines]).ravel(),
        cloth_u=np.array([line.cloth_u for line in lines]).ravel(),
        wave_u=np.array([line.wave_u for line in lines]).ravel(),
        bow_mm=tuple(_bow(line, curve) for line, curve in zip(lines, curves, strict=True)),
        outline=_outline(lines, curves, corners),
    )


def measured(
    corners_px: np.ndarray,
    corners: np.ndarray,
    parts: Mapping[str, np.ndarray],
    bow_mm: tuple[Estimate, ...],
    outline: np.ndarray,
    by_hand: bool,
) -> Measurement:
    """Return the sizes that four corners give, with their budgets.

    Parameters
    ----------
    corners_px, corners : (4, 2) arrays
        In the photo, and in millimetres.
    parts : mapping of str to (8, m) arrays
        Square-root parts of the corners' covariance by source.
    bow_mm, outline, by_hand
        As of `Measurement`.
    """
    values = _quantities(corners)
    by_corner = _gradient(lambda x: _quantities(x.reshape(-1, 4, 2)), corners.ravel(), 1e-3)
    us = {name: np.linalg.norm(by_corner @ part, axis=1) for name, part in parts.items()}
    found = [
        Estimate(float(value), combine(Term(name, float(u[i])) for name, u in us.items()))
        for i, value in enumerate(values)
    ]
    return Measurement(
        corners_px=corners_px,
        corners_mm=corners,
        width_mm=found[0],
        height_mm=found[1],
        sides_mm=tuple(found[2:6]),
        diagonals_mm=tuple(found[6:8]),
        angles_deg=tuple(found[8:12]),
        bow_mm=bow_mm,
        outline_mm=outline,
        corners_cov_mm2=sum((part @ part.T for part in parts.values()), np.zeros((8, 8))),
        by_hand=by_hand,
    )


def _fit(
    points: np.ndarray, start: np.ndarray, end: np.ndarray, side: Side, px_per_mm: float
) -> _Line:
    """Robust straight line (Huber weights) through a side, its ends left out."""
    along = (end - start) / np.linalg.norm(end - start)
    length = float(np.linalg.norm(end - start))
    s = (points - start) @ along
    inner = points[(s > _ENDS * length) & (s < (1 - _ENDS) * length)]
    if len(inner) < 8:
        inner = points
    point, along, off, weight = straight_line(inner, along)
    s = (inner - point) @ along
    sigma = float(np.sqrt(np.average(off**2, weights=weight)))
    # noise of the points, blur and shade, and what the photo does not tell apart (uniform)
    noise = side.sigma_px / px_per_mm / np.sqrt(len(inner))
    blind = max(0.0, side.blind_px - SHARP_PX) / px_per_mm / np.sqrt(12)
    by_hand = BY_HAND_PX / px_per_mm if side.by_hand else 0.0
    photo = float(np.linalg.norm([noise, EDGE_MODEL_PX / px_per_mm, blind, by_hand]))
    # yarns and flaps that stand out of the body
    cloth = float(np.hypot(EDGE_MODEL_MM, FRAY * side.spread_px / px_per_mm))
    # what is not seen of a wavy edge may lie off the line: about eight waves to a side
    unseen = sigma * np.sqrt(max(0.05, 1 - side.support) / 8)
    half = max(length / np.sqrt(12), 1e-6)
    turned = 0.6 / half
    return _Line(
        point,
        along,
        s,
        off,
        (photo, photo * turned),
        (cloth, cloth * turned),
        (unseen, unseen / half),
    )


def straight_line(
    points: np.ndarray, along: np.ndarray, limit: float = 2.5
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Fit a line by least squares across it, with Huber's weights.

    Parameters
    ----------
    points : (N, 2) array
    along : (2,) array
        Roughly the line's direction.
    limit : float
        In robust standard deviations: what lies farther off weighs less.

    Returns
    -------
    tuple of arrays
        Point (2,) and direction (2,) of the line, distances from it (N,), weights (N,).
    """
    point, off, weight = points.mean(0), np.zeros(len(points)), np.ones(len(points))
    for _ in range(6):
        point = weight @ points / weight.sum()
        centred = points - point
        (xx, xy), (_, yy) = (centred * weight[:, None]).T @ centred
        turn = 0.5 * np.arctan2(2 * xy, xx - yy)  # of the principal axis
        axis = np.array([np.cos(turn), np.sin(turn)])
        along = axis * np.sign(axis @ along)
        off = centred @ np.array([-along[1], along[0]])
        spread = 1.4826 * float(np.median(np.abs(off))) + 1e-6
        before, weight = weight, np.minimum(1, limit * spread / np.maximum(np.abs(off), 1e-9))
        if np.abs(weight - before).max() < 1e-3:
            break
    return point, along, off, weight


def _corners(lines: list[_Line], moved: np.ndarray) -> np.ndarray:
    """(..., 4, 2) corners, each side shifted outwards and turned by (..., 8) shifts and turns."""
    shift, turn = moved[..., ::2, None], moved[..., 1::2, None]
    along = np.array([line.along for line in lines])
    outward = np.column_stack([along[:, 1], -along[:, 0]])
    v = np.cos(turn) * along - np.sin(turn) * outward
    q = np.array([line.point for line in lines]) + shift * outward
    p, u = np.roll(q, 1, axis=-2), np.roll(v, 1, axis=-2)  # the side before
    return np.asarray(p + (_cross(q - p, v) / _cross(u, v))[..., None] * u)


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _quantities(c: np.ndarray) -> np.ndarray:
    """(..., 12) width, height, sides, diagonals (mm), angles (degrees) of (..., 4, 2) corners."""
    side = np.roll(c, -1, axis=-2) - c
    middle = c + side / 2
    back, ahead = -np.roll(side, 1, axis=-2), side
    spans = np.stack(
        [middle[..., 1, :] - middle[..., 3, :], middle[..., 2, :] - middle[..., 0, :]], axis=-2
    )
    diagonals = c[..., 2:, :] - c[..., :2, :]
    lengths = np.linalg.norm(np.concatenate([spans, side, diagonals], axis=-2), axis=-1)
    angles = np.arctan2(_cross(ahead, back), np.sum(ahead * back, axis=-1))
    return np.concatenate([lengths, np.degrees(angles)], axis=-1)


def _gradient(f: Callable[[np.ndarray], np.ndarray], x: np.ndarray, h: float) -> np.ndarray:
    """(m, n) central differences of what makes (k, m) of (k, n)."""
    steps = np.eye(len(x)) * h
    return np.asarray((f(x + steps) - f(x - steps)).T / (2 * h))


def _curve(line: _Line) -> np.polynomial.Legendre:
    """Smooth departure (quartic) from the side, by the place along it."""
    half = max(float(np.abs(line.s).max()), 1e-6)
    return np.polynomial.Legendre.fit(
        line.s, line.off, min(4, len(line.s) - 1), domain=[-half, half]
    )


def _outline(
    lines: list[_Line], curves: list[np.polynomial.Legendre], corners: np.ndarray
) -> np.ndarray:
    """(32, 2) corner and seven points of each side's curve in turn."""
    sides = []
    for k, (line, curve) in enumerate(zip(lines, curves, strict=True)):
        ends = (corners[[k, (k + 1) % 4]] - line.point) @ line.along
        s = np.linspace(ends[0], ends[1], 15)[1::2]  # seven inner places, not the ends
        normal = np.array([-line.along[1], line.along[0]])
        inside = np.clip(s, line.s.min(), line.s.max())
        sides.append(line.point + s[:, None] * line.along + curve(inside)[:, None] * normal)
    found = []
    for k in range(4):  # where the neighbouring curves' ends, drawn on, meet
        (p, q), (u, v) = sides[k - 1][[-1, -2]], sides[k][[0, 1]]
        t = np.linalg.solve(np.column_stack([p - q, u - v]), u - p)[0]
        found += [p + t * (p - q), *sides[k]]
    return np.array(found)


def _bow(line: _Line, curve: np.polynomial.Legendre) -> Estimate:
    """Largest departure of the smooth curve from the side."""
    smooth = curve(np.linspace(curve.domain[0], curve.domain[1], 101))
    left = float(np.std(line.off - curve(line.s))) / np.sqrt(max(len(line.s) / 5, 1))
    return Estimate(
        float(np.abs(smooth).max()), combine([Term("edge fit", float(np.hypot(left, 0.05)))])
    )
