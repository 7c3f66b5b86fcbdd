"""What each reference can carry: the ± of a 9 in side, and how often the truth lies inside.

    PYTHONPATH=.:tests/vision python docs/benchmarks/references.py 240

So many drawn photos of each kind, as in `tests/vision/test_coverage.py`: 12 megapixels, camera 15
to 19 in above, the cloth's part left out. Last, a card alone in photos of a phone whose lens has a
profile, made anew each time from six drawn photos of the sheet as in `test_calibrate.py`; with that
profile and without.
"""

import sys
from dataclasses import replace

import numpy as np
from test_calibrate import SHEET, planes_of, seen
from test_coverage import CARD, KINDS, LEFT, PRIOR, SIZE, World

from blockcheck.vision.plane.adjust import adjust, first_camera
from blockcheck.vision.plane.calibrate import calibrate
from blockcheck.vision.plane.lens import LensPrior, between_photos

HALF_MM = 4.5 * 25.4
TRIALS = int(sys.argv[1]) if len(sys.argv) > 1 else 40


def side(world, references, prior=PRIOR):
    """U95 of the side, and whether the truth lies inside."""
    plane = adjust(references, prior, first_camera(prior, references[0]))
    angle = world.rng.uniform(0, np.pi)
    middle, way = world.rng.uniform(-60, 60, 2), np.array([np.cos(angle), np.sin(angle)])
    estimate = plane.length(*world.px(middle + HALF_MM * np.array([[1], [-1]]) * way))
    return estimate.u95, abs(estimate.value - 2 * HALF_MM) <= estimate.u95


def say(kind, found):
    """One line: median ± in inches, part inside."""
    u95, inside = np.array(found).T
    print(f"{kind:24} ± {np.median(u95) / 25.4:.3f} in, {inside.mean():.1%} inside", flush=True)


def with_a_profile(rng):
    """A photo's world and what the profile of its phone says of its lens."""
    lens, off = np.linalg.cholesky(PRIOR.covariance) @ rng.normal(size=5), between_photos(SIZE)
    found = calibrate(planes_of(SHEET, seen(rng, PRIOR, lens, 6), PRIOR), PRIOR, off).lens
    covariance = found.covariance + np.diag(off**2)
    prior: LensPrior = replace(found, covariance=covariance, warp_sigma=PRIOR.warp_sigma)
    world = World(rng)
    f, k1, k2, cx, cy = lens + off * rng.normal(size=5)
    world.K[0, 0] = world.K[1, 1] = PRIOR.f * np.exp(f)
    world.K[:2, 2] = PRIOR.cx + cx, PRIOR.cy + cy
    world.k[:2] = k1, k2
    return world, prior


def main():
    for kind, references_of in KINDS.items():
        rng, found = np.random.default_rng([9, *kind.encode()]), []
        for _ in range(TRIALS):
            world = World(rng)
            found.append(side(world, references_of(world)))
        say(kind, found)
    rng = np.random.default_rng(99)
    plain, known = [], []
    for _ in range(TRIALS):
        world, prior = with_a_profile(rng)
        card = [world.board("card", CARD, LEFT)]
        plain.append(side(world, card))
        known.append(side(world, card, prior))
    say("card, no profile", plain)
    say("card, with a profile", known)


if __name__ == "__main__":
    main()
