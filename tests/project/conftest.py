"""What all tests of the project file share."""

import sys
from pathlib import Path

import pytest

from blockcheck.project import schema

sys.path.append(str(Path(__file__).parents[2] / "docs" / "benchmarks"))


@pytest.fixture(scope="module", autouse=True)
def quick():
    """Do not wait for the disk: only a power cut would tell. Other processes still do."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(schema, "SYNCHRONOUS", "OFF")
        yield
