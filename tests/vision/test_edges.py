"""Raw edges on mats printed as real ones are, frayed, and of the print's own colours."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import blockcheck
from blockcheck.vision.cloth.evidence import Colours, log_cloth
from blockcheck.vision.cloth.looks import Looks, learnt
from blockcheck.vision.cloth.mat_looks import median_known
from blockcheck.vision.cloth.printed import _middle_of_nine
from blockcheck.vision.cloth.small_picture import Small
from fixtures.make import quad
from fixtures.prints import printed
from fixtures.scene import Block, Camera, Card, Mat, Scene, save, truth

PHONE = Camera(width=2000, height=1500, f_px=1450, tilt_deg=3.0, distance_mm=330)
CARD = Card("A", (100, -30), 8)
GREEN = Mat(colour=(24, 120, 104), lines_mm=10.0, line_colour=(226, 226, 120), line_width_mm=0.45)
MAT = printed(GREEN, (-150.0, -110.0, 180.0, 110.0))
PINK, GOLD, NEAR = (214, 186, 170), (206, 196, 92), (36, 112, 84)
DARK = (120, 40, 50)


def errors_mm(scene, tmp_path):
    """Width and height of the one block found, less the truth, over U95 and in mm."""
    save(scene, tmp_path / "p.jpg", quality=93)
    result = blockcheck.measure_photo(tmp_path / "p.jpg", card_side="4in")
    assert result.ok, result.problems
    (block,), (true,) = result.blocks, truth(scene)["blocks"]
    found = [(block.width_mm, true["width_mm"]), (block.height_mm, true["height_mm"])]
    return np.array([(f.value - t, f.u95) for f, t in found])


def block(inside_mm, colour, bottom=90.0, **more):
    """A block whose sides run along printed lines, `inside_mm` inside them."""
    left, top, right = -130.0, -80.0, 20.0
    d = inside_mm
    corners = (
        (left + d, top + d),
        (right - d, top + d),
        (right - d, bottom - d),
        (left + d, bottom - d),
    )
    return Block(corners, cloth="dots", colours=(colour, (120, 40, 50)), wave_mm=0.08, **more)


@pytest.mark.parametrize(
    ("inside_mm", "colour"),
    [(0.0, PINK), (0.4, PINK), (1.2, PINK), (0.4, GOLD), (1.2, GOLD), (0.4, NEAR)],
)
def test_sides_along_printed_lines(inside_mm, colour, tmp_path):
    """Cloth of its own colour, of the ink's and of nearly the mat's beside lines that wander."""
    scene = Scene(PHONE, MAT, (CARD,), (block(inside_mm, colour),), seed=11)
    error, u95 = errors_mm(scene, tmp_path).T
    assert (np.abs(error) < 1.5 * u95).all()  # cloth of the ink's colour half a mm from it: 1.1
    assert np.abs(error).max() < 0.5


@pytest.mark.parametrize(("bottom", "colour"), [(112.1, PINK), (112.7, GOLD)])
def test_numbers_before_a_side_are_not_cloth(bottom, colour, tmp_path):
    """The block covers the last line; a row of numbers of the ink's colour lies just past it."""
    scene = Scene(PHONE, MAT, (CARD,), (block(0.4, colour, bottom=bottom),), seed=11)
    error, u95 = errors_mm(scene, tmp_path).T
    assert np.abs(error[1]) < u95[1]
    assert np.abs(error[0]) < 1.5 * u95[0]  # as above, of cloth beside lines of its colour


def test_yarns_beyond_the_body_are_not_measured(tmp_path):
    cloth = Block(quad(130, 150, (-55, 0), 6), cloth="dots", colours=(PINK, GOLD), fringe_mm=2.5)
    scene = Scene(PHONE, MAT, (CARD,), (cloth,), seed=13)
    error, u95 = errors_mm(scene, tmp_path).T
    assert (np.abs(error) < u95).all()


def test_fray_widens_the_uncertainty(tmp_path):
    wide = []
    for fringe in (0.0, 2.5):
        cloth = Block(quad(130, 150, (-55, 0), 6), colours=(PINK, GOLD), fringe_mm=fringe)
        wide.append(errors_mm(Scene(PHONE, MAT, (CARD,), (cloth,), seed=13), tmp_path)[:, 1].sum())
    assert wide[1] > wide[0]


def test_print_that_cannot_be_followed_is_not_taken_for_cloth(tmp_path):
    """Lines too crooked for a lattice: the line beside an edge is told from cloth, or it is refused."""
    crooked = printed(GREEN, (-150.0, -110.0, 180.0, 110.0), wander_mm=0.4)
    scene = Scene(PHONE, crooked, (CARD,), (block(1.2, PINK),), seed=11)
    save(scene, tmp_path / "p.jpg", quality=93)
    result = blockcheck.measure_photo(tmp_path / "p.jpg", card_side="4in")
    assert not result.blocks
    assert result.problems[-1].code == "edge_not_found"


def test_what_is_known_of_a_side_is_kept_where_nothing_is_learnt_of_it():
    """A strip that only one side has, little unlike the mat: the other sides do not unlearn it."""
    rng = np.random.default_rng(3)
    teal, strip, mat = (np.array(c, float) for c in ((45, 94, 92), (76, 95, 85), (84, 89, 90)))
    seen = np.vstack([np.tile(teal, (900, 1)), np.tile(strip, (100, 1))])
    known = Colours.learn(seen + rng.normal(0, 2, seen.shape))
    looks = Looks(known, np.tile(known.share, (4, 12, 1)), np.tile(mat, (4, 12, 1)), 4.0)
    rows, width = 60, 20
    colour = np.empty((rows, 4 * 12 * width, 3), np.float32)
    colour[:30], colour[30:] = mat, teal
    colour[30:, -12 * width :] = strip
    sound = np.array([True, True, True, False])
    outside = (np.arange(rows)[:, None] < 30) & np.ones(colour.shape[1], bool)
    inside = ~outside & np.repeat(sound, 12 * width)
    found, each = learnt(looks, colour, known.log_each(colour), outside, inside, sound)
    share = np.repeat(found.share.reshape(48, -1), width, axis=0)
    before = log_cloth(known.log_each(colour), np.tile(known.share, (len(share), 1)))
    after = log_cloth(each, share)
    assert np.allclose(after[45, -12 * width :], before[45, -12 * width :], atol=1e-3)
    assert after[45, 0] > before[45, 0]  # what the other sides show is learnt


@given(st.integers(0, 2**32 - 1))
def test_medians_are_medians(seed):
    rng = np.random.default_rng(seed)
    nine = rng.integers(0, 256, (7, 9, 3), np.uint8)
    assert (_middle_of_nine(nine) == np.median(nine, axis=1)).all()
    known = rng.normal(size=(4, 6))
    known[rng.random(known.shape) < 0.4] = np.nan
    expected = [
        [np.median(row[np.isfinite(row)]) if np.isfinite(row).any() else np.nan] for row in known
    ]
    assert np.array_equal(median_known(known), expected, equal_nan=True)


def test_yarn_ends_do_not_draw_the_edge_out(tmp_path):
    """Short ones, two of five places, are too fine for this photo; the body's edge is steeper."""
    found = []
    for fringe in (0.0, 0.4):
        cloth = Block(
            quad(130, 150, (-55, 0), 6), cloth="dots", colours=(PINK, DARK), fringe_mm=fringe
        )
        found.append(errors_mm(Scene(PHONE, MAT, (CARD,), (cloth,), seed=14), tmp_path)[:, 0])
    assert np.abs(found[1]).max() < 0.12
    assert (found[1] - found[0]).max() < 0.24  # of two sides, of which each reaches out 0.4 mm


def test_a_weave_that_shows_lines_here_and_there_is_no_shade_of_the_mat():
    rng = np.random.default_rng(5)
    light = np.full((1000, 1500, 3), (58.0, 60.0, 54.0))
    light[300:700, 500:1000] = (84.0, 88.0, 94.0)
    rgb = np.rint(light + rng.normal(0, 12, light.shape)).astype(np.uint8)
    xs, ys = np.arange(20, 1500, 40.0), np.arange(20, 1000, 40.0)
    x, y = (v.ravel() for v in np.meshgrid(xs[:-1], ys[:-1]))
    along = np.stack([np.stack([x, y], 1), np.stack([x + 40, y], 1)], axis=1)
    down = np.stack([np.stack([x, y], 1), np.stack([x, y + 40], 1)], axis=1)
    segments = np.concatenate([along, down])
    middle = segments.mean(axis=1)
    cloth = ((middle > (500, 300)) & (middle < (1000, 700))).all(axis=1)
    small = Small.of(rgb, [], segments, ~cloth | (rng.random(len(cloth)) < 0.4))
    mat = small.mat_beside_lines()
    off = small.unlike(mat)
    s = small.scale
    assert (
        off[300 // s + 5 : 700 // s - 5, 500 // s + 5 : 1000 // s - 5] > mat.limit
    ).mean() > 0.95
