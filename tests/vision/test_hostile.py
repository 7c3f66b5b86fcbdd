"""Damaged and hostile photos end in a number or in one sentence."""

import os
import random
import sys
from collections import Counter
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[2] / "docs" / "benchmarks"))
import hostile
import lies


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
    """Such a stretch passes for a tilt; only the picture's shape gives it away."""
    said = {
        lie: lies.judged(lies.LIES[lie](random.Random(9)), tmp_path / "p.jpg")[0]
        for lie in ("stretched 1 %, card alone", "nothing, card alone")
    }
    assert "reshaped" in said["stretched 1 %, card alone"]
    assert said["nothing, card alone"] == "inside U95"
