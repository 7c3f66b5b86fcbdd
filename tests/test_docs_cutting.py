"""The worked examples in docs/cutting.md are true."""

import doctest
from pathlib import Path


def test_examples():
    path = Path(__file__).parents[1] / "docs" / "cutting.md"
    result = doctest.testfile(str(path), module_relative=False, encoding="utf-8")
    assert result.attempted > 10
    assert result.failed == 0
