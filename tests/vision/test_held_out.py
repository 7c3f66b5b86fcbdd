"""Half of a real mat's lines check what the other half has adjusted (docs/benchmarks/held_out.py).

Photos: github.com/marksard/Keyboards (MIT), kept beside the project and not in it.
"""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
MATS = ROOT.parent / "shared" / "outside" / "mats"
pytestmark = pytest.mark.skipif(
    not MATS.is_dir(), reason="the mat photos are not beside the project"
)


def test_u95_holds_for_the_lines_that_were_left_out():
    """90 % or more of the lengths from line to line, over four photos of one mat."""
    spec = importlib.util.spec_from_file_location(
        "held_out", ROOT / "docs" / "benchmarks" / "held_out.py"
    )
    held_out = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(held_out)
    names = ("left_case_top", "left_switch", "mat_led_tape", "rhyme_077")
    shares = np.array([held_out.check(MATS / f"{name}.jpg", 10.0) for name in names])
    assert shares[:, 3].min() >= 20  # lengths
    assert shares[:, 0].min() >= 0.85
    assert shares[:, 0].mean() >= 0.93
    assert shares[:, 1].mean() >= 0.75  # of the adjustment's part alone; 0.2 to 0.7 before
