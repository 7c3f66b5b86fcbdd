"""What is a block at all: grounds, shadows, tools, neighbours and halves in made scenes."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

import blockcheck
from blockcheck.cli import main
from blockcheck.settings import Settings
from blockcheck.vision.cloth.candidates import candidates_on
from blockcheck.vision.cloth.grounds import grounds
from blockcheck.vision.cloth.neighbours import _groove
from blockcheck.vision.cloth.rectangles import fill_best
from blockcheck.vision.cloth.small_picture import CLOTH_MM, Small
from blockcheck.vision.finding import plane_of
from blockcheck.vision.photo import read_photo
from fixtures.make import quad
from fixtures.prints import printed
from fixtures.scene import Block, Camera, Card, Mat, Scene, save, truth
from fixtures.surroundings import (
    blinds,
    checks,
    clear_ruler,
    glare,
    planks,
    shadow,
    stripes,
    tiles,
)

PHONE = Camera(width=1700, height=1275, f_px=1230, tilt_deg=4.0, distance_mm=360)
CARD = Card("A", (110, -40), 8)
GREEN = Mat().colour
PALE = Mat(colour=(205, 205, 200), line_colour=(110, 112, 116))
CREAM, RED, BLUE = (238, 228, 206), (204, 74, 62), (66, 96, 148)
HALF_DARK = shadow([(-300, -300), (-60, -300), (-60, 300), (-300, 300)], 0.4, 2)


def boat(cloth="sailboat", colours=None, size=(150, 190), centre=(-60, 0), turn=3):
    own = {"colours": colours} if colours else {}
    return Block(quad(*size, centre, turn), cloth=cloth, **own)


def measured(tmp_path, blocks, mat=None, **more):
    """What the photo of a scene gives, and what is true."""
    scene = Scene(PHONE, mat or Mat(), more.pop("cards", (CARD,)), tuple(blocks), seed=1, **more)
    save(scene, tmp_path / "p.jpg")
    return blockcheck.measure_photo(tmp_path / "p.jpg", card_side="4in"), truth(scene)["blocks"]


def off_mm(block, true):
    """Errors of width and height."""
    return np.abs(
        [block.width_mm.value - true["width_mm"], block.height_mm.value - true["height_mm"]]
    )


@pytest.mark.parametrize(
    ("cloth", "over"),
    [("sailboat", HALF_DARK), ("ninepatch", clear_ruler((-60, -138), 3))],
    ids=["a person's shadow over half of it", "a clear ruler near it"],
)
def test_what_a_person_would_measure_is_measured(cloth, over, tmp_path):
    result, (true,) = measured(tmp_path, [boat(cloth)], over=(over,))
    assert result.ok, result.problems
    (block,) = result.blocks
    assert off_mm(block, true).max() < 0.5


@pytest.mark.parametrize(
    ("mat", "colours", "over"),
    [
        (Mat((200, 182, 208), lines_mm=None), (BLUE, CREAM), blinds()),
        (Mat((12, 22, 12)), ((30, 60, 170), CREAM), glare((-120, 60), 22, 0.15)),
        (Mat(size_mm=(400, 400)), (BLUE, CREAM), glare((-175, 40), 30, 0.4)),
        (Mat(lines_mm=None, size_mm=(328, 400)), (CREAM, RED), blinds(left=1)),
    ],
    ids=[
        "bars of window light",
        "glare over a corner on a dark mat",
        "glare from a block to the table",
        "a corner on the mat's rim",
    ],
)
def test_light_and_the_rim_of_a_mat_hide_no_block(mat, colours, over, tmp_path):
    block = boat("dots", colours, turn=20)
    result, (true,) = measured(tmp_path, [block], mat, over=(over,))
    assert result.ok, result.problems
    (block,) = result.blocks
    assert (off_mm(block, true) < (block.width_mm.u95, block.height_mm.u95)).all()


@pytest.mark.parametrize(
    ("look", "cloth", "colours"),
    [
        (planks(), "sailboat", None),
        (tiles(), "ninepatch", None),
        (stripes((232, 226, 212), (120, 140, 160), 30, 20), "dots", ((150, 40, 60), CREAM)),
        (checks((228, 222, 210), (120, 150, 140)), "solid", ((216, 190, 60),)),
    ],
    ids=["planks", "tiles", "a striped cover", "a checked cover"],
)
def test_other_grounds_than_mats_serve(look, cloth, colours, tmp_path):
    """With one card alone lengths are less sure, so the U95 is asked and not the error."""
    result, (true,) = measured(tmp_path, [boat(cloth, colours)], Mat(look=look))
    assert result.ok, result.problems
    (block,) = result.blocks
    assert (off_mm(block, true) < (block.width_mm.u95, block.height_mm.u95)).all()


@pytest.mark.parametrize(
    ("cloth", "colours", "mat"),
    [
        ("pennant", (GREEN, RED, BLUE), Mat()),
        ("pennant", (RED, GREEN, GREEN), Mat()),
        ("halves", (GREEN, RED), Mat()),
        ("solid", (GREEN,), Mat()),
        ("gingham", ((235, 232, 226), (60, 90, 80)), PALE),
        ("solid", (RED,), Mat(look=stripes((230, 224, 210), (90, 110, 150), 24, 70))),
    ],
)
def test_a_block_is_all_of_its_cloth_whatever_it_lies_on(cloth, colours, mat, tmp_path):
    """Points of the mat's own colour belong to the block: there the mat's lines are hidden."""
    block = boat(cloth, colours)
    save(Scene(PHONE, mat, (CARD,), (block,), seed=2), tmp_path / "p.jpg")
    photo = read_photo(tmp_path / "p.jpg")
    plane = plane_of(photo, Settings.of(card_side="4in"))
    lines = (plane.mat.segments_px, plane.mat.seen) if plane.mat else (None, None)
    small = Small.of(photo.rgb, [plane.references[0].outline_px], *lines)
    ((found,),) = candidates_on(small, next(grounds(small)), plane)[0]
    seen = truth(Scene(PHONE, mat, (CARD,), (block,)))["blocks"][0]["corners_px"]
    true = plane.mm_from_px(np.array(seen), CLOTH_MM)
    assert np.abs(found.corners_mm - true).max() < 7


@pytest.mark.parametrize(
    ("cloth", "colours"), [("pennant", (GREEN, RED, BLUE)), ("solid", (GREEN,))]
)
def test_sides_of_the_mats_own_colour_are_where_its_lines_end(cloth, colours, tmp_path):
    result, (true,) = measured(tmp_path, [boat(cloth, colours)])
    assert result.ok, result.problems
    (block,) = result.blocks
    assert (off_mm(block, true) < (block.width_mm.u95, block.height_mm.u95)).all()
    assert off_mm(block, true).max() < 0.5


def test_half_of_a_block_on_a_striped_cover_is_no_block(tmp_path):
    """One half is of the cover's colour: past the other, cloth and stripes meet farther on."""
    mat = Mat(look=stripes((232, 226, 212), (120, 140, 160), 30, 90))
    cards = (CARD, Card("B", (110, 75), -5))
    block = boat("halves", ((236, 230, 216), (150, 40, 60)))
    result, _ = measured(tmp_path, [block], mat, cards=cards)
    (error,) = (p for p in result.problems if p.level == "error")
    assert error.code == "block_goes_on"
    assert result.doubtful.sides == (3,)
    assert "--corners" in result.problems[0].hint


def test_a_scale_band_beyond_a_corner_is_no_other_half(tmp_path):
    """Ticks and lines step up and down along the extension of a side, as cloth does not."""
    ink = Mat((24, 120, 104), line_colour=(226, 226, 120), line_width_mm=0.6)
    mat = printed(ink, (-152.4, -127.0, 152.4, 127.0))
    block = boat("dots", (CREAM, RED), (120, 150), (-70, 0), 30)
    result, (true,) = measured(tmp_path, [block], mat)
    assert result.ok, result.problems
    assert off_mm(result.blocks[0], true).max() < 0.5


def test_half_of_a_block_is_not_measured_where_the_other_is_like_the_mat(tmp_path):
    result, (true,) = measured(tmp_path, [boat("halves", (GREEN, (200, 120, 60)))])
    for block in result.blocks:
        assert off_mm(block, true).max() < 1
    if not result.ok:
        assert "left edge" in result.problems[0].message


@pytest.mark.parametrize(("grooves", "parted"), [((240,), True), (range(6, 500, 40), False)])
def test_stripes_of_the_grounds_colour_are_no_grooves_between_blocks(grooves, parted):
    like = np.zeros((300, 500), bool)
    for at in grooves:
        like[:, at : at + 4] = True
    assert (_groove(like, len(like), 3.0) is not None) == parted


@pytest.mark.parametrize(("gap", "shift"), [(0.0, 3), (2.2, 0)])
def test_blocks_that_nearly_touch_are_not_one(gap, shift, tmp_path):
    blocks = [
        boat(size=(90, 120), centre=(-125, 0), turn=0),
        boat("ninepatch", size=(90, 120), centre=(gap - 35, shift), turn=0),
    ]
    result, true = measured(tmp_path, blocks)
    if result.ok:
        assert len(result.blocks) == 2
        assert all(off_mm(*pair).max() < 0.5 for pair in zip(result.blocks, true, strict=True))
    else:
        assert [p.code for p in result.problems] == ["blocks_touch"]


def test_a_block_half_out_of_the_photo_is_called_cut_off_and_shown(tmp_path):
    scene = Scene(PHONE, Mat(), (CARD,), (boat(centre=(-230, 0)),), seed=1)
    save(scene, tmp_path / "p.jpg")
    words = ["measure", str(tmp_path / "p.jpg"), "--card-side", "4in"]
    run = CliRunner().invoke(main, [*words, "--picture", str(tmp_path / "why.png")])
    assert run.exit_code == 1
    assert "reaches past the edge of the photo" in run.output
    drawn = cv2.imread(str(tmp_path / "why.png"))
    plain = cv2.imread(str(tmp_path / "p.jpg"))
    height, width = plain.shape[:2]
    assert drawn.shape[0] > height  # the words below
    changed = np.abs(drawn[:height].astype(int) - plain).max(axis=2) > 60
    assert changed[:, : width // 4].mean() > 0.02  # the outline and its doubtful side


class Level:
    """A camera straight above, four pixels to the millimetre."""

    def mm_from_px(self, points_px, height_mm=0.0):
        return np.asarray(points_px, float) / 4

    def px_from_mm(self, points_mm, height_mm=0.0):
        return np.asarray(points_mm, float) * 4


def test_what_sticks_to_a_patch_does_not_move_its_sides():
    """A strap out of a side and a corner that is missing: the sides stay."""
    small = replace(
        Small.of(np.zeros((400, 500, 3), np.uint8), [], None, None), scale=4, size=(2000, 1600)
    )
    patch = np.zeros((400, 500), np.uint8)
    true = np.array([[120, 90], [340, 110], [330, 290], [110, 270]])
    cv2.fillPoly(patch, [true], 1)
    patch[150:170, 300:480] = 1
    cv2.fillPoly(patch, [np.array([[105, 255], [135, 280], [105, 290]])], 0)
    corners, fill = fill_best(patch, small, Level())
    assert np.abs(small.to_small(corners) - true).max() < 2.5
    assert fill > 0.97
