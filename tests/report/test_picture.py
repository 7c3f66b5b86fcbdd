"""The annotated picture: drawn where it should be, within its limits, on any photo."""

from dataclasses import dataclass

import numpy as np
import pytest
from PIL import Image

from blockcheck.errors import Doubtful, Problem
from blockcheck.report.picture import annotate, write_picture
from blockcheck.uncertainty import Estimate, Term

PX_PER_MM = 8.0


@dataclass(frozen=True)
class Block:
    corners_px: np.ndarray
    sides_mm: tuple
    angles_deg: tuple
    width_mm: Estimate
    height_mm: Estimate


@dataclass(frozen=True)
class Seen:
    name: str
    outline_px: np.ndarray | None


@dataclass(frozen=True)
class Plane:
    references: tuple = ()

    def px_from_mm(self, points_mm, height_mm=0.0):
        return np.asarray(points_mm) * PX_PER_MM + 40


def rectangle(x, y, w, h):
    return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], float)


def block(x, y, w, h):
    wide, high = (Estimate(v / PX_PER_MM, (Term("fit", 0.1),)) for v in (w, h))
    return Block(rectangle(x, y, w, h), (wide, high, wide, high), (Estimate(90.0),) * 4, wide, high)


def photo(width=3000, height=2250):
    return np.full((height, width, 3), 120, np.uint8)


CARD = Seen("card A", rectangle(300, 300, 800, 800))
MAT = Seen("mat lines 1 in", None)
WARNING = Problem("tilted", "warning", "The camera was tilted by 14 degrees.", "Hold it level.")


def changed(rgb, drawn):
    """Return the drawn picture beside the untouched grey, and where it differs."""
    return (drawn.astype(int) != 120).any(axis=2)


def test_everything_is_drawn_in_its_place():
    rgb = photo()
    drawn = annotate(rgb, [block(1500, 700, 1000, 900)], Plane((CARD, MAT)))
    marks = changed(rgb, drawn)
    k = 2000 / 3000
    for x, y in ((1700, 700), (2500, 800), (1700, 1600), (1500, 800)):  # on each side, off labels
        assert marks[round(y * k), round(x * k)]
    assert marks[round(300 * k) - 4 : round(300 * k) + 4, 240:300].any()  # the card's outline
    assert marks[round(1150 * k), round(2000 * k) - 60 : round(2000 * k) + 60].any()  # the size
    for x, y in ((2000, 640), (2000, 1660), (1300, 1150), (2650, 1150)):  # lengths beside the sides
        assert marks[round(y * k), round(x * k)]
    assert not marks[1200:1400, 1400:].any()  # nothing where nothing was measured
    assert (rgb == 120).all()  # the photo itself stays as it was


def test_outline_is_white_around_dark():
    drawn = annotate(photo(), [block(1500, 700, 1000, 900)], None).astype(int)
    profile = drawn[round(1150 * 2 / 3) + 150, 980:1020].sum(axis=1) / 3
    dark = np.flatnonzero(profile < 60)
    bright = np.flatnonzero(profile > 220)
    assert len(dark) >= 3
    assert bright[0] < dark[0]
    assert bright[-1] > dark[-1]


@pytest.mark.parametrize("shape", [(4000, 3000), (3000, 4000), (600, 400), (2000, 2000)])
def test_size_limit(shape):
    rgb = photo(*shape)
    drawn = annotate(rgb, [], Plane())
    assert drawn.dtype == np.uint8
    assert max(drawn.shape[:2]) == min(2000, max(shape))
    assert drawn.shape[1] / drawn.shape[0] == pytest.approx(shape[0] / shape[1], rel=0.002)


def test_text_is_at_least_a_fortieth_of_the_width():
    """The band grows by one line of text for the one line of words."""
    plain = annotate(photo(), [], None)
    drawn = annotate(photo(), [], None, problems=(WARNING,))
    band = drawn[len(plain) :]
    assert len(band) > plain.shape[1] / 40
    ink = np.flatnonzero((band > 128).all(axis=2).any(axis=1))
    assert ink[-1] - ink[0] + 1 >= plain.shape[1] / 40


def test_words_change_with_unit_and_problems():
    one = [block(1500, 700, 1000, 900)]
    inches = annotate(photo(), one, Plane((CARD,)))
    cm = annotate(photo(), one, Plane((CARD,)), unit="cm")
    assert inches.shape == cm.shape
    assert (inches != cm).any()
    long = Problem("tilted", "warning", "word " * 60, "")
    assert len(annotate(photo(), one, Plane((CARD,)), problems=(long, WARNING))) > len(inches) + 200


def test_band_tells_each_size():
    """Also for a block that is too small in the picture to carry its size."""
    none = annotate(photo(), [], None)
    one = annotate(photo(), [block(1500, 700, 90, 90)], None)
    two = annotate(photo(), [block(1500, 700, 90, 90), block(500, 700, 90, 90)], None)
    assert len(none) < len(one) < len(two)


def test_scale_bar_is_two_inches_long():
    drawn = annotate(photo(), [], Plane())
    row = drawn[1500 - round(2000 / 34)].astype(int).sum(axis=1)
    dark = np.flatnonzero(row < 150)
    assert dark[-1] - dark[0] == pytest.approx(50.8 * PX_PER_MM * 2 / 3, abs=12)


def test_nothing_found_and_awkward_places():
    assert np.array_equal(annotate(photo(300, 200), [], None), photo(300, 200))
    many = [
        block(0, 0, 3000, 2250),
        block(20, 20, 60, 60),
        block(2900, 2200, 400, 400),
        block(-500, -500, 200, 200),
    ]
    annotate(photo(), many, Plane((CARD, MAT)), problems=(WARNING,))
    annotate(photo(40, 30), many, Plane((CARD, MAT)), problems=(WARNING,))


@pytest.mark.parametrize("name", ["p.jpg", "p.png"])
def test_write(tmp_path, name):
    write_picture(tmp_path / name, photo(), [block(1500, 700, 1000, 900)], Plane((CARD,)))
    with Image.open(tmp_path / name) as image:
        assert image.width == 2000
        assert image.mode == "RGB"


def test_a_side_in_doubt_is_heavier_than_the_others_and_named():
    corners = rectangle(900, 600, 1000, 900)
    doubtful = Doubtful(tuple(map(tuple, corners)), (1,))
    problem = Problem("edge_not_found", "error", "The right edge could not be told.", "Look.")
    drawn = annotate(photo(), [], Plane(), problems=(problem,), doubtful=doubtful)
    rows = slice(600, 720)  # below the corners' labels and above the side's
    left, right = (changed(photo(), drawn)[rows, x - 40 : x + 40].sum() for x in (600, 1267))
    assert right > 1.5 * left > 0
    plain = annotate(photo(), [], Plane(), problems=(problem,))
    named = changed(photo(), drawn) & ~changed(photo(), plain)
    assert named[700, 1300:1400].any()  # its name, beside it
    assert not named[700, 400:560].any()
