"""What must not change a measurement: how the photo is turned, moved, tilted and lit."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

import blockcheck
from blockcheck.measuring.sides import BY_HAND_PX
from fixtures.scene import Block, Camera, Card, Mat, Scene, render, truth

CAMERA = Camera(1800, 1350, 26 * 2250 / 43.27, 0.006, -0.002, tilt_deg=4, distance_mm=330)
BLOCK = Block(
    ((-118.0, -83.0), (-7.5, -81.0), (-9.0, 71.0), (-119.5, 69.5)),
    bow_mm=(0.2, -0.3, 0.2, 0.1),
    cloth="dots",
    colours=((224, 204, 150), (150, 60, 70)),
    threads=3,
    wave_mm=0.1,
)
SCENE = Scene(CAMERA, cards=(Card("A", (72, 12), 6),), blocks=(BLOCK,), seed=3, light=0.2)
SEEN = {
    "turned": {"turn_deg": 33.0},
    "turned over": {"turn_deg": 171.0},
    "tilted": {"tilt_deg": 13.0, "azimuth_deg": 250.0},
    "farther": {"distance_mm": 395.0, "turn_deg": -8.0},
}


def relit(rgb, gains, contrast=1.0, noise=0.0):
    """Another exposure and colour of light (gains in linear light), contrast and noise."""
    linear = (rgb / 255.0) ** 2.2 * gains
    grey = 255 * np.clip(linear, 0, 1) ** (contrast / 2.2)
    grey += np.random.default_rng(8).normal(0, 1, rgb.shape) * noise
    return np.clip(np.rint(grey), 0, 255).astype(np.uint8)


LIT = {
    "darker": {"gains": [0.45, 0.45, 0.45]},
    "brighter": {"gains": [1.25, 1.25, 1.25]},
    "lamp light": {"gains": [1.15, 0.95, 0.62]},
    "shade": {"gains": [0.72, 0.85, 1.05]},
    "flat": {"gains": [0.9, 0.9, 0.9], "contrast": 0.8},
    "noisy": {"gains": [1.0, 1.0, 1.0], "noise": 7.0},
}


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    return tmp_path_factory.mktemp("scenes")


@pytest.fixture(scope="module")
def plain():
    return render(SCENE)


def measured(rgb, path, **settings):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 26
    Image.fromarray(rgb).save(path, quality=90, exif=exif)
    result = blockcheck.measure_photo(path, card_side="4in", **settings)
    assert result.ok, result.problems
    assert len(result.blocks) == 1
    return result.blocks[0]


@pytest.fixture(scope="module")
def before(plain, place):
    block = measured(plain, place / "plain.jpg")
    true = truth(SCENE)["blocks"][0]
    assert abs(block.width_mm.value - true["width_mm"]) < block.width_mm.u95
    assert abs(block.height_mm.value - true["height_mm"]) < block.height_mm.u95
    return block


def unlike(block, before, quarter_turns=0):
    """Largest change of a length in units of its U95; sides change names in a turned photo."""
    sides = np.roll(np.arange(4), quarter_turns)
    diagonals = [0, 1] if quarter_turns % 2 == 0 else [1, 0]
    pairs = [(block.sides_mm[k], before.sides_mm[j]) for k, j in enumerate(sides)]
    pairs += [(block.diagonals_mm[k], before.diagonals_mm[j]) for k, j in enumerate(diagonals)]
    pairs += [(block.bow_mm[k], before.bow_mm[j]) for k, j in enumerate(sides)]
    if quarter_turns % 2 == 0:
        pairs += [(block.width_mm, before.width_mm), (block.height_mm, before.height_mm)]
    return max(abs(a.value - b.value) / a.u95 for a, b in pairs)


@pytest.mark.parametrize("name", SEEN)
def test_turning_and_tilting_the_camera_changes_nothing(name, before, place):
    scene = replace(SCENE, camera=replace(CAMERA, **SEEN[name]))
    block = measured(render(scene), place / f"{name}.jpg")
    assert unlike(block, before, 2 if name == "turned over" else 0) < 1


def test_moving_block_and_card_changes_nothing(before, place):
    """Both elsewhere on the mat, the card turned: other lines, other pixels, the same block."""
    corners = tuple((x + 21.0, y - 8.5) for x, y in BLOCK.corners_mm)
    moved = replace(
        SCENE,
        blocks=(replace(BLOCK, corners_mm=corners),),
        cards=(replace(SCENE.cards[0], centre_mm=(100, -22), turn_deg=-21),),
    )
    assert unlike(measured(render(moved), place / "moved.jpg"), before) < 1


@pytest.mark.parametrize("name", LIT)
def test_other_light_changes_nothing(name, plain, before, place):
    block = measured(relit(plain, **LIT[name]), place / f"{name}.jpg")
    assert unlike(block, before) < 1


def test_corners_by_hand_only_say_where_to_look(plain, before, place):
    """Set six pixels off, the edges are still found: the same lengths, nothing marked."""
    rng = np.random.default_rng(4)
    corners = before.corners_px + rng.uniform(-6, 6, (4, 2))
    block = measured(plain, place / "hand.jpg", corners=[tuple(c) for c in corners])
    assert not block.by_hand
    assert unlike(block, before) < 1


@pytest.mark.parametrize("lines_mm", [None, 25.4])
def test_corners_by_hand_where_there_is_no_edge_are_marked_and_wide(lines_mm, place):
    """Four places on bare mat, printed or not: the lines between them, as sure as a hand is."""
    scene = replace(SCENE, blocks=(), mat=Mat(lines_mm=lines_mm))
    corners = [(300.0, 300.0), (700.0, 310.0), (690.0, 800.0), (310.0, 790.0)]
    rgb = render(scene)
    block = measured(rgb, place / "bare.jpg", corners=corners)
    assert block.by_hand
    px_per_mm = CAMERA.f_px / CAMERA.distance_mm
    # each end of the width hangs on one side's line, whose place is as sure as the hand
    assert block.width_mm.u95 > 2 * np.sqrt(2) * BY_HAND_PX / px_per_mm * 0.8
