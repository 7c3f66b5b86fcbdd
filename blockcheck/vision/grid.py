"""The mat's printed lines: a square lattice found, followed and measured in the photo's pixels.

Line segments (von Gioi et al., "LSD", IPOL 2012) give the lattice's turn and phase near a
seed; from there it is followed outwards. Between every two neighbouring crossings the photo
is sampled across the line, in its own pixels; the median over the samples ignores diagonals
and numbers, and a ridge counts only where it stands out against both of its sides, so that
the edges of cloth do not pass for lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy import ndimage

from ..errors import NoReferenceError
from .adjust import Plane, adjust
from .lens import Camera, LensPrior
from .reference import MatLines, Reference

SPACINGS_MM = (25.4, 10.0)
MAT_SCALE = 0.0005  # 1 sigma, a mat as sold
_MAX_CELLS = 9000
_MISFIT_MM = 0.15  # about half a printed line's width: lines that lie further off are not followed
_GROWTH = 2.2  # of what is followed, from one adjustment to the next
_ALONG = np.linspace(0.14, 0.86, 9)  # clear of the crossing lines


@dataclass(frozen=True)
class Lattice:
    """Pieces of line between neighbouring crossings.

    Attributes
    ----------
    cells : (N, 2) int array
        Column and row of the crossing where the piece begins.
    family : (N,) int array
        0 for pieces along y (x constant), 1 along x.
    """

    cells: np.ndarray
    family: np.ndarray

    def points(self, along: np.ndarray) -> np.ndarray:
        """(N, len(along), 2) lattice coordinates at fractions along each piece."""
        p = np.repeat(self.cells[:, None, :].astype(float), len(along), axis=1)
        rows = np.arange(len(self.cells))
        p[rows, :, 1 - self.family] += along
        return p

    def only(self, keep: np.ndarray) -> Lattice:
        """Return the pieces where `keep` is true."""
        return Lattice(self.cells[keep], self.family[keep])


def segments_of(gray: np.ndarray, box: tuple[int, int, int, int] | None = None) -> np.ndarray:
    """(N, 2, 2) ends of straight line segments, in the photo's pixels.

    Parameters
    ----------
    gray : (H, W) uint8 array
    box : (left, top, right, bottom), optional
        Look only there.
    """
    left, top, right, bottom = box or (0, 0, gray.shape[1], gray.shape[0])
    step = max(1, round(max(gray.shape) / 1000))
    part = gray[top:bottom, left:right]
    small = cv2.resize(part, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA)
    lines = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE).detect(small)[0]
    if lines is None:
        return np.zeros((0, 2, 2))
    return (lines.reshape(-1, 2, 2).astype(float) + 0.5) * step - 0.5 + (left, top)


def find_lines(
    gray: np.ndarray,
    references: Sequence[Reference],
    prior: LensPrior,
    plane: Plane,
    spacings: Sequence[float] = SPACINGS_MM,
) -> tuple[Plane, MatLines] | None:
    """Find the lattice with other references in view, and adjust all together.

    Returns
    -------
    (Plane, MatLines) or None
        None where no lattice of one of the `spacings` can be followed.
    """
    centre = np.mean(
        [p.affine @ [*np.mean(p.reference.points_mm, axis=0), 1] for p in plane.references], axis=0
    )
    hidden = [p.outline_px for p in plane.references if p.outline_px is not None]
    for reach, box in ((90.0, _around(gray, plane, centre, 160.0)), (200.0, None)):
        free_px = _outside(segments_of(gray, box), hidden)
        for affine, spacing in _seeds(plane.camera, free_px, spacings, centre, reach):
            try:
                found = _follow(gray, references, prior, plane, affine, spacing, centre, hidden)
            except NoReferenceError:  # the fit did not settle: not this lattice
                continue
            if found is not None:
                return found
    return None


def _around(
    gray: np.ndarray, plane: Plane, centre: np.ndarray, reach_mm: float
) -> tuple[int, int, int, int]:
    """Box of the photo within `reach_mm` of a place on the plane."""
    ends = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * reach_mm
    px = plane.px_from_mm(centre + ends)
    size = np.array([gray.shape[1], gray.shape[0]])
    left, top = (int(v) for v in np.clip(px.min(0), 0, size - 64))
    right, bottom = (int(v) for v in np.clip(px.max(0), (left + 64, top + 64), size))
    return left, top, right, bottom


def _outside(segments_px: np.ndarray, hidden: Sequence[np.ndarray]) -> np.ndarray:
    middle = segments_px.mean(1)
    keep = np.ones(len(middle), bool)
    for polygon in hidden:
        keep &= ~_inside(middle, polygon)
    return segments_px[keep]


def _inside(points: np.ndarray, polygon: np.ndarray) -> np.ndarray:
    """Whether points lie in a convex polygon given clockwise as seen in the photo."""
    a, b = polygon, np.roll(polygon, -1, axis=0)
    side = (b - a)[:, 0] * (points[:, None, 1] - a[:, 1]) - (b - a)[:, 1] * (
        points[:, None, 0] - a[:, 0]
    )
    return np.all(side >= 0, axis=1)


def _seeds(
    camera: Camera,
    segments_px: np.ndarray,
    spacings: Sequence[float],
    centre: np.ndarray,
    reach_mm: float,
) -> list[tuple[np.ndarray, float]]:
    """Likely lattices near `centre`: (2, 3) affine (plane mm from lattice units) and spacing."""
    if len(segments_px) < 8:
        return []
    ends = camera.to_plane(segments_px.reshape(-1, 2)).reshape(-1, 2, 2)
    along = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(along, axis=1)
    keep = (length > 6) & np.isfinite(length)
    ends, along, length = ends[keep], along[keep], length[keep]
    middle = ends.mean(1)
    angle = np.arctan2(along[:, 1], along[:, 0]) % (np.pi / 2)
    seeds = []
    near = np.exp(-0.5 * np.sum((middle - centre) ** 2, axis=1) / reach_mm**2)
    w = np.minimum(length, 80) * near
    for turn in _peaks(angle, w):
        for spacing in spacings:
            phases, score = [], 1.0
            for k in (0, 1):
                t = turn + k * np.pi / 2
                # lines of family k run along y (k = 0) or x of the lattice turned by `turn`
                own = (
                    np.abs((np.arctan2(along[:, 1], along[:, 0]) - t + np.pi) % np.pi - np.pi / 2)
                    < 0.02
                )
                offset = (middle[own] - centre) @ np.array([np.cos(t), np.sin(t)])
                z = np.sum(w[own] * np.exp(2j * np.pi * offset / spacing))
                score *= abs(z) / max(w.sum(), 1e-9) * abs(z) / max(w[own].sum(), 1e-9)
                phases.append(np.angle(z) / (2 * np.pi))
            c, s = np.cos(turn), np.sin(turn)
            R = np.array([[c, -s], [s, c]])
            affine = np.column_stack([spacing * R, centre + spacing * R @ np.array(phases)])
            seeds.append((score, affine, spacing))
    seeds.sort(key=lambda seed: -seed[0])
    return [(affine, spacing) for score, affine, spacing in seeds[:3] if score > 1e-4]


def _peaks(angle: np.ndarray, w: np.ndarray) -> list[float]:
    """The strongest directions modulo a right angle."""
    bins = 360
    histogram = np.bincount((angle / (np.pi / 2) * bins).astype(int) % bins, w, bins)
    soft = np.convolve(np.pad(histogram, 3, mode="wrap"), (1, 2, 3, 4, 3, 2, 1), mode="valid")
    peaks = []
    for _ in range(3):
        at = int(np.argmax(soft))
        if soft[at] <= 0:
            break
        near = (angle - (at + 0.5) * np.pi / 2 / bins + np.pi / 4) % (np.pi / 2) - np.pi / 4
        own = np.abs(near) < 0.02
        peaks.append(
            (at + 0.5) * np.pi / 2 / bins + float(np.average(near[own], weights=w[own] + 1e-9))
        )
        soft[np.arange(at - 12, at + 13) % bins] = 0
    return peaks


def _lattice_in_view(camera: Camera, affine: np.ndarray, size: tuple[int, int]) -> Lattice | None:
    width, height = size
    x, y = np.linspace(0, width - 1, 5), np.linspace(0, height - 1, 5)
    frame = np.array([[a, b] for a in x for b in y])
    lattice = (camera.to_plane(frame) - affine[:, 2]) @ np.linalg.inv(affine[:, :2]).T
    low, high = np.floor(lattice.min(0)).astype(int), np.ceil(lattice.max(0)).astype(int)
    if np.prod(high - low + 1) > _MAX_CELLS:
        return None
    i, j = np.meshgrid(
        np.arange(low[0], high[0] + 1), np.arange(low[1], high[1] + 1), indexing="ij"
    )
    cells = np.column_stack([i.ravel(), j.ravel()])
    return Lattice(np.vstack([cells, cells]), np.repeat([0, 1], len(cells)))


def _project(camera: Camera, affine: np.ndarray, lattice_points: np.ndarray) -> np.ndarray:
    flat = lattice_points.reshape(-1, 2)
    mm = flat @ affine[:, :2].T + affine[:, 2]
    px = camera.project(np.column_stack([mm, np.zeros(len(mm))]))
    return px.reshape(lattice_points.shape)


@dataclass(frozen=True)
class _Seen:
    """Ridges across the pieces: offset and height in every one, and the noise of heights."""

    offset_px: np.ndarray
    height: np.ndarray
    middle_px: np.ndarray
    normal_px: np.ndarray
    px_per_mm: float


def _look_across(
    gray: np.ndarray,
    camera: Camera,
    affine: np.ndarray,
    lattice: Lattice,
    window_mm: float,
    sign: int,
) -> _Seen:
    """Find the strongest ridge across each piece within `window_mm`."""
    px = _project(camera, affine, lattice.points(_ALONG))
    along = px[:, -1] - px[:, 0]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    spacing_px = np.median(np.linalg.norm(px[:, -1] - px[:, 0], axis=1)) / (_ALONG[-1] - _ALONG[0])
    scale = spacing_px / np.sqrt(abs(np.linalg.det(affine[:, :2])))
    side = max(3, round(0.8 * scale))
    half = max(2, round(window_mm * scale))
    k = np.arange(-half - 2 * side, half + 2 * side + 1)
    at = px[:, :, None, :] + normal[:, None, None, :] * k[:, None]
    samples = _sample(gray, at)
    half_way = len(_ALONG) // 2
    median = np.partition(samples, half_way, axis=1)[:, half_way]
    profile = _smooth(sign * median.astype(np.float32))
    left, right = profile[:, : -2 * side], profile[:, 2 * side :]
    ridge = profile[:, side:-side] - np.maximum(left, right)
    inner = ridge[:, side:-side]
    best = np.argmax(inner, axis=1) + 2 * side
    rows = np.arange(len(profile))
    height = inner[rows, best - 2 * side]
    centre = best.astype(float)
    for _ in range(2):
        near = np.rint(centre).astype(int)[:, None] + np.arange(-side, side + 1)
        near = np.clip(near, 0, profile.shape[1] - 1)
        values = np.take_along_axis(profile, near, axis=1)
        ramp = np.linspace(0, 1, 2 * side + 1)
        above = np.maximum(values - (values[:, :1] * (1 - ramp) + values[:, -1:] * ramp), 0)
        total = above.sum(1)
        centre = np.where(total > 0, (above * near).sum(1) / np.maximum(total, 1e-9), centre)
        centre = np.clip(centre, best - side, best + side)
    offset = centre - half - 2 * side
    return _Seen(offset, height, px.mean(1), normal, float(scale))


def _sample(gray: np.ndarray, at: np.ndarray) -> np.ndarray:
    flat = at.reshape(at.shape[0], -1, 2).astype(np.float32)
    out = np.empty(flat.shape[:2], np.uint8)
    for start in range(0, len(flat), 4000):  # remap takes sides below 32768 only
        part = flat[start : start + 4000]
        out[start : start + 4000] = cv2.remap(
            gray, part, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    return out.reshape(at.shape[:-1])


def _smooth(profile: np.ndarray) -> np.ndarray:
    padded = np.pad(profile, ((0, 0), (1, 1)), mode="edge")
    return 0.25 * padded[:, :-2] + 0.5 * padded[:, 1:-1] + 0.25 * padded[:, 2:]


def _clear(
    camera: Camera,
    affine: np.ndarray,
    lattice: Lattice,
    size: tuple[int, int],
    hidden: Sequence[np.ndarray],
) -> np.ndarray:
    """Which pieces lie in the frame and off the other references."""
    ends = _project(camera, affine, lattice.points(np.array([0.0, 0.5, 1.0])))
    inside = np.all((ends > 6) & (ends < np.array(size) - 7), axis=(1, 2))
    for polygon in hidden:
        for k in range(3):
            inside &= ~_inside(ends[:, k], polygon)
    return inside


def _follow(
    gray: np.ndarray,
    references: Sequence[Reference],
    prior: LensPrior,
    plane: Plane | None,
    affine: np.ndarray,
    spacing: float,
    centre: np.ndarray,
    hidden: Sequence[np.ndarray],
    camera: Camera | None = None,
) -> tuple[Plane, MatLines] | None:
    """Follow the lattice from `centre` outwards, adjusting as it grows."""
    size = (gray.shape[1], gray.shape[0])
    if camera is None:
        assert plane is not None  # one of the two is given
        camera = plane.camera
    places = [p.affine for p in plane.references] if plane else []
    lattice = _lattice_in_view(camera, affine, size)
    if lattice is None:
        return None
    reach, sign, last = 4.0 * spacing, 0, False
    for step in range(12):
        keep = _clear(camera, affine, lattice, size, hidden)
        middle = lattice.points(np.array([0.5]))[:, 0] @ affine[:, :2].T + affine[:, 2]
        distance = np.linalg.norm(middle - centre, axis=1)
        last = step > 0 and reach >= distance[keep].max(initial=0)
        now = lattice.only(_at_most(1200 if last else 300, keep & (distance < reach)))
        if len(now.cells) < 8:
            reach *= _GROWTH
            continue
        window = min(1.5, 0.15 * spacing) if last else (0.28 if step == 0 else 0.16) * spacing
        if sign == 0:
            both = [_look_across(gray, camera, affine, now, window, s) for s in (1, -1)]
            heights = [np.percentile(b.height, 70) for b in both]
            sign = 1 if heights[0] >= heights[1] else -1
            seen = both[0] if sign == 1 else both[1]
        else:
            seen = _look_across(gray, camera, affine, now, window, sign)
        good = _trusted(seen, now, window)
        if good is None:
            if step > 1 or last:
                return None
            reach *= _GROWTH
            continue
        reference = _reference(now.only(good), seen, good, spacing)
        before = len(places) == len(references)
        all_places = (
            [*places[: len(references)], affine_mm(affine, spacing)] if before else [np.eye(2, 3)]
        )
        fitted = adjust(
            [*references, reference], prior, camera, all_places, rounds=3 if last else 1
        )
        camera = fitted.camera
        places = [p.affine for p in fitted.references[: len(references)]]
        affine = fitted.references[-1].affine * np.array([spacing, spacing, 1])
        if fitted.references[-1].rms_px > (1 if last else 2) * _MISFIT_MM * seen.px_per_mm:
            return None
        if last:
            return _finish(gray, fitted, affine, spacing, sign, size, hidden)
        reach *= _GROWTH
    return None


def _at_most(n: int, keep: np.ndarray) -> np.ndarray:
    """Keep a fair choice of `n` of what is true."""
    chosen = np.flatnonzero(keep)
    if len(chosen) <= n:
        return keep
    few = np.zeros(len(keep), bool)
    few[np.random.default_rng(0).choice(chosen, n, replace=False)] = True
    return few


def affine_mm(affine: np.ndarray, spacing: float) -> np.ndarray:
    """(2, 3) plane mm from the mat's own mm, rigid."""
    u = affine[:, 0] / np.linalg.norm(affine[:, 0])
    return np.column_stack([u, [-u[1], u[0]], affine[:, 2]])


def _trusted(seen: _Seen, lattice: Lattice, window_mm: float) -> np.ndarray | None:
    """Which ridges are the mat's lines; None where the lattice does not hold."""
    strong = seen.height > max(2.0, 0.4 * np.percentile(seen.height, 75))
    own_line = lattice.cells[np.arange(len(lattice.cells)), lattice.family]
    line = np.unique(np.column_stack([lattice.family, own_line]), axis=0, return_inverse=True)[1]
    apart = np.zeros(len(line))
    for _ in range(3):  # ridges agree with their neighbours on the same line or are left out
        if strong.sum() < 8:
            return None
        middle = _by_line(seen.offset_px, line, strong)
        apart = np.abs(seen.offset_px - middle)
        spread = np.maximum(1.5, 3 * 1.4826 * _by_line(apart, line, strong))
        keep = strong & (apart < spread)
        if (keep == strong).all():
            break
        strong = keep
    # on a mat without lines the strongest ridges lie anywhere in the window
    if np.median(apart[strong]) > 0.12 * window_mm * seen.px_per_mm:
        return None
    for family in (0, 1):
        own = strong & (lattice.family == family)
        if own.sum() < 3 or len(np.unique(lattice.cells[own, family])) < 2:
            return None
    return strong


def _by_line(values: np.ndarray, line: np.ndarray, strong: np.ndarray) -> np.ndarray:
    """(N,) median of the strong values on the line that each piece belongs to."""
    present, own = np.unique(line[strong], return_inverse=True)
    found = np.zeros(line.max() + 1)
    found[present] = ndimage.median(values[strong], own, np.arange(len(present)))
    return found[line]


def _reference(lattice: Lattice, seen: _Seen, good: np.ndarray, spacing: float) -> Reference:
    middle = lattice.points(np.array([0.5]))[:, 0] * spacing
    normal = seen.normal_px[good]
    return Reference(
        name="mat lines",
        kind="grid",
        points_mm=middle,
        points_px=seen.middle_px[good] + normal * seen.offset_px[good, None],
        normals_px=normal,
        sigma_px=0.15,
        scale_sigma=MAT_SCALE,
        shear_sigma=0.0003,
    )


def _finish(
    gray: np.ndarray,
    plane: Plane,
    affine: np.ndarray,
    spacing: float,
    sign: int,
    size: tuple[int, int],
    hidden: Sequence[np.ndarray],
) -> tuple[Plane, MatLines] | None:
    """Look once more at every piece with the final plane, and judge whether it is a mat."""
    lattice = _lattice_in_view(plane.camera, affine, size)
    if lattice is None:
        return None
    lattice = lattice.only(_clear(plane.camera, affine, lattice, size, hidden))
    seen = _look_across(gray, plane.camera, affine, lattice, min(1.2, 0.12 * spacing), sign)
    limit = max(2.0, 0.4 * float(np.percentile(seen.height, 75)))
    sigma = max(1.0, 4 * plane.references[-1].rms_px)
    shown = (seen.height > limit) & (np.abs(seen.offset_px) < sigma)
    if shown.sum() < 12:
        return None
    # chance would give as many ridges off the lines as on them
    shifted = affine.copy()
    shifted[:, 2] += affine[:, :2] @ np.array([0.31, 0.31])
    some = _at_most(600, np.ones(len(shown), bool))
    control = _look_across(
        gray, plane.camera, shifted, lattice.only(some), min(1.2, 0.12 * spacing), sign
    )
    by_chance = ((control.height > limit) & (np.abs(control.offset_px) < sigma)).mean()
    if by_chance > 0.35 * shown.mean():
        return None
    ends = _project(plane.camera, affine, lattice.points(np.array([0.0, 1.0])))
    return plane, MatLines(plane.references[-1].reference, ends, shown)


def find_lines_alone(
    gray: np.ndarray, prior: LensPrior, spacing: float
) -> tuple[Plane, MatLines] | None:
    """Find the lattice without any other reference; its spacing gives the scale.

    The photo is levelled by the two directions at right angles that most segments follow
    (Coughlan & Yuille, "Manhattan World", 1999, by consensus of three segments), then the
    spacing of the lines gives the camera's distance.
    """
    segments_px = segments_of(gray)
    length = np.linalg.norm(segments_px[:, 1] - segments_px[:, 0], axis=1)
    segments_px = segments_px[length > 0.008 * max(gray.shape)]
    if len(segments_px) < 20:
        return None
    R = _level(prior, segments_px)
    if R is None:
        return None
    level = prior.camera(R, np.array([0.0, 0, 1]))
    ends = level.to_plane(segments_px.reshape(-1, 2)).reshape(-1, 2, 2)
    for pitch in _pitches(ends, spacing):
        camera = prior.camera(R, np.array([0, 0, spacing / pitch]))
        seed = _densest(camera, segments_px, spacing)
        for affine, _ in _seeds(camera, segments_px, (spacing,), seed, 90.0)[:2]:
            # the lattice's own frame becomes the plane's
            own = affine_mm(affine, spacing)
            turn = np.eye(3)
            turn[:2, :2] = own[:, :2]
            shift = np.array([*own[:, 2], 0.0])
            moved = prior.camera(R @ turn, R @ shift + camera.t)
            centre = (seed - own[:, 2]) @ own[:, :2]
            start = np.column_stack([spacing * np.eye(2), np.zeros(2)])
            try:
                found = _follow(gray, [], prior, None, start, spacing, centre, [], moved)
            except NoReferenceError:
                continue
            if found is not None and _right_spacing(gray, found, spacing):
                return found
    return None


def _level(prior: LensPrior, segments_px: np.ndarray) -> np.ndarray | None:
    """(3, 3) camera from plane rotation whose x and y axes most segments follow."""
    x = prior.camera(np.eye(3), np.zeros(3)).normalise(segments_px.reshape(-1, 2))
    rays = np.column_stack([x, np.ones(len(x))]).reshape(-1, 2, 3)
    normal = np.cross(rays[:, 0], rays[:, 1])
    length = np.linalg.norm(rays[:, 1] - rays[:, 0], axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    rng = np.random.default_rng(1)
    chosen = rng.choice(len(normal), size=(1500, 3), p=length / length.sum())
    a = np.cross(normal[chosen[:, 0]], normal[chosen[:, 1]])
    a /= np.linalg.norm(a, axis=1, keepdims=True) + 1e-12
    b = np.cross(a, normal[chosen[:, 2]])
    b /= np.linalg.norm(b, axis=1, keepdims=True) + 1e-12
    up = np.cross(a, b)
    fair = (np.abs(up[:, 2]) > np.cos(np.radians(40))) & (np.linalg.norm(up, axis=1) > 0.9)
    if not fair.any():
        return None
    a, b = a[fair], b[fair]
    follows = np.minimum(np.abs(a @ normal.T), np.abs(b @ normal.T))
    score = np.maximum(0, 1 - follows / 0.012) @ length
    best = int(np.argmax(score))
    a1, b1 = a[best], b[best]
    for limit in (0.012, 0.008, 0.006):
        axes = []
        for axis in (a1, b1):
            own = np.abs(normal @ axis) < limit
            if own.sum() < 4:
                return None
            w = length[own, None] * normal[own]
            axes.append(np.linalg.svd(w, full_matrices=False)[2][-1])
        U, _, Vt = np.linalg.svd(np.column_stack(axes), full_matrices=False)
        a1, b1 = (U @ Vt).T
    up = np.cross(a1, b1)
    if up[2] < 0:
        b1, up = -b1, -up
    return np.column_stack([a1, b1, up])


def _pitches(ends: np.ndarray, spacing: float) -> list[float]:
    """Likely spacings in units of the camera's height, best first."""
    along = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(along, axis=1)
    middle = ends.mean(1)
    candidates = np.geomspace(spacing / 1500, spacing / 120, 900)
    score = np.zeros(len(candidates))
    for k in (0, 1):
        own = np.abs(along[:, k]) < 0.02 * length
        if own.sum() < 4:
            return []
        w = length[own] / length[own].sum()
        z = np.exp(2j * np.pi * middle[own, k] / candidates[:, None]) @ w
        score += np.abs(z)
    peaks = np.flatnonzero((score[1:-1] > score[:-2]) & (score[1:-1] >= score[2:])) + 1
    peaks = peaks[score[peaks] > 0.5 * score[peaks].max(initial=0)]
    # harmonics of the true spacing score as well: try the widest first
    return [float(candidates[i]) for i in sorted(peaks, key=lambda i: -candidates[i])][:8]


def _densest(camera: Camera, segments_px: np.ndarray, spacing: float) -> np.ndarray:
    """Place on the plane with most segment length of the two main directions around it."""
    ends = camera.to_plane(segments_px.reshape(-1, 2)).reshape(-1, 2, 2)
    along = np.abs(ends[:, 1] - ends[:, 0])
    straight = along.min(1) < 0.02 * along.max(1)
    middle, length = ends.mean(1)[straight], along.max(1)[straight]
    apart = np.linalg.norm(middle[:, None] - middle[None], axis=2)
    return middle[int(np.argmax(np.exp(-0.5 * (apart / (2.5 * spacing)) ** 2) @ length))]


def _right_spacing(gray: np.ndarray, found: tuple[Plane, MatLines], spacing: float) -> bool:
    """Whether every line, and no line between, is there: else the spacing is half or double."""
    plane, mat = found
    on_line = (
        np.abs(mat.reference.points_mm / spacing - np.rint(mat.reference.points_mm / spacing))
        < 1e-6
    )
    for family in (0, 1):
        own = on_line[:, family]
        lines = np.rint(mat.reference.points_mm[own, family] / spacing).astype(int)
        if own.sum() >= 8 and np.unique(lines % 2).size < 2 and np.unique(lines).size > 2:
            return False
    affine = plane.references[-1].affine * np.array([spacing, spacing, 1])
    lattice = _lattice_in_view(plane.camera, affine, (gray.shape[1], gray.shape[0]))
    if lattice is None:
        return False
    lattice = lattice.only(
        _clear(plane.camera, affine, lattice, (gray.shape[1], gray.shape[0]), [])
    )
    half = affine.copy()
    half[:, 2] += affine[:, :2] @ np.array([0.5, 0.5])
    window = min(1.0, 0.1 * spacing)
    best = [
        max(
            (_look_across(gray, plane.camera, A, lattice, window, s) for s in (1, -1)),
            key=lambda b: np.percentile(b.height, 70),
        )
        for A in (affine, half)
    ]
    on, between = (b.height[np.abs(b.offset_px) < 2.5] for b in best)
    limit = 0.5 * np.percentile(on, 70) if len(on) else 0
    return bool((on > limit).sum() > 1.5 * (between > limit).sum())
