"""One server for all tests of the page."""

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parent))
from serving import serving


@pytest.fixture(scope="session")
def served(tmp_path_factory):
    lenses = tmp_path_factory.mktemp("lenses") / "lenses.json"
    with serving(tmp_path_factory.mktemp("quilts"), "--profiles", str(lenses)) as one:
        yield one


@pytest.fixture(scope="session")
def example(served):
    """The example project, with all its photos measured."""
    from serving import until

    with served.client() as client:
        assert client.post("/new", json={"example": True}).status_code == 200
        path = served.path()
        until(
            lambda: client.get(f"{path}/photos.json").json()["items"],
            lambda items: [i["state"] for i in items] == ["kept"] * 6,
        )
        yield served
