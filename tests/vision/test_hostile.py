"""Damaged and hostile photos end in a number or in one sentence."""

import os
import sys
from collections import Counter
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[2] / "docs" / "benchmarks"))
import hostile


@pytest.mark.skipif(not Path("/proc/self/clear_refs").exists(), reason="memory as Linux counts it")
def test_a_tenth_of_the_hostile_photos(tmp_path, monkeypatch):
    """Three of every kind that docs/benchmarks/hostile.py makes, in a process that is watched."""
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(sys.path))
    found = list(hostile.try_all(42, tmp_path))
    verdicts = Counter(verdict for _, verdict, _, _ in found)
    assert not [f for f in found if f[1] in hostile.BAD]
    assert verdicts["measured"] >= 8
    assert verdicts["refused"] >= 8
