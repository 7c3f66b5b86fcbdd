"""Sizes, bows and their uncertainties of outlines whose geometry is worked out on paper."""

import math

import numpy as np
import pytest

from blockcheck.measuring.sides import (
    BY_HAND_PX,
    CLOTH_HEIGHT_U,
    FRAY,
    SHARP_PX,
    measure_outline,
    sides_of,
    straight_line,
)
from blockcheck.settings import Settings
from blockcheck.vision.cloth.outline import Outline, Side
from blockcheck.vision.plane.lens import Camera
from blockcheck.vision.plane.plane import Plane

HEIGHT = 0.5  # of cloth, unless told
CAMERA_MM = 400.0
# straight above the mat: 4 px to a millimetre of it
LEVEL = Plane(Camera(np.eye(3), np.array([0, 0, CAMERA_MM]), 1600.0, 0, 0, 800, 600), {}, (), 0.0)
# a rectangle of 100 x 40 with a triangle of 30, 40, 50 at its right
TRAPEZOID = np.array([[0.0, 0.0], [100, 0], [130, 40], [0, 40]])
OBLONG = np.array([[-80.0, -60.0], [80, -60], [80, 60], [-80, 60]])
HOW = {"sigma_px": 0.0, "support": 1.0}


def outwards(a, b):
    along = (b - a) / np.linalg.norm(b - a)
    return np.array([along[1], -along[0]])


def outline(corners, beside=lambda side, t: 0.0 * t, n=200, **how):
    """An outline as the level camera sees it; `beside` says how far out each side's points lie."""
    t, sides = np.linspace(0, 1, n), []
    for k in range(4):
        a, b = corners[k], corners[(k + 1) % 4]
        points = a + t[:, None] * (b - a) + beside(k, t)[:, None] * outwards(a, b)
        sides.append(Side(LEVEL.px_from_mm(points, HEIGHT), **{**HOW, **how}))
    return Outline(LEVEL.px_from_mm(corners, HEIGHT), tuple(sides))


def measured(*words, **how):
    return measure_outline(outline(*words, **how), LEVEL, Settings.of())


def values(estimates):
    return [e.value for e in estimates]


def test_a_trapezoid_comes_out_as_on_paper():
    block = measured(TRAPEZOID)
    np.testing.assert_allclose(values(block.sides_mm), [100, 50, 130, 40], atol=1e-5)
    np.testing.assert_allclose(values(block.diagonals_mm), np.hypot([130, 100], 40), atol=1e-5)
    sharp = math.degrees(math.atan2(40, 30))
    np.testing.assert_allclose(values(block.angles_deg), [90, 180 - sharp, sharp, 90], atol=1e-4)
    # between the middles of opposite sides
    assert block.width_mm.value == pytest.approx((100 + 130) / 2)
    assert block.height_mm.value == pytest.approx(math.hypot(15, 40))
    assert max(values(block.bow_mm)) < 1e-6
    np.testing.assert_allclose(block.corners_px, LEVEL.px_from_mm(TRAPEZOID, HEIGHT), atol=1e-4)


def test_a_bow_is_how_far_the_edge_departs_from_its_side():
    """A parabola 3 mm high: its line of least squares lies two thirds of that out."""
    block = measured(OBLONG, lambda side, t: 3.0 * (side == 1) * 4 * t * (1 - t))
    seen = 0.46  # of the side to each side of its middle: 4 % is left out at each end
    assert values(block.bow_mm) == pytest.approx([0, 3 * 8 / 3 * seen**2, 0, 0], abs=0.02)
    out = 3 * (1 - 4 / 3 * seen**2)  # where the line lies
    assert block.width_mm.value == pytest.approx(160 + out, abs=0.01)
    # corner 1, then seven places along the right side
    at = np.arange(1, 14, 2) / 14
    np.testing.assert_allclose(
        block.outline_mm[9:16], np.column_stack([80 + 12 * at * (1 - at), 120 * at - 60]), atol=0.02
    )
    np.testing.assert_allclose(block.outline_mm[8], [80, -60], atol=0.4)


def test_the_outline_of_straight_sides_runs_through_the_corners():
    block = measured(TRAPEZOID)
    np.testing.assert_allclose(block.outline_mm[::8], TRAPEZOID, atol=1e-5)
    np.testing.assert_allclose(
        block.outline_mm[4::8], [[50, 0], [115, 20], [65, 40], [0, 20]], atol=1e-5
    )


def test_what_the_ends_of_a_side_do_is_left_out():
    """Dog-ears of 3 mm on the outermost 3.9 % change nothing; on 6 % they do."""
    rough = np.random.default_rng(2).normal(0, 0.5, (4, 200))
    width = {
        part: measured(
            OBLONG, lambda side, t, part=part: rough[side] + 3.0 * (np.abs(t - 0.5) > 0.5 - part)
        ).width_mm.value
        for part in (0.0, 0.039, 0.06)
    }
    assert width[0.039] == pytest.approx(width[0.0], abs=1e-9)
    assert width[0.06] > width[0.0] + 0.01


def test_threads_that_hang_out_do_not_move_a_side():
    """Every tenth point 5 mm out of an edge that scatters by 0.05 mm."""
    rng = np.random.default_rng(1)
    points = np.column_stack([np.linspace(0, 150, 300), rng.normal(10, 0.05, 300)])
    points[::10, 1] += 5
    point, along, off, weight = straight_line(points, np.array([-1.0, 0.1]))
    assert point[1] == pytest.approx(10, abs=0.05)
    np.testing.assert_allclose(along, [-1, 0], atol=1e-3)  # the way it was asked about
    assert weight[::10].max() < 0.05
    assert np.median(np.delete(weight, np.s_[::10])) == 1
    np.testing.assert_allclose(np.abs(off[::10]), 5, atol=0.3)


@pytest.mark.parametrize("k", range(4))
def test_corners_move_with_a_side_that_is_shifted_or_turned(k):
    """The derivatives against an outline whose side really lies elsewhere."""
    sides = sides_of(outline(TRAPEZOID), LEVEL, HEIGHT)
    length = np.linalg.norm(TRAPEZOID[(k + 1) % 4] - TRAPEZOID[k])
    moves = (lambda t: 0.01 + 0 * t, lambda t: (0.5 - t) * 1e-4 * length)
    for column, move in zip((2 * k, 2 * k + 1), moves, strict=True):
        moved = sides_of(
            outline(TRAPEZOID, lambda side, t, move=move: (side == k) * move(t)), LEVEL, HEIGHT
        )
        step = 0.01 if column % 2 == 0 else 1e-4
        np.testing.assert_allclose(
            (moved.corners - sides.corners).ravel() / step, sides.by_side[:, column], atol=0.05
        )


def test_cloth_that_lies_higher_comes_out_smaller():
    """Pinhole geometry: a height h above the mat is seen h ÷ camera distance too large."""
    block = measured(OBLONG)
    terms = {t.name: t.u for t in block.width_mm.budget}
    assert set(terms) == {"cloth height", "edge fit", "waviness"}
    assert terms["cloth height"] == pytest.approx(
        160 * CLOTH_HEIGHT_U / (CAMERA_MM - HEIGHT), rel=0.01
    )


def test_the_corners_covariance_is_that_of_the_sizes():
    """Width: half of what the two right corners' x and the two left ones' differ by."""
    block = measured(OBLONG, sigma_px=8.0)
    by_x = np.array([-0.5, 0, 0.5, 0, 0.5, 0, -0.5, 0])
    assert by_x @ block.corners_cov_mm2 @ by_x == pytest.approx(block.width_mm.u**2, rel=1e-3)
    by_y = np.array([0, -0.5, 0, -0.5, 0, 0.5, 0, 0.5])
    assert by_y @ block.corners_cov_mm2 @ by_y == pytest.approx(block.height_mm.u**2, rel=1e-3)


def uncertainties(**how):
    return sides_of(outline(OBLONG, **how), LEVEL, HEIGHT)


def added(wide, narrow):
    """What was added in quadrature to a side's shift."""
    return np.sqrt(wide[::2] ** 2 - narrow[::2] ** 2)


def test_what_the_photo_leaves_open_adds_to_each_side():
    """Scatter of n points, a band of equal chances (JCGM 100, 4.3.7), a hand: each in quadrature."""
    plain, px_per_mm = uncertainties(), LEVEL.px_per_mm(np.zeros(2))
    n = np.sum(np.abs(np.linspace(-0.5, 0.5, 200)) < 0.46)
    noisy = uncertainties(sigma_px=8.0)
    np.testing.assert_allclose(
        added(noisy.photo_u, plain.photo_u), 8 / px_per_mm / math.sqrt(n), rtol=1e-6
    )
    blind = uncertainties(blind_px=SHARP_PX + 6)
    np.testing.assert_allclose(
        added(blind.photo_u, plain.photo_u), 6 / px_per_mm / math.sqrt(12), rtol=1e-6
    )
    assert (uncertainties(blind_px=SHARP_PX).photo_u == plain.photo_u).all()
    by_hand = uncertainties(by_hand=True)
    np.testing.assert_allclose(
        added(by_hand.photo_u, plain.photo_u), BY_HAND_PX / px_per_mm, rtol=1e-6
    )
    frayed = uncertainties(spread_px=5.0)
    np.testing.assert_allclose(
        added(frayed.cloth_u, plain.cloth_u), FRAY * 5 / px_per_mm, rtol=1e-6
    )
    assert (frayed.photo_u == plain.photo_u).all()


def test_a_wavy_side_is_the_less_sure_the_less_of_it_is_seen():
    """Eight waves to a side: each half millimetre (RMS) that is not seen counts as one of eight."""

    def wave(side, t):
        return 0.5 * math.sqrt(2) * np.sin(16 * math.pi * t) * (side == 2)

    seen = {s: sides_of(outline(OBLONG, wave, support=s), LEVEL, HEIGHT) for s in (1.0, 0.5)}
    assert seen[0.5].wave_u[4] == pytest.approx(0.5 * math.sqrt(0.5 / 8), rel=0.05)
    assert seen[1.0].wave_u[4] == pytest.approx(0.5 * math.sqrt(0.05 / 8), rel=0.05)
    assert seen[0.5].wave_u[[0, 2, 6]].max() < 1e-3


def test_a_turn_is_as_sure_as_a_shift_is_over_half_the_side():
    sides = uncertainties(sigma_px=8.0)
    half = np.array([160, 120, 160, 120]) / math.sqrt(12)
    np.testing.assert_allclose(sides.photo_u[1::2] / sides.photo_u[::2], 0.6 / half, rtol=1e-6)
    np.testing.assert_allclose(sides.cloth_u[1::2] / sides.cloth_u[::2], 0.6 / half, rtol=1e-6)
