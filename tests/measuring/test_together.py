"""Several photos of one block: one size from all, and one that contradicts is named."""

import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

import blockcheck
from blockcheck.cli import main
from blockcheck.errors import ReadingsError
from blockcheck.profiles import LensProfile, save_profile
from blockcheck.project import Project
from blockcheck.vision.photo import read_photo
from blockcheck.vision.plane.calibrate import LensView
from blockcheck.vision.plane.joint import Shot, adjust_jointly
from blockcheck.vision.plane.lens import LensPrior
from fixtures.scene import Block, Camera, Card, Mat, Scene, save, truth

FORMAT = (1600, 1200)
F_PX = 26 * 2000 / 43.27
CORNERS = np.array([[-74.0, -110], [76, -112], [75, 113], [-73, 112]])  # 149 and 148 by 222, 225
SQUARE = np.array([[-80.0, -81], [81, -80], [82.5, 80], [-80, 79]])  # no two sides alike
LEFT, CARD = np.array([-55.0, 0]), Card("A", (95, 20), 5)


def laid(corners, turn_deg=0.0, at=LEFT):
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return tuple(map(tuple, (corners @ np.array([[c, s], [-s, c]]) + at).tolist()))


def scene(camera, block, seed, lines=True, card=CARD):
    mat = Mat(lines_mm=25.4 if lines else None)
    return Scene(camera, mat, cards=(card,), blocks=(block,), seed=seed)


def camera(tilt_deg=5.0, azimuth_deg=30.0, turn_deg=0.0, distance_mm=430.0):
    lens = {"f_px": F_PX * 1.02, "k1": 0.004, "cx": 803.0, "cy": 597.0}
    return Camera(
        *FORMAT,
        **lens,
        tilt_deg=tilt_deg,
        azimuth_deg=azimuth_deg,
        turn_deg=turn_deg,
        distance_mm=distance_mm,
    )


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """Return a function that draws scenes into files, each set under a name of its own."""
    folder = tmp_path_factory.mktemp("together")

    def draw(name, scenes):
        paths = [folder / f"{name}-{i}.jpg" for i in "ABCD"[: len(scenes)]]
        for path, one in zip(paths, scenes, strict=True):
            save(one, path)
        return paths

    return draw


@pytest.fixture(scope="module")
def around(photos):
    """Three photos taken from around one block that lies still."""
    block = Block(laid(CORNERS, 3))
    turned = (camera(), camera(9, 120, 94), camera(7, 250, 185, 460))
    scenes = [scene(c, block, 40 + i) for i, c in enumerate(turned)]
    return photos("around", scenes), truth(scenes[0])["blocks"][0]


@pytest.fixture(scope="module")
def other_block(photos):
    """A photo of another block, a sixth of an inch wider."""
    wider = CORNERS * (154 / 150, 1)
    return photos("other", [scene(camera(6, 200), Block(laid(wider, -2)), 50)])[0]


def errors(block, true):
    """Departures of width, height and sides from the truth, and their U95, in inches."""
    found = [block.width_mm, block.height_mm, *block.sides_mm]
    known = [true["width_mm"], true["height_mm"], *true["sides_mm"]]
    off = [(e.value - t) / 25.4 for e, t in zip(found, known, strict=True)]
    return np.array(off), np.array([e.u95 / 25.4 for e in found])


def test_three_photos_from_around_give_one_size_surer_than_each(around):
    paths, true = around
    result = blockcheck.measure_together(paths, card_side="4in")
    assert result.ok, result.problems
    assert [t.used for t in result.together] == [True] * 3
    off, u95 = errors(result.blocks[0], true)
    assert np.abs(off).max() < 0.008
    assert (np.abs(off) < u95).all()
    corners, outline = result.blocks[0].corners_mm, result.blocks[0].outline_mm
    np.testing.assert_allclose(outline[::8], corners, atol=0.3)
    middles = (corners + np.roll(corners, -1, axis=0)) / 2
    np.testing.assert_allclose(outline[4::8], middles, atol=0.3)
    for taken in result.together:
        assert result.blocks[0].width_mm.u95 < taken.width_mm.u95
        assert result.blocks[0].height_mm.u95 < taken.height_mm.u95
        # as the first photo shows the block, however this one is turned
        assert taken.width_mm.value == pytest.approx(true["width_mm"], abs=0.4)


def test_what_photos_share_does_not_average_out(around):
    """The mat is one, the card is one, and so is the place where cloth begins."""
    result = blockcheck.measure_together(around[0], card_side="4in")
    together = {t.name: t.u for t in result.blocks[0].height_mm.budget}
    alone = {t.name: t.u for t in result.together[0].height_mm.budget}
    assert set(together) == set(alone)
    for name in ("mat scale", "print scale"):
        assert together[name] == pytest.approx(alone[name], rel=0.25)
    assert together["edge fit"] > alone["edge fit"] / math.sqrt(2)


def test_a_square_block_turned_between_photos_is_told_by_its_look(photos):
    """Card alone: turned, the block shows the lens and the tilt that one photo cannot tell."""
    cameras = (camera(6, 20), camera(8, 140), camera(4, 270, 8))
    turned = (0, 178, 93)
    blocks = [Block(laid(SQUARE, t), cloth="sailboat") for t in turned]
    scenes = [
        scene(c, b, 60 + i, lines=False)
        for i, (c, b) in enumerate(zip(cameras, blocks, strict=True))
    ]
    result = blockcheck.measure_together(photos("turned", scenes), card_side="4in")
    assert result.ok, result.problems
    assert [t.used for t in result.together] == [True] * 3
    off, u95 = errors(result.blocks[0], truth(scenes[0])["blocks"][0])
    assert (np.abs(off) < u95).all()
    assert result.blocks[0].width_mm.u95 < 0.8 * min(t.width_mm.u95 for t in result.together)


def test_parallax_shows_how_high_the_cloth_lies(photos):
    """A block 1.5 mm high, taken for 0.5 mm: seen from both sides it comes out nearer the truth."""
    block = Block(laid(CORNERS, 3), height_mm=1.5)
    cameras = (camera(2), camera(24, 90), camera(24, 270), camera(20, 0))
    scenes = [scene(c, block, 70 + i, lines=False) for i, c in enumerate(cameras)]
    paths = photos("leaning", scenes)
    result = blockcheck.measure_together(paths, card_side="4in")
    true = truth(scenes[0])["blocks"][0]
    off, u95 = errors(result.blocks[0], true)
    assert (np.abs(off) < u95).all()
    terms = {t.name: t.u for t in result.blocks[0].height_mm.budget}
    alone = {t.name: t.u for t in result.together[0].height_mm.budget}
    assert terms["cloth height"] < 0.8 * alone["cloth height"]


def test_a_photo_of_another_block_is_named_and_left_out(around, other_block):
    (first, second, _), true = around
    for order in ([first, second, other_block], [other_block, first, second]):
        result = blockcheck.measure_together(order, card_side="4in")
        assert result.ok, result.problems
        said = [p for p in result.problems if p.code == "photo_left_out"]
        assert len(said) == 1
        assert said[0].message.startswith(other_block.name)
        assert said[0].level == "warning"
        assert {t.path: t.used for t in result.together}[other_block] is False
        off, u95 = errors(result.blocks[0], true)
        assert (np.abs(off) < u95).all()


def test_two_photos_that_contradict_each_other_are_refused(around, other_block):
    result = blockcheck.measure_together([around[0][0], other_block], card_side="4in")
    assert not result.ok
    assert result.problems[-1].code == "photos_disagree"
    assert around[0][0].name in result.problems[-1].message
    assert f" cm), {other_block.name} " in result.problems[-1].message
    assert re.fullmatch(r"[A-Z][a-z ].*[a-z]\.", result.problems[-1].hint)
    assert [(t.path, t.used) for t in result.together] == [
        (around[0][0], False),
        (other_block, False),
    ]


def test_a_photo_that_cannot_be_measured_is_left_out(around, tmp_path):
    empty = tmp_path / "empty.jpg"
    empty.write_bytes(b"")
    result = blockcheck.measure_together([*around[0][:2], empty], card_side="4in")
    assert result.ok
    assert [t.used for t in result.together] == [True, True, False]
    assert "empty.jpg" in next(p for p in result.problems if p.code == "photo_left_out").message
    alone = blockcheck.measure_together([around[0][0], empty], card_side="4in")
    assert not alone.ok
    assert alone.problems[-1].code == "too_few_photos"
    assert re.fullmatch(r"[A-Z][a-z ].*[a-z]\.", alone.problems[-1].hint)


def test_the_same_photo_twice_is_no_second_photo(around):
    with pytest.raises(ReadingsError, match=r"the same photo as .*\. Take a new photo .*\.$"):
        blockcheck.measure_together([around[0][0]] * 2, card_side="4in")
    with pytest.raises(ReadingsError, match=r"^Measuring together takes .* Name two or more"):
        blockcheck.measure_together(around[0][:1])


def test_one_photo_alone_comes_out_as_by_itself(around):
    """The joint adjustment of one photo is its own adjustment, with the same uncertainty."""
    photo = read_photo(around[0][0])
    plane = blockcheck.find_plane(around[0][0], card_side="4in")
    prior = LensPrior.of_photo(photo.size, photo.focal_35mm)
    joint = adjust_jointly([Shot(LensView.of(photo, plane).plane, "phone", prior, photo.size)])
    both = replace(plane, camera=joint.cameras[0], factors=joint.factors)
    ends = (300.0, 300.0), (900.0, 1000.0)
    there, here = plane.length(*ends), both.length(*ends)
    assert here.value == pytest.approx(there.value, abs=0.02)
    assert here.u == pytest.approx(there.u, rel=0.03)


def test_a_phone_held_upright_measures_as_one_held_level(around, tmp_path):
    """The same pixels, stored as the sensor reads them and turned by EXIF."""
    turned = []
    for path in around[0][:2]:
        with Image.open(path) as level:
            notes = level.getexif()
            notes[0x0112] = 6  # turned by 90° clockwise when shown
            turned.append(tmp_path / path.name)
            level.rotate(90, expand=True).save(turned[-1], quality=95, exif=notes)
    there, here = (
        blockcheck.measure_together(some, card_side="4in").blocks[0]
        for some in (around[0][:2], turned)
    )
    for one, other in ((there.width_mm, here.width_mm), (there.height_mm, here.height_mm)):
        assert other.value == pytest.approx(one.value, abs=0.2 * one.u95)
        assert other.u95 == pytest.approx(one.u95, rel=0.1)


@pytest.mark.parametrize(("k1", "fits"), [(0.004, True), (-0.06, False)])
def test_a_lens_profile_is_taken_where_it_fits(around, tmp_path, k1, fits):
    """One's own lens makes the size surer; another one's is told and left aside."""
    paths, true = around
    off = (3.5 / FORMAT[0], -2.5 / FORMAT[0])  # of the middle of the photo
    known = np.diag(np.square([1e-3, 1e-3, 1e-3, 1e-3, 1e-3]))
    key = read_photo(paths[0]).lens_key
    profile = LensProfile(*key, F_PX * 1.02 / FORMAT[0], k1, 0.0, *off, known, 9, 0.1)
    save_profile(tmp_path / "lenses.json", profile)
    result = blockcheck.measure_together(
        paths[:2], card_side="4in", profiles=tmp_path / "lenses.json"
    )
    assert result.ok, result.problems
    assert ("lens_does_not_fit" not in {p.code for p in result.problems}) == fits
    wrong, u95 = errors(result.blocks[0], true)
    assert (np.abs(wrong) < u95).all()


def run(*words):
    return CliRunner().invoke(main, [str(w) for w in words])


def test_the_command_says_which_photos_and_what_each_says(around, other_block):
    first, second, third = around[0]
    done = run("measure", "--together", first, second, third, "--card-side", "4in")
    assert done.exit_code == 0, done.output
    assert f"{first.name}, {second.name} and {third.name} together" in done.output
    assert done.output.count(" by itself: ") == 3
    left = run("measure", "--together", first, second, other_block, "--card-side", "4in", "--json")
    assert left.exit_code == 1
    (entry,) = json.loads(left.stdout)
    assert entry["ok"]
    assert [t["used"] for t in entry["together"]] == [True, True, False]
    assert len(entry["blocks"]) == 1
    alone = run("measure", "--together", first)
    assert alone.exit_code == 2
    assert "two or more photos" in alone.output


def test_a_project_keeps_them_as_one_reading(around, tmp_path):
    with Project.create(tmp_path / "boats"):
        pass
    done = run("add", "--together", tmp_path / "boats", *around[0], "--name", "Gull")
    assert done.exit_code == 0, done.output
    with Project.open(tmp_path / "boats") as quilt:
        (block,) = quilt.blocks()
        assert block.name == "Gull"
        (event,) = quilt.history("Gull")
        assert all(p.name in event.detail for p in around[0])
    again = run("add", "--together", tmp_path / "boats", *around[0])
    assert again.exit_code == 3
    assert "--again Gull" in again.output
