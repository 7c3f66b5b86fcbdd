"""Does the plane's ± hold on real mats? Half of the printed lines adjust it, the others check it.

    python docs/benchmarks/held_out.py SPACING PHOTO…

Every second line of each way is left out of the adjustment. Lengths from one left-out line to
another, across a stretch of at least five cells, are then known: whole cells. Each is measured
between the lines' pieces near four places along them, and is inside where it departs by no more
than its U95 (a line's own place, 0.02 mm as one sigma, and the noise of what was averaged
included). Two shares are printed: with the whole U95, and with that of the adjustment alone, which
leaves out what a mat's scale adds; there the mean ratio of the photo's lengths to the cells is
taken off first, as the mat alone cannot know it.
"""

import sys
from dataclasses import replace
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np

import blockcheck
from blockcheck.errors import MeasureError
from blockcheck.units import parse_length
from blockcheck.vision.photo import read_photo
from blockcheck.vision.plane.adjust import adjust
from blockcheck.vision.plane.focal import focal_of
from blockcheck.vision.plane.lens import LensPrior
from blockcheck.vision.plane.plane import Plane
from blockcheck.vision.references.mat_lines import LINE_MM

PLACES, LEAST_CELLS = 4, 5


def only(reference, keep):
    """Return a reference with the pieces where `keep` is true, its lines numbered anew."""
    return replace(
        reference,
        points_mm=reference.points_mm[keep],
        points_px=reference.points_px[keep],
        normals_px=reference.normals_px[keep],
        line=np.unique(reference.line[keep], return_inverse=True)[1],
    )


def of_lines(reference, spacing):
    """(N,) family of each piece (0: x is constant) and (N,) the number of its line."""
    cells = reference.points_mm / spacing
    family = (np.abs(cells[:, 1] - np.rint(cells[:, 1])) < 0.01).astype(int)
    return family, np.rint(cells[np.arange(len(cells)), family]).astype(int)


def departures(plane: Plane, held, spacing):
    """(M, 4) ratio to whole cells, departure and two U95 in mm of lengths between lines."""
    family, number = of_lines(held, spacing)
    rows = []
    for k in (0, 1):
        along = held.points_mm[:, 1 - k]
        edges = np.quantile(along[family == k], np.linspace(0, 1, PLACES + 1))
        for low, high in pairwise(edges):
            here = (family == k) & (along >= low) & (along <= high)
            at = {}
            for n in np.unique(number[here]):
                own = here & (number == n)
                if own.sum() >= 2:
                    at[int(n)] = held.points_px[own].mean(0), own.sum()
            for a, b in combinations(at, 2):
                if b - a < LEAST_CELLS:
                    continue
                (p, n), (q, m) = at[a], at[b]
                ends = plane.mm_from_px(np.array([p, q]))
                # across the lines only: along them the pieces lie anywhere
                axis = plane.references[-1].affine[:, k]
                unit = axis / np.linalg.norm(axis)
                J = plane.jacobian(np.array([p, q]))
                budget = {t.name: t.u for t in plane.terms(unit @ (J[1] - J[0]))}
                px = plane.px_per_mm(ends.mean(0))
                own, common = plane.references[-1].noise_px / px
                noise = np.sqrt(own**2 * (1 / n + 1 / m) + 2 * max(common, LINE_MM) ** 2)
                true = spacing * (b - a)
                found = float((ends[1] - ends[0]) @ unit)
                whole = np.sqrt(sum(u**2 for u in budget.values()))
                rows.append(
                    (found, true, *(2 * np.hypot(u, noise) for u in (whole, budget["adjustment"])))
                )
    return np.array(rows)


def check(path, spacing):
    """Shares of lengths inside the whole U95 and inside that of the adjustment, and their number."""
    plane = blockcheck.find_plane(path, grid=spacing)
    lines = plane.references[-1].reference
    photo = read_photo(path)
    prior = LensPrior.of_photo(photo.size, *focal_of(photo.optics, photo.size))
    _, number = of_lines(lines, spacing)
    seen, held = only(lines, number % 2 == 0), only(lines, number % 2 == 1)
    place = replace(plane.references[-1]).affine
    half = adjust([seen], prior, plane.camera, [place])
    found, true, whole, alone = departures(half, held, spacing).T
    own = found * np.sum(true * found) / np.sum(found**2)
    return (
        np.mean(np.abs(found - true) <= whole),
        np.mean(np.abs(own - true) <= alone),
        np.sqrt(np.mean((own - true) ** 2)),
        len(found),
    )


def main(spacing, *paths):
    shares = []
    for path in map(Path, paths):
        try:
            whole, alone, rms, n = check(path, parse_length(spacing))
        except MeasureError as e:
            print(f"{path.name:24s} {e.code}")
            continue
        shares.append((whole, alone))
        print(
            f"{path.name:24s} {n:5d} lengths, {whole:4.0%} inside, {alone:4.0%} of the adjustment's, RMS {rms:.3f} mm"
        )
    if shares:
        print(
            f"{'mean':24s} {'':14s} {np.mean(shares, axis=0)[0]:4.0%} inside, {np.mean(shares, axis=0)[1]:4.0%} of the adjustment's"
        )


if __name__ == "__main__":
    main(*sys.argv[1:])
