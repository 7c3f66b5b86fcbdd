"""Damaged and hostile photos end in a number or in one sentence."""

import dataclasses
import os
import random
import sys
from collections import Counter
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[2] / "docs" / "benchmarks"))
import hostile
import lies

from blockcheck.measuring.measure import measure_photo
from fixtures.make import PHONE
from fixtures.scene import truth


@pytest.mark.skipif(not Path("/proc/self/clear_refs").exists(), reason="memory as Linux counts it")
def test_a_tenth_of_the_hostile_photos(tmp_path, monkeypatch):
    """Three of every kind that docs/benchmarks/hostile.py makes, in a process that is watched."""
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(sys.path))
    found = list(hostile.try_all(42, tmp_path))
    verdicts = Counter(verdict for _, verdict, _, _ in found)
    assert not [f for f in found if f[1] in hostile.BAD]
    assert verdicts["measured"] >= 8
    assert verdicts["refused"] >= 8


def test_a_picture_stretched_by_a_hundredth_beside_one_card_is_told(tmp_path):
    """Such a stretch passes for a tilt; only the picture's shape gives it away, and widens the ±."""
    path, wide = tmp_path / "p.jpg", {}
    for lie in ("stretched 1 %, card alone", "nothing, card alone"):
        photo = lies.LIES[lie](random.Random(5))
        result = lies.measured(photo, path)
        assert lies.judged(photo, result)[0] == "inside U95"
        told = "reshaped" in {p.code for p in result.problems}
        wide[told] = result.blocks[0].height_mm.u95
        assert told == lie.startswith("stretched")
    assert wide[True] > 1.3 * wide[False]


def test_lines_and_card_show_a_picture_stretched_by_a_hundredth(tmp_path):
    """Both are as long as wide, and far apart they tell a stretch from a tilt."""
    photo = lies.LIES["stretched 1 %, card and lines"](random.Random(0))
    verdict, worst = lies.judged(photo, lies.measured(photo, tmp_path / "p.jpg"))
    assert verdict == "inside U95"
    assert worst < 0.5


def test_a_wrong_focal_length_beside_many_lines_is_told(tmp_path):
    """Lines alone do not pull the focal length all the way from what EXIF says."""
    photo = lies.LIES["focal × 2, card and lines"](random.Random(0))
    result = lies.measured(photo, tmp_path / "p.jpg")
    assert lies.judged(photo, result)[0] == "inside U95"
    assert "focal_doubtful" in {p.code for p in result.problems}


@pytest.mark.parametrize(
    ("factor", "tilt", "told"),
    [(2.0, 9.0, True), (0.5, 9.0, True), (2.0, 14.0, True), (1.0, 9.0, False)],
)
def test_a_wrong_focal_length_beside_a_tilted_card_is_told_and_not_measured_by(
    tmp_path, factor, tilt, told
):
    """The card's perspective shows the lens: pinhole geometry."""
    camera = dataclasses.replace(PHONE, tilt_deg=tilt, azimuth_deg=60.0)
    made = lies.bare(random.Random(4))
    photo = lies.Photo.of(dataclasses.replace(made, camera=camera))
    path = tmp_path / "p.jpg"
    photo.image.save(path, quality=93)
    result = measure_photo(path, card_side="4in", focal=camera.focal_35mm * factor)
    assert ("focal_doubtful" in {p.code for p in result.problems}) == told
    true = truth(photo.scene)["blocks"][0]
    (block,) = result.blocks
    assert abs(block.width_mm.value - true["width_mm"]) < block.width_mm.u95
    assert abs(block.height_mm.value - true["height_mm"]) < block.height_mm.u95
