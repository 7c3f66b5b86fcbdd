"""A side of cloth that has the mat's own colour, from the ends of the lines that it hides.

Where mat and cloth look alike the lines printed on the mat still stop at the raw edge. Each piece
of line that crosses a side is looked at along its length, in the photo's own pixels: how far it
stands out from what lies on both sides of it. Where that ends is a place on the edge.
"""

from __future__ import annotations

import cv2
import numpy as np

from .edges import BINS, Trace
from .small_picture import CLOTH_MM, PlaneLike

_STEP_MM = 0.1  # along a line
_AWAY_MM = 6.0  # beyond where the edge may be: there the line is seen, or hidden
_ACROSS_MM = np.arange(-0.9, 0.91, 0.15)  # how far from its foreseen place a line may run
_BESIDE_MM = np.array([-2.4, -2.1, -1.8, 1.8, 2.1, 2.4])
_STEEP = 0.5  # sine of the angle at which a line crosses a side at least
_SHARE = (0.03, 0.97)  # of a side
_SEEN, _HIDDEN = 0.6, 0.3  # of the line's strength, outside and inside
_LEAST = 4.0  # grey levels, of a line's strength
_FEW, _SPAN = 4, 0.5  # ends that make a side, and how much of it lies between them
_OFF_MM = 0.5  # of an end from the side that others make
_MOST = 0.75  # of the ends lie on it


def line_ends(
    rgb: np.ndarray,
    plane: PlaneLike,
    pieces_px: np.ndarray,
    start_px: np.ndarray,
    end_px: np.ndarray,
    reach_mm: float,
) -> np.ndarray | None:
    """Where the mat's lines stop near a side, if they tell of one straight edge.

    Parameters
    ----------
    pieces_px : (M, 2, 2) array
        The mat's lines from crossing to crossing.
    start_px, end_px : (2,) arrays
        Of the side, cloth to its right as seen along it.
    reach_mm : float
        How far the edge may be off.

    Returns
    -------
    (N, 2) array of photo pixels in order along the side, or None
    """
    a, b = plane.mm_from_px(np.array([start_px, end_px]), CLOTH_MM)
    length = float(np.linalg.norm(b - a))
    u = (b - a) / length
    out = np.array([u[1], -u[0]])
    ends = plane.mm_from_px(pieces_px.reshape(-1, 2)).reshape(-1, 2, 2)
    along = ends[:, 1] - ends[:, 0]
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    depth = (ends - a) @ out
    crossing = (depth.min(axis=1) <= 0) & (depth.max(axis=1) > 0)
    crossing &= np.abs(along @ out) > _STEEP
    f = -depth[:, 0] / np.where(crossing, depth[:, 1] - depth[:, 0], 1)
    at = ends[:, 0] + f[:, None] * (ends[:, 1] - ends[:, 0])
    share = (at - a) @ u / length
    crossing &= (share > _SHARE[0]) & (share < _SHARE[1])
    at, way = at[crossing], (along * np.sign(along @ out)[:, None])[crossing]
    if len(at) < _FEW:
        return None
    found = _ends(rgb, plane, at, way, reach_mm)
    found = found[np.isfinite(found)[:, 0]]
    if len(found) < max(_FEW, 0.5 * len(at)):
        return None
    mm = plane.mm_from_px(found, CLOTH_MM)
    s, d = (mm - a) @ u, (mm - a) @ out
    on = np.asarray(_on_one_line(s, d))
    if on.sum() < max(_FEW, _MOST * len(s)) or np.ptp(s[on]) < _SPAN * length:
        return None
    return np.asarray(found[on][np.argsort(s[on])])


def side_by_ends(
    rgb: np.ndarray,
    plane: PlaneLike,
    pieces_px: np.ndarray,
    side_px: np.ndarray,
    reach_mm: float,
    px_per_mm: float,
) -> Trace | None:
    """A side through the ends of the lines near it (as of `line_ends`), if there are enough."""
    ends = line_ends(rgb, plane, pieces_px, side_px[0], side_px[1], reach_mm)
    if ends is None:
        return None
    u = (side_px[1] - side_px[0]) / np.linalg.norm(side_px[1] - side_px[0])
    out = np.array([u[1], -u[0]])
    s, d = (ends - side_px[0]) @ u, (ends - side_px[0]) @ out
    slope, level = np.polyfit(s, d, 1)
    rest = d - slope * s - level
    places = BINS[True]
    along = (np.arange(places) + 0.5) / places
    at = along * float(np.linalg.norm(side_px[1] - side_px[0]))
    off = slope * at + level + np.interp(at, s, rest)
    points = side_px[0] + at[:, None] * u + off[:, None] * out
    spread = float(np.sqrt(np.sum(rest**2) / (len(s) - 2)))
    # neither the noise nor the waves are known better than by as few places
    good = np.arange(places) % 5 < 3
    noise = spread * np.sqrt(good.sum() / len(s))
    return Trace(
        along=along, points_px=points, good=good, smooth_px=points, sigma_px=max(noise, 0.02),
        spread_px=spread, blind_px=0.0, inside=1.0, outside=1.0, clear=1.0, littered=0.0,
        barred=0.0, moved=float(np.abs(off).max()), px_per_mm=px_per_mm, fine=True,
    )  # fmt: skip


def _ends(
    rgb: np.ndarray, plane: PlaneLike, at: np.ndarray, way: np.ndarray, reach_mm: float
) -> np.ndarray:
    """(N, 2) pixels where lines through (N, 2) places (mm) that run outwards stop; NaN, nowhere."""
    far = reach_mm + _AWAY_MM
    s = np.arange(-far, far + _STEP_MM / 2, _STEP_MM)  # from inside to outside
    side = np.stack([way[:, 1], -way[:, 0]], axis=1)
    offsets = np.concatenate([_ACROSS_MM, _BESIDE_MM])
    places = (
        at[:, None, None]
        + s[None, :, None, None] * way[:, None, None]
        + offsets[None, None, :, None] * side[:, None, None]
    )
    px = plane.px_from_mm(places.reshape(-1, 2)).reshape(len(at), -1, 2).astype(np.float32)
    colour = cv2.remap(rgb, px, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    colour = colour.reshape(len(at), len(s), len(offsets), 3).astype(np.float32)
    clear = (px > 1) & (px < np.array(rgb.shape[1::-1]) - 2)
    whole = np.asarray(clear.reshape(len(at), -1).all(axis=1))
    n = len(_ACROSS_MM)
    ridge = colour[:, :, :n] - np.median(colour[:, :, n:], axis=2, keepdims=True)
    outside = s > reach_mm
    shown = np.median(ridge[:, outside], axis=1)  # (N, offsets, 3)
    most = np.argsort(-np.linalg.norm(shown, axis=2), axis=None)[: len(at)]
    ink = np.median(shown.reshape(-1, 3)[most], axis=0)
    ink = ink / max(float(np.linalg.norm(ink)), 1e-6)
    best = (shown @ ink).argmax(axis=1)
    each = np.arange(len(at))
    line = ridge[each, :, best] @ ink  # (N, S)
    strong = np.median(line[:, outside], axis=1)
    usual = float(np.median(strong))
    found = np.full((len(at), 2), np.nan)
    level = usual / 2
    gained = np.cumsum((level - line)[:, :-1], axis=1)  # hidden up to here, from inside
    stop = gained.argmax(axis=1)
    spots = px.reshape(len(at), len(s), len(offsets), 2)
    for k in each:
        j = int(stop[k])
        if not whole[k] or usual < _LEAST or not 5 < j < len(s) - 7:
            continue
        seen, hidden = line[k, j + 5 :], line[k, : j - 4]
        if np.mean(seen > level) < 1 - _HIDDEN or np.mean(hidden < level) < 1 - _HIDDEN:
            continue
        if seen.mean() < _SEEN * usual or abs(hidden.mean()) > _HIDDEN * usual:
            continue
        # the line's strength falls by half between these two
        low, high = line[k, j], line[k, j + 1]
        part = float(np.clip((level - low) / (high - low), 0, 1)) if high > low else 0.5
        p, q = spots[k, j, best[k]], spots[k, j + 1, best[k]]
        found[k] = p + part * (q - p)
    return found


def _on_one_line(s: np.ndarray, d: np.ndarray) -> np.ndarray:
    """Which of the places lie on the straight line that most of them lie on."""
    best = np.zeros(len(s), bool)
    for i in range(len(s)):
        for j in range(i + 1, len(s)):
            if abs(s[j] - s[i]) < 1:
                continue
            slope = (d[j] - d[i]) / (s[j] - s[i])
            on = np.asarray(np.abs(d - d[i] - slope * (s - s[i])) < _OFF_MM)
            if on.sum() > best.sum():
                best = on
    return best
