"""Does U95 hold? Seeded trials for every kind of reference, from observations with noise.

Each trial draws camera, lens, print scale, mat scale and heights from what the adjustment takes
for granted, makes the points and lines that the photo would show (own projection here: OpenCV's),
adjusts, and asks whether a true length lies inside its U95 (JCGM 101, as a check of JCGM 100).
"""

from dataclasses import replace
from functools import cache
from itertools import pairwise

import cv2
import numpy as np
import pytest
from scipy.stats import binom, chi2, norm

from blockcheck.vision.plane.adjust import adjust, first_camera
from blockcheck.vision.plane.lens import LensPrior
from blockcheck.vision.plane.reference import Reference
from blockcheck.vision.references.card import MEASURED_SCALE, one_printer
from blockcheck.vision.references.mat_lines import MAT_SCALE, MAT_SKEW, MAT_STRETCH
from blockcheck.vision.references.square import SQUARE_SCALE

TRIALS = 240
SIZE = (4000, 3000)
PRIOR = LensPrior.of_photo(SIZE, 26.0)
SQUARE_MM = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]) * 101.6


def saddles(columns, rows, square_mm):
    """(N, 2) inner corners of a board."""
    x, y = np.arange(1, columns) * square_mm, np.arange(1, rows) * square_mm
    return np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)


CARD, SHEET = saddles(5, 5, 20.32), saddles(7, 9, 25.4)


class World:
    """What is true in one trial; the mat is z = 0, things lie on it by place and turn."""

    def __init__(self, rng):
        self.rng = rng
        lens = rng.multivariate_normal(np.zeros(5), PRIOR.covariance)
        f = PRIOR.f * np.exp(lens[0])
        self.K = np.array([[f, 0, PRIOR.cx + lens[3]], [0, f, PRIOR.cy + lens[4]], [0, 0, 1]])
        k3, *warp, self.stretch, self.shear = rng.normal(0, PRIOR.warp_sigma)
        self.k = np.array([lens[1], lens[2], 0, 0, k3])
        self.warp = np.array(warp).reshape(2, 7)
        tilt = rng.normal(0, np.radians(6), 2)
        self.turn = np.array([*tilt, rng.normal(0, 0.1)])
        self.shift = np.array([*rng.normal(0, 10, 2), rng.uniform(390, 470)])
        self.print_scale = np.exp(rng.normal(0, MEASURED_SCALE))

    def px(self, points_mm, height_mm=0.0):
        """Pixels of (N, 2) points of the mat at a height."""
        X = np.column_stack([points_mm, np.full(len(points_mm), -height_mm)])
        seen = cv2.projectPoints(X, self.turn, self.shift, self.K, self.k)[0].reshape(-1, 2)
        u, v = cv2.projectPoints(X, self.turn, self.shift, np.eye(3), None)[0].reshape(-1, 2).T
        powers = np.array([u * u, u * v, v * v, u**3, u * u * v, u * v * v, v**3])
        linear = self.stretch * np.array([u, -v]) + self.shear * np.array([v, u])
        return seen + self.K[0, 0] * (self.warp @ powers + linear).T

    def place(self, points_mm, centre, scale):
        """Lay a thing's own points on the mat, roughly at `centre`, somehow turned."""
        turn = self.rng.uniform(-0.3, 0.3)
        R = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        own = points_mm - points_mm.mean(0)
        return scale * own @ R.T + centre + self.rng.uniform(-10, 10, 2)

    def board(self, kind, points_mm, centre):
        """Return a card or sheet: all come from one printer, so their scale is one."""
        seen = self.px(self.place(points_mm, centre, self.print_scale), self.rng.normal(0.2, 0.1))
        seen = seen + self.rng.normal(0, 0.07, seen.shape)
        return Reference(kind, kind, points_mm, seen, None, 0.06, MEASURED_SCALE, 0.2, 0.1)

    def square(self, centre):
        """Return a plain square's four edges, sixty places on each."""
        t = np.linspace(0.08, 0.92, 60)[:, None]
        corners = [*SQUARE_MM, SQUARE_MM[0]]
        points = np.vstack([a + t * (b - a) for a, b in pairwise(corners)])
        scale, height = np.exp(self.rng.normal(0, SQUARE_SCALE)), self.rng.normal(0.2, 0.1)
        laid = self.place(np.vstack([points, SQUARE_MM]), centre, scale)
        ends = self.px(laid[240:], height)
        along = np.repeat(np.roll(ends, -1, axis=0) - ends, 60, axis=0)
        return self._lines("square", points, self.px(laid[:240], height), along, 0.3, SQUARE_SCALE)

    def mat(self):
        """Return the mat's lines where no block hides them, with scale, stretch and skew."""
        i, j = np.meshgrid(np.arange(-11, 12), np.arange(-8, 9), indexing="ij")
        cells = np.column_stack([i.ravel(), j.ravel()]).astype(float)
        middles = np.vstack([cells + np.array([0, 0.5]), cells + np.array([0.5, 0])]) * 25.4
        ends = np.vstack([cells + np.array([0, 1]), cells + np.array([1, 0])]) * 25.4
        stretch, skew = self.rng.normal(0, (MAT_STRETCH, MAT_SKEW))
        scale = np.exp(self.rng.normal(0, MAT_SCALE))
        A = scale * np.array([[1 + stretch, skew], [skew, 1 - stretch]])
        turn = self.rng.uniform(-0.3, 0.3)
        R = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        laid, laid_ends = middles @ (R @ A).T, ends @ (R @ A).T
        seen = self.px(laid)
        free = np.all((seen > 0) & (seen < SIZE), axis=1)
        free &= ~((np.abs(laid[:, 0] - 40) < 80) & (np.abs(laid[:, 1]) < 130))
        free &= self.rng.random(len(free)) < 0.4  # worn, dashed or covered
        along = (self.px(laid_ends) - seen)[free]
        return self._lines("grid", middles[free], seen[free], along, 0.15, MAT_SCALE)

    def _lines(self, kind, points_mm, seen_px, along_px, sigma, scale_sigma):
        unit = along_px / np.linalg.norm(along_px, axis=1, keepdims=True)
        normals = np.column_stack([unit[:, 1], -unit[:, 0]])
        across, sideways = self.rng.normal(0, sigma, (2, len(seen_px), 1))
        seen = seen_px + across * normals + 3 * sideways * unit  # along it nothing is known
        raised = kind == "square"
        return Reference(
            kind,
            kind,
            points_mm,
            seen,
            normals,
            sigma,
            scale_sigma,
            0.2 if raised else 0.0,
            0.1 if raised else 0.0,
            stretch_sigma=0.0 if raised else MAT_STRETCH,
            skew_sigma=0.0 if raised else MAT_SKEW,
        )

    def length(self, plane):
        """True length and the plane's estimate: a side of a block of 6 to 17 in, anywhere."""
        middle, half = self.rng.uniform(-60, 60, 2), self.rng.uniform(76, 216)
        angle = self.rng.uniform(0, np.pi)
        ends = middle + half * np.array([[1], [-1]]) * np.array([np.cos(angle), np.sin(angle)])
        return 2 * half, plane.length(*self.px(ends))


LEFT, RIGHT, BELOW = np.array([-150.0, -60]), np.array([190.0, 60]), np.array([-60.0, 120])
KINDS = {
    "card": lambda w: [w.board("card", CARD, LEFT)],
    "two cards": lambda w: one_printer([w.board("card", CARD, LEFT), w.board("card", CARD, RIGHT)]),
    "sheet": lambda w: [w.board("sheet", SHEET, LEFT)],
    "square": lambda w: [w.square(LEFT)],
    "square and mat lines": lambda w: [w.square(LEFT), w.mat()],
    "mat lines": lambda w: [w.mat()],
    "card and mat lines": lambda w: [w.board("card", CARD, LEFT), w.mat()],
    "sheet and card": lambda w: one_printer(
        [w.board("sheet", SHEET, LEFT), w.board("card", CARD, RIGHT)]
    ),
}


@cache
def misses(references_of, seed, trials=TRIALS):
    """(trials,) departures from the truth in units of U95."""
    rng = np.random.default_rng([2026, *seed.encode()])
    found = []
    for _ in range(trials):
        world = World(rng)
        references = references_of(world)
        plane = adjust(references, PRIOR, first_camera(PRIOR, references[0]))
        true, estimate = world.length(plane)
        found.append((estimate.value - true) / estimate.u95)
    return np.array(found)


# fewer would be inside once in a thousand if 93 % were true
LEAST = binom.ppf(1e-3, TRIALS, 0.93)
# if 99 % were true, the misses' mean square would be less once in a thousand; their number
# tells nothing there, as all 240 would be inside once in eleven
NARROWEST = chi2.ppf(1e-3, TRIALS) / TRIALS / norm.ppf(0.995) ** 2


@pytest.mark.parametrize("kind", KINDS)
def test_u95_holds(kind):
    """93 to 99 % of lengths inside; the tolerance is what chance leaves of so many trials."""
    off = misses(KINDS[kind], kind)
    assert np.sum(np.abs(off) <= 1) >= LEAST
    assert np.mean(off**2) >= NARROWEST


def test_the_study_notices_a_wrong_uncertainty():
    """Mat lines taken for four times as exact as they are; U95 doubled."""
    off = misses(lambda w: [replace(w.mat(), scale_sigma=MAT_SCALE / 4)], "mat lines")
    assert np.sum(np.abs(off) <= 1) < LEAST
    off = misses(KINDS["mat lines"], "mat lines")
    assert np.mean((off / 2) ** 2) < NARROWEST


def flat_card(scale_sigma, height_sigma):
    """Budget of 100 mm beside a card, camera straight above at 400 mm, lens known."""
    known = replace(PRIOR, covariance=1e-10 * PRIOR.covariance)
    camera = known.camera(np.eye(3), np.array([-40.0, -40, 400]))
    level = np.column_stack([CARD, np.full(len(CARD), -0.2)])
    card = Reference(
        "card A", "card", CARD, camera.project(level), None, 0.06, scale_sigma, 0.2, height_sigma
    )
    ends = camera.project(np.array([[0.0, -20, 0], [100, -20, 0]]))
    estimate = adjust([card], known, camera).length(*ends)
    return estimate, {term.name: term.u for term in estimate.budget}


def test_the_budgets_terms_are_what_they_say_and_add_up():
    """Print scale: 0.1 % of the length. Card height: a length seen h too near is h / Z too long."""
    estimate, terms = flat_card(0.001, 0.1)
    assert estimate.value == pytest.approx(100, abs=0.01)
    assert terms["print scale"] == pytest.approx(0.1, rel=0.01)
    assert terms["card height"] == pytest.approx(100 * 0.1 / 400, rel=0.02)
    assert estimate.u == pytest.approx(np.sqrt(sum(u**2 for u in terms.values())), rel=1e-12)
    assert estimate.u95 == 2 * estimate.u


def test_what_is_known_has_no_term():
    _, before = flat_card(0.001, 0.1)
    _, after = flat_card(0.0, 0.0)
    assert set(after) == {"adjustment"}
    assert after["adjustment"] == pytest.approx(before["adjustment"], rel=0.02)
