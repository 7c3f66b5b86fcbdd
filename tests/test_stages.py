"""The script of docs/stages.md, on a photo that is measured and on one that is not."""

import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize(
    ("photo", "options"),
    [
        ("blockcheck/demo_photos/sailboat-1.jpg", ("--card-side", "4in")),
        ("fixtures/photos/no-reference.jpg", ()),
    ],
)
def test_every_stage_has_its_panel(photo, options, tmp_path):
    words = [sys.executable, "docs/pictures/stages.py", photo, str(tmp_path / "s.jpg"), *options]
    subprocess.run(words, cwd=ROOT, check=True, capture_output=True)
    with Image.open(tmp_path / "s.jpg") as picture:
        assert picture.width == 3 * 640
