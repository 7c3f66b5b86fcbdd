"""Projects by their names: read anew after every change, and not without one."""

import os

import pytest

from blockcheck.errors import ProjectError
from blockcheck.page.shelf import Shelf
from blockcheck.project import Project


def test_a_project_is_read_anew_after_every_change_by_anybody(tmp_path):
    """Even where the file's time and length stay as they were."""
    shelf = Shelf(tmp_path)
    with Project.create(tmp_path / "sails") as quilt:
        quilt.add_ruler("Mast", "6", "9")
        for state in ("trimmed", "measured") * 3:
            quilt.set_state("Mast", state)
            os.utime(quilt.path, ns=(0, 0))
            known = shelf.read("sails")
            assert [b.state for b in known.blocks] == [state]
            assert shelf.read("sails") is known
        quilt.undo("Mast")
        assert shelf.read("sails").blocks[0].state == "trimmed"


def test_a_project_that_is_gone_or_spoiled_is_told_each_time(tmp_path):
    shelf = Shelf(tmp_path)
    with Project.create(tmp_path / "sails") as quilt:
        path = quilt.path
    assert shelf.read("sails").blocks == ()
    data = bytearray(path.read_bytes())
    path.write_bytes(data[:-1])
    for _ in range(2):
        with pytest.raises(ProjectError):
            shelf.read("sails")
    path.unlink()
    with pytest.raises(ProjectError, match="no project"):
        shelf.read("sails")
