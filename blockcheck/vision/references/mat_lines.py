"""The mat's printed lines: a square lattice found, followed and measured in the photo's pixels.

Straight segments give likely lattices (`segments`); from a seed each is followed outwards, by
what lies across the pieces of its lines (`lattice`), and the plane is adjusted as it grows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...errors import NoReferenceError
from ..photo import Photo
from ..plane.adjust import ROUGHLY, SETTLED, adjust
from ..plane.agreement import loosened
from ..plane.lens import Camera, LensPrior
from ..plane.plane import Plane
from ..plane.reference import MatLines, Reference
from .lattice import (
    Lattice,
    Seen,
    clear_of,
    inked_share,
    is_inside,
    lattice_in_view,
    look_across,
    project_lattice,
    trusted,
)
from .segments import (
    densest,
    level_by_directions,
    likely_lattices,
    on_one_ground,
    pitches,
    segments_of,
)

SPACINGS_MM = (25.4, 10.0)
_HALVES_MM = (12.7, 5.0)  # tried after the whole ones, whose dashes between would pass for these
MAT_SCALE = 0.0007  # 1 sigma, as printed
MAT_STRETCH = 0.001  # 1 sigma of half of what across and along differ by: to 0.4 % in old mats
MAT_SKEW = 0.0003
LINE_MM = 0.02  # 1 sigma of where a line was printed; on real mats 0.01 to 0.08
_MISFIT_MM = 0.15  # about half a printed line's width: lines that lie further off are not followed
_SOME_INK, _WHOLE = 0.15, 0.7  # of a piece of line; dashes halve the mat's own spacing
_BESIDE_MM = 60.0  # of a reference, where lines are looked for first
_BOTH_WAYS = 0.4  # share of one way's lines in view, of the other's
_FIRST = 40  # pieces of line to begin with
_GROWTH, _LEAST_GROWTH = 3.0, 1.1  # of what is followed, from one adjustment to the next
_TRIES = 20
_UNSURE = 0.08  # of a print's scale: what printers and wrong settings do


def find_lines(
    gray: np.ndarray,
    references: Sequence[Reference],
    prior: LensPrior,
    plane: Plane,
    spacing: float | None = None,
) -> tuple[Plane, MatLines] | None:
    """Find the lattice with other references in view, and adjust all together.

    The size of the others is in question meanwhile (`loosened`): a card that was printed too
    small must not hide the lines that tell so.

    Returns
    -------
    (Plane, MatLines) or None
        The plane as the mat's lines give it; None where no lattice of the `spacing`, or of a
        usual one where none is named, can be followed.
    """
    first = plane.references[0]  # the middle of several may lie on the block
    centre = first.affine @ [*np.mean(first.reference.points_mm, axis=0), 1]
    from_px = plane.px_from_mm(centre)
    hidden = [p.outline_px for p in plane.references if p.outline_px is not None]
    start = _Grown(plane.camera, [p.affine for p in plane.references], np.eye(2, 3))
    loose = [loosened(r) for r in references]
    places = (90.0, _around(gray, plane)), (120.0, None)
    free: dict[float, np.ndarray] = {}
    for spacings in (SPACINGS_MM, _HALVES_MM) if spacing is None else ((spacing,),):
        for reach, box in places:
            if reach not in free:
                free[reach] = _outside(segments_of(gray, box), hidden)
            likely = likely_lattices(plane.camera, free[reach], spacings, centre, reach, _UNSURE)
            for affine, pitch in likely:
                grown = replace(start, affine=affine)
                found = _follow(gray, loose, prior, grown, pitch, from_px, hidden)
                if found is not None:
                    return found
    return None


def _around(gray: np.ndarray, plane: Plane) -> tuple[int, int, int, int]:
    """Box of the photo with the first reference and a little beside it."""
    first = plane.references[0]
    own = first.reference.points_mm
    low, high = own.min(0) - _BESIDE_MM, own.max(0) + _BESIDE_MM
    ends = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
    px = plane.px_from_mm(ends @ first.affine[:, :2].T + first.affine[:, 2])
    size = np.array([gray.shape[1], gray.shape[0]])
    left, top = (int(v) for v in np.clip(px.min(0), 0, size - 64))
    right, bottom = (int(v) for v in np.clip(px.max(0), (left + 64, top + 64), size))
    return left, top, right, bottom


def _outside(segments_px: np.ndarray, hidden: Sequence[np.ndarray]) -> np.ndarray:
    middle = segments_px.mean(1)
    keep = np.ones(len(middle), bool)
    for polygon in hidden:
        keep &= ~is_inside(middle, polygon)
    return segments_px[keep]


@dataclass(frozen=True)
class _Grown:
    """How far a lattice has been followed: camera, places of all references, the lattice's."""

    camera: Camera
    places: list[np.ndarray]
    affine: np.ndarray  # plane mm from the lattice's units
    sign: int = 0


def _follow(
    gray: np.ndarray,
    references: Sequence[Reference],
    prior: LensPrior,
    grown: _Grown,
    spacing: float,
    from_px: np.ndarray,
    hidden: Sequence[np.ndarray],
) -> tuple[Plane, MatLines] | None:
    """Follow the lattice from a place (1, 2) outwards, adjusting as it grows.

    Where a step outwards does not hold, smaller ones are tried from the last that did.
    """
    size = (gray.shape[1], gray.shape[0])
    reached, growth = 0.0, _GROWTH
    centre = grown.camera.to_plane(from_px)[0]
    reach = _around_reference(grown, size, hidden, centre, 4.0 * spacing)
    for _ in range(_TRIES):
        centre = grown.camera.to_plane(from_px)[0]
        last = reached > 0 and reach >= _furthest(grown.camera, size, centre)
        try:
            step = _step(gray, references, prior, grown, spacing, centre, hidden, reach, last)
        except NoReferenceError:  # the fit did not settle
            step = None
        if step is not None and last:
            return _finish(gray, step[0], step[1].affine, spacing, step[1].sign, size, hidden)
        if step is not None:
            grown, reached = step[1], reach
        elif reached:
            growth = np.sqrt(growth)
            if growth < _LEAST_GROWTH:
                return None
        elif reach > _furthest(grown.camera, size, centre):
            return None
        reach = (reached or reach) * growth
    return None


def _step(
    gray: np.ndarray,
    references: Sequence[Reference],
    prior: LensPrior,
    grown: _Grown,
    spacing: float,
    centre: np.ndarray,
    hidden: Sequence[np.ndarray],
    reach: float,
    last: bool,
) -> tuple[Plane, _Grown] | None:
    """Look at the pieces within `reach` and adjust; None where they are not the mat's lines."""
    camera, affine = grown.camera, grown.affine
    size = (gray.shape[1], gray.shape[0])
    lattice = lattice_in_view(camera, affine, size)
    if lattice is None:
        return None
    near = lattice.only(_distance(lattice, affine, centre) < reach)
    now = near.only(_at_most(600 if last else 200, clear_of(camera, affine, near, size, hidden)))
    if len(now.cells) < 8:
        return None
    window = min(1.5, 0.15 * spacing) if last else (0.16 if grown.sign else 0.22) * spacing
    seen = look_across(gray, camera, affine, now, window, grown.sign)
    good = trusted(seen, now, window)
    if good is None:
        return None
    everything = [*references, _reference(now.only(good), seen, good, spacing)]
    places = [*grown.places[: len(references)], affine / (spacing, spacing, 1)]
    if last:
        # beside others they are judged by it, and adjusted anew
        settled = ROUGHLY if references else SETTLED
        fitted = adjust(everything, prior, camera, places, settled=settled)
    else:  # only to foresee where the next lines lie
        fitted = adjust(
            everything, prior, camera, places, rounds=1, settled=ROUGHLY, covariance=False
        )
    lines = fitted.references[-1]
    if lines.rms_px > (1 if last else 2) * _MISFIT_MM * seen.px_per_mm:
        return None
    affines = [p.affine for p in fitted.references]
    return fitted, _Grown(fitted.camera, affines, lines.affine * (spacing, spacing, 1), seen.sign)


def _distance(lattice: Lattice, affine: np.ndarray, centre: np.ndarray) -> np.ndarray:
    middle = lattice.points(np.array([0.5]))[:, 0] @ affine[:, :2].T + affine[:, 2]
    return np.asarray(np.linalg.norm(middle - centre, axis=1))


def _furthest(camera: Camera, size: tuple[int, int], centre: np.ndarray) -> float:
    """Distance on the plane from a place to the corner of the photo that is furthest off."""
    width, height = size[0] - 1, size[1] - 1
    frame = camera.to_plane(np.array([[0.0, 0], [width, 0], [width, height], [0, height]]))
    return float(np.linalg.norm(frame - centre, axis=1).max())


def _around_reference(
    grown: _Grown,
    size: tuple[int, int],
    hidden: Sequence[np.ndarray],
    centre: np.ndarray,
    least: float,
) -> float:
    """How far the nearest pieces of line that no reference covers lie away."""
    lattice = lattice_in_view(grown.camera, grown.affine, size)
    if lattice is None:
        return least
    distance = _distance(lattice, grown.affine, centre)
    nearest = np.argsort(distance)[: 20 * _FIRST]
    clear = clear_of(grown.camera, grown.affine, lattice.only(nearest), size, hidden)
    free = distance[nearest][clear]
    return max(least, float(free[min(_FIRST, len(free)) - 1]) + 1e-6) if len(free) else least


def _at_most(n: int, keep: np.ndarray) -> np.ndarray:
    """Keep a fair choice of `n` of what is true."""
    chosen = np.flatnonzero(keep)
    if len(chosen) <= n:
        return keep
    few = np.zeros(len(keep), bool)
    few[np.random.default_rng(0).choice(chosen, n, replace=False)] = True
    return few


def _reference(lattice: Lattice, seen: Seen, good: np.ndarray, spacing: float) -> Reference:
    middle = lattice.points(np.array([0.5]))[:, 0] * spacing
    normal = seen.normal_px[good]
    # lines of one way that all lie off where they were foreseen are no outliers
    off = [np.median(np.abs(seen.offset_px[good][lattice.family == k])) for k in (0, 1)]
    return Reference(
        name="mat lines",
        kind="grid",
        points_mm=middle,
        points_px=seen.middle_px[good] + normal * seen.offset_px[good, None],
        normals_px=normal,
        sigma_px=max(0.15, float(max(off)) / 2),
        scale_sigma=MAT_SCALE,
        stretch_sigma=MAT_STRETCH,
        skew_sigma=MAT_SKEW,
        line=lattice.line,
        common_px=LINE_MM * seen.px_per_mm,
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
    lattice = lattice_in_view(plane.camera, affine, size)
    if lattice is None:
        return None
    lattice = lattice.only(clear_of(plane.camera, affine, lattice, size, hidden))
    seen = look_across(gray, plane.camera, affine, lattice, min(1.2, 0.12 * spacing), sign)
    limit = max(2.0, 0.4 * float(np.percentile(seen.height, 75)))
    sigma = max(1.0, 4 * plane.references[-1].rms_px)
    shown = (seen.height > limit) & (np.abs(seen.offset_px) < sigma)
    if shown.sum() < 12:
        return None
    # chance would give as many ridges off the lines as on them
    shifted = affine.copy()
    shifted[:, 2] += affine[:, :2] @ np.array([0.31, 0.31])
    some = _at_most(300, np.ones(len(shown), bool))
    control = look_across(
        gray, plane.camera, shifted, lattice.only(some), min(1.2, 0.12 * spacing), sign
    )
    by_chance = ((control.height > limit) & (np.abs(control.offset_px) < sigma)).mean()
    if by_chance > 0.35 * shown.mean():
        return None
    # what lies on a mat hides lines of both ways alike: seen one way only, the others are off
    one, other = (shown[lattice.family == family].mean() for family in (0, 1))
    if min(one, other) < _BOTH_WAYS * max(one, other):
        return None
    ends = project_lattice(plane.camera, affine, lattice.points(np.array([0.0, 1.0])))
    return plane, MatLines(plane.references[-1].reference, ends, shown)


def find_lines_alone(
    photo: Photo, prior: LensPrior, spacing: float
) -> tuple[Plane, MatLines] | None:
    """Find the lattice without any other reference; its spacing gives the scale.

    Thin lines on one ground are tried first, so that stripes and checks do not lead.
    """
    segments_px = segments_of(photo.gray)
    length = np.linalg.norm(segments_px[:, 1] - segments_px[:, 0], axis=1)
    segments_px = segments_px[length > 0.008 * max(photo.size)]
    for chosen in (segments_px[on_one_ground(photo.rgb, segments_px)], segments_px):
        found = _alone(photo.gray, prior, chosen, spacing) if len(chosen) >= 20 else None
        if found is not None:
            return found
    return None


def _alone(
    gray: np.ndarray, prior: LensPrior, segments_px: np.ndarray, spacing: float
) -> tuple[Plane, MatLines] | None:
    """Level the photo by its segments and follow the likeliest lattices.

    The photo is levelled by the two directions at right angles that most segments follow
    (Coughlan & Yuille, "Manhattan World", 1999, by consensus of three segments), then the
    spacing of the lines gives the camera's distance.
    """
    R = level_by_directions(prior, segments_px)
    if R is None:
        return None
    level = prior.camera(R, np.array([0.0, 0, 1]))
    ends = level.to_plane(segments_px.reshape(-1, 2)).reshape(-1, 2, 2)
    likely = pitches(ends, spacing)
    # lines halfway hide the pitch of the lines that they halve: try twice each as well
    for pitch in [*likely, *(2 * p for p in likely)]:
        camera = prior.camera(R, np.array([0, 0, spacing / pitch]))
        seed = densest(camera, segments_px, spacing)
        from_px = camera.project(np.array([[*seed, 0.0]]))
        for affine, _ in likely_lattices(camera, segments_px, (spacing,), seed, 90.0)[:2]:
            # the lattice's own frame becomes the plane's
            u = affine[:, 0] / np.linalg.norm(affine[:, 0])
            own = np.column_stack([u, [-u[1], u[0]], affine[:, 2]])
            turn = np.eye(3)
            turn[:2, :2] = own[:, :2]
            shift = np.array([*own[:, 2], 0.0])
            moved = prior.camera(R @ turn, R @ shift + camera.t)
            start = _Grown(moved, [], np.column_stack([spacing * np.eye(2), np.zeros(2)]))
            found = _follow(gray, [], prior, start, spacing, from_px, [])
            if found is not None and _right_spacing(gray, found, spacing):
                return found
    return None


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
    lattice = lattice_in_view(plane.camera, affine, (gray.shape[1], gray.shape[0]))
    if lattice is None:
        return False
    lattice = lattice.only(
        clear_of(plane.camera, affine, lattice, (gray.shape[1], gray.shape[0]), [])
    )
    lattice = lattice.only(_at_most(1500, np.ones(len(lattice.cells), bool)))
    half = affine.copy()
    half[:, 2] += affine[:, :2] @ np.array([0.5, 0.5])
    window = min(1.0, 0.1 * spacing)
    best = [look_across(gray, plane.camera, A, lattice, window) for A in (affine, half)]
    on, between = (
        inked_share(gray, plane.camera, A, lattice, b) * (np.abs(b.offset_px) < 2.5)
        for A, b in zip((affine, half), best, strict=True)
    )
    if (on > _WHOLE).sum() <= 1.5 * (between > _WHOLE).sum():
        return False
    odd = lattice.cells[np.arange(len(on)), lattice.family] % 2 == 1
    for family in (0, 1):
        for which in (odd, ~odd):
            shares = on[(lattice.family == family) & which & (on > _SOME_INK)]
            if len(shares) and np.median(shares) < _WHOLE:  # dashes, or nothing but chance
                return False
    return True
