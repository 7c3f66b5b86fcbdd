"""The worked examples of cutting and planning are true."""

import doctest
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "docs" / "pictures"))
import settings


@pytest.mark.parametrize("page", ["cutting.md", "planning.md", "quilt.md"])
def test_examples(page):
    path = Path(__file__).parents[1] / "docs" / page
    result = doctest.testfile(str(path), module_relative=False, encoding="utf-8")
    assert result.attempted >= 8
    assert result.failed == 0


SETTINGS = sorted((Path(__file__).parents[1] / "docs").glob("setting-*.md"))


@pytest.mark.parametrize("page", SETTINGS, ids=lambda page: page.stem)
def test_each_settings_example_is_true_and_its_picture_is_of_it(page):
    result, svg = settings.drawn(page)
    assert (result.failed, result.attempted > 6) == (0, True)
    assert settings.picture_of(page).read_text("utf-8") == svg + "\n"


def test_every_setting_has_a_page():
    assert len(SETTINGS) == 8
