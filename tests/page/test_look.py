"""How a block looks: the same in another photo, unlike another block of its set."""

from dataclasses import replace

import numpy as np
import pytest

from blockcheck.page.queue import ALIKE
from blockcheck.report.screen_picture import look
from fixtures.make import PHONE, sailboats
from fixtures.scene import project, render

SMALL = replace(PHONE, width=800, height=600, f_px=PHONE.f_px / 3, cx=None, cy=None)


def look_of(scene, colours=(1.0, 1.0, 1.0)):
    block = scene.blocks[0]
    rgb = np.clip(render(scene) * np.array(colours), 0, 255).astype(np.uint8)
    return look(rgb, project(scene.camera, block.corners_mm, block.height_mm))


@pytest.fixture(scope="module")
def looks():
    """The looks of three blocks of the demo: 1 and 4 are the most alike."""
    scenes = sailboats()
    return {n: look_of(replace(scenes[f"sailboat-{n}"], camera=SMALL)) for n in (1, 4, 6)}


def test_a_block_looks_the_same_in_another_photo(looks):
    """From elsewhere, turned, in a warmer light that falls from one side."""
    camera = replace(SMALL, tilt_deg=11, azimuth_deg=200, turn_deg=8, distance_mm=410)
    scene = replace(sailboats()["sailboat-1"], camera=camera, light=0.5, seed=77)
    again = look_of(scene, (0.9, 0.8, 0.7))
    alike = {n: float((again * one).sum()) for n, one in looks.items()}
    assert alike[1] > ALIKE
    assert max(alike, key=alike.get) == 1


def test_blocks_of_one_pattern_in_other_colours_are_told_apart(looks):
    assert float((looks[1] * looks[4]).sum()) < ALIKE
    assert float((looks[1] * looks[6]).sum()) < ALIKE
