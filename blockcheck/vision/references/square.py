"""A plain square of known side, in any colour that differs from what it lies on."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from ..photo import coarse
from ..plane.lens import LensPrior, pose_from_points
from ..plane.reference import Reference

SQUARE_SCALE = 0.001  # 1 sigma of a paper square cut or bought to size
EDGE_PX = 0.35  # 1 sigma of where blur and shade put an edge, the same all along it
_ENOUGH = 4000  # pixels that tell a colour and its spread
_DIFFERENT = 12.0  # CIELAB distance (8-bit OpenCV scale) between the square and its surroundings


def find_squares(
    rgb: np.ndarray, side_mm: float, prior: LensPrior, hidden: Sequence[np.ndarray] = ()
) -> list[tuple[Reference, np.ndarray]]:
    """Find evenly coloured squares, likeliest first: a plain block may look like one.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array
    side_mm : float
    prior : LensPrior
    hidden : sequence of (4, 2) arrays
        What other references cover: a card is made of squares.

    Returns
    -------
    list of (Reference, (4, 2) array)
        Three at most: edges, each known across itself only, and corners in pixels.
    """
    step = max(1, round(max(rgb.shape) / 1000))
    small = coarse(rgb, step)
    lab = cv2.cvtColor(cv2.GaussianBlur(small, (0, 0), 1.2), cv2.COLOR_RGB2LAB)
    costs = []
    for corners in _quadrilaterals(lab):
        middle = ((corners.mean(0) + 0.5) * step - 0.5).tolist()
        if any(cv2.pointPolygonTest(h.astype(np.float32), middle, False) > 0 for h in hidden):
            continue
        cost = _unevenness(lab, corners) + 100 * _not_square(prior, (corners + 0.5) * step - 0.5)
        if np.isfinite(cost):
            costs.append((cost, corners))
    costs.sort(key=lambda pair: pair[0])
    refined = (_refine(rgb, (corners + 0.5) * step - 0.5, side_mm) for _, corners in costs[:3])
    return [square for square in refined if square is not None]


def _quadrilaterals(lab: np.ndarray) -> list[np.ndarray]:
    """Convex four-cornered regions between colour edges, (4, 2) corners clockwise."""
    edges = np.zeros(lab.shape[:2], np.uint8)
    for channel in cv2.split(lab):
        edges = cv2.bitwise_or(edges, cv2.Canny(channel, 12, 30))
    free = cv2.morphologyEx(edges, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)) == 0
    _, labels, stats, _ = cv2.connectedComponentsWithStats(free.astype(np.uint8), connectivity=4)
    total = labels.size
    found = []
    for i in np.flatnonzero((stats[:, 4] > 0.002 * total) & (stats[:, 4] < 0.4 * total)):
        if i == 0:
            continue
        x, y, w, h, area = stats[i]
        if x == 0 or y == 0 or x + w >= labels.shape[1] or y + h >= labels.shape[0]:
            continue
        region = (labels[y : y + h, x : x + w] == i).astype(np.uint8)
        outline = max(
            cv2.findContours(region, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0],
            key=cv2.contourArea,
        )
        quad = cv2.approxPolyDP(outline, 0.04 * cv2.arcLength(outline, True), True)
        if len(quad) != 4 or not cv2.isContourConvex(quad):
            continue
        if area < 0.85 * cv2.contourArea(quad):
            continue
        corners = _settled(quad[:, 0].astype(float), outline[:, 0].astype(float))
        if corners is None:
            continue
        corners += np.array([x, y])
        a, b = corners[1] - corners[0], corners[2] - corners[1]
        if a[0] * b[1] - a[1] * b[0] < 0:
            corners = corners[::-1]
        found.append(corners)
    return found


def _settled(corners: np.ndarray, outline: np.ndarray) -> np.ndarray | None:
    """Corners where lines through the sides meet; a simplified outline may leave one far off."""
    for _ in range(4):
        along = np.roll(corners, -1, axis=0) - corners
        normal = np.column_stack([along[:, 1], -along[:, 0]])
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        away = np.abs(outline @ normal.T - np.sum(corners * normal, axis=1))
        own = away.argmin(axis=1)
        if np.bincount(own, minlength=4).min() < 20:
            return None
        lines = [
            np.ravel(cv2.fitLine(outline[own == k].astype(np.float32), cv2.DIST_L1, 0, 0.01, 0.01))
            for k in range(4)
        ]
        if any(abs(np.linalg.det([lines[k - 1][:2], lines[k][:2]])) < 0.2 for k in range(4)):
            return None
        corners = np.array([_meet(lines[k - 1], lines[k]) for k in range(4)])
    return corners


def _unevenness(lab: np.ndarray, corners: np.ndarray) -> float:
    """Spread of colour inside; infinite where the outside has the same colour."""
    left, top, width, height = cv2.boundingRect(_about(corners, 1.5))
    left, top, right, bottom = max(left, 0), max(top, 0), left + width, top + height
    lab, corners = lab[top:bottom, left:right], corners - (left, top)
    inner, ring = np.zeros(lab.shape[:2], np.uint8), np.zeros(lab.shape[:2], np.uint8)
    cv2.fillConvexPoly(inner, _about(corners, 0.85), 1)
    cv2.fillConvexPoly(ring, _about(corners, 1.5), 1)
    cv2.fillConvexPoly(ring, _about(corners, 1.2), 0)
    inside, outside = (
        lab[mask > 0][:: 1 + mask.sum() // _ENOUGH].astype(float) for mask in (inner, ring)
    )
    if len(inside) < 50 or len(outside) < 50:
        return np.inf
    apart = np.linalg.norm(np.median(inside, axis=0) - np.median(outside, axis=0))
    return float(np.linalg.norm(inside.std(0))) if apart > _DIFFERENT else np.inf


def _about(corners: np.ndarray, times: float) -> np.ndarray:
    """Corners moved away from their middle, as whole pixels."""
    centre = corners.mean(0)
    return np.rint(centre + times * (corners - centre)).astype(np.int32)


def _not_square(prior: LensPrior, corners_px: np.ndarray) -> float:
    """Misfit of the corners to any square seen by the camera, relative to their size."""
    unit = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]) * 100
    camera = pose_from_points(prior, unit, corners_px)
    seen = camera.project(np.column_stack([unit, np.zeros(4)]))
    return float(np.sqrt(np.mean((seen - corners_px) ** 2)) / np.ptp(corners_px, axis=0).max())


def _refine(
    rgb: np.ndarray, corners_px: np.ndarray, side_mm: float
) -> tuple[Reference, np.ndarray] | None:
    """Fit the four edges in the photo's own pixels."""
    half = max(6, round(0.02 * np.linalg.norm(corners_px[2] - corners_px[0])))
    for _ in range(2):
        lines, found = [], []
        for k in range(4):
            a, b = corners_px[k], corners_px[(k + 1) % 4]
            along = (b - a) / np.linalg.norm(b - a)
            normal = np.array([along[1], -along[0]])  # outwards
            t = np.linspace(0.08, 0.92, 60)
            base = a + t[:, None] * (b - a)
            offset, good = _edge_offsets(rgb, base, normal, half)
            if good.sum() < 20:
                return None
            points = (base + offset[:, None] * normal)[good]
            line = np.ravel(cv2.fitLine(points.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01))
            away = np.abs((points - line[2:]) @ np.array([line[1], -line[0]]))
            keep = away < max(1.0, 3 * 1.4826 * float(np.median(away)))
            lines.append(line)
            found.append((t[good][keep], points[keep], normal))
        corners_px = np.array([_meet(lines[k - 1], lines[k]) for k in range(4)])
        half = max(5, half // 2)
    own = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]) * side_mm
    points_mm, points_px, normals, edge = [], [], [], []
    for k, (t, points, normal) in enumerate(found):
        points_mm.append(own[k] + t[:, None] * (own[(k + 1) % 4] - own[k]))
        points_px.append(points)
        normals.append(np.tile(normal, (len(points), 1)))
        edge.append(np.full(len(points), k))
    reference = Reference(
        name="square",
        kind="square",
        points_mm=np.vstack(points_mm),
        points_px=np.vstack(points_px),
        normals_px=np.vstack(normals),
        sigma_px=0.3,
        scale_sigma=SQUARE_SCALE,
        height_mm=0.2,
        height_sigma=0.1,
        outline_mm=own + np.sign(own - side_mm / 2) * 1.0,
        line=np.concatenate(edge),
        common_px=EDGE_PX,
    )
    return reference, corners_px


def _edge_offsets(
    rgb: np.ndarray, base: np.ndarray, normal: np.ndarray, half: int
) -> tuple[np.ndarray, np.ndarray]:
    """Sub-pixel place of the strongest colour step across an edge, and where it is clear."""
    k = np.arange(-half, half + 1)
    at = (base[:, None] + normal * k[:, None]).astype(np.float32)
    profile = cv2.remap(rgb, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    profile = cv2.GaussianBlur(profile.astype(np.float32), (3, 3), 0.8)
    third = max(2, half // 3)
    step = np.median(profile[:, :third], axis=(0, 1)) - np.median(profile[:, -third:], axis=(0, 1))
    along_step = profile @ (step / max(np.linalg.norm(step), 1e-6))
    slope = -np.diff(along_step, axis=1)
    best = np.argmax(slope, axis=1)
    near = np.clip(best[:, None] + np.arange(-3, 4), 0, slope.shape[1] - 1)
    weight = np.maximum(np.take_along_axis(slope, near, axis=1), 0)
    offset = (weight * (near + 0.5)).sum(1) / np.maximum(weight.sum(1), 1e-6) - half
    return offset, weight.sum(1) > 0.4 * np.linalg.norm(step)


def _meet(p: np.ndarray, q: np.ndarray) -> np.ndarray:
    """Where two lines (direction, point) as of cv2.fitLine meet."""
    t, _ = np.linalg.solve(np.column_stack([p[:2], -q[:2]]), q[2:] - p[2:])
    return p[2:] + t * p[:2]
