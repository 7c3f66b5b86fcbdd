"""The worked examples of cutting and planning are true."""

import doctest
from pathlib import Path

import pytest


@pytest.mark.parametrize("page", ["cutting.md", "planning.md"])
def test_examples(page):
    path = Path(__file__).parents[1] / "docs" / page
    result = doctest.testfile(str(path), module_relative=False, encoding="utf-8")
    assert result.attempted > 10
    assert result.failed == 0
