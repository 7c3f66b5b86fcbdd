"""Whatever is fed in comes out as sizes or in words; docs/benchmarks/fuzz.py does it for longer."""

import contextlib
import math
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blockcheck.errors import BlockcheckError
from blockcheck.project import Project, ProjectReader, exchange, schema
from blockcheck.units import parse_length

sys.path.append(str(Path(__file__).parents[2] / "docs" / "benchmarks"))
from kills import made_up

usual = settings(max_examples=100, deadline=None, derandomize=True)
# what lengths and tables are made of, so that more of it is taken for one
pieces = st.lists(
    st.sampled_from(["6", "1/2", "in", "cm", '"', " ", "-", ".", ",", ";", "\n", "name", "width",
                     "height", "=", "'", "9", "1e9", "nan", "½", "\0", "unit", "\t", "mm"])
    | st.text(max_size=3), max_size=24,
).map("".join)  # fmt: skip


@pytest.fixture(scope="module")
def sound():
    """A project's bytes and its export's."""
    with pytest.MonkeyPatch.context() as patch, tempfile.TemporaryDirectory() as name:
        patch.setattr(schema, "SYNCHRONOUS", "OFF")
        folder = Path(name)
        with Project.create(folder / "a") as quilt:
            quilt.add_result(made_up("a.jpg", folder), notes="x")
            quilt.export_json(folder / "a.json")
        yield quilt.path.read_bytes(), (folder / "a.json").read_bytes()


def spoiled(data, places):
    torn = bytearray(data)
    for at, byte in places:
        torn[int(at * (len(torn) - 1))] = byte
    return bytes(torn)


damage = st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), min_size=1, max_size=4)


@usual
@given(pieces)
def test_any_text_is_a_finite_length_or_refused(text):
    with contextlib.suppress(BlockcheckError):
        assert math.isfinite(parse_length(text, "in"))


@usual
@given(pieces)
def test_any_text_is_a_table_of_sizes_or_refused(text):
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "t.csv"
        path.write_text(f"name,width,height,unit\n{text}", "utf-8")
        with contextlib.suppress(BlockcheckError):
            for _, width, height in exchange.read_csv(path, "in"):
                assert (
                    10 <= min(width.value, height.value) <= max(width.value, height.value) <= 2500
                )


@usual
@given(places=damage)
def test_any_export_is_taken_whole_or_leaves_nothing(sound, places):
    with tempfile.TemporaryDirectory() as name:
        source, path = Path(name) / "e.json", Path(name) / "e.blockcheck"
        source.write_bytes(spoiled(sound[1], places))
        try:
            with Project.create_from_json(path, source) as quilt:
                assert quilt.blocks() or quilt.removed()
        except BlockcheckError:
            assert not path.exists()


@usual
@given(places=damage)
def test_any_file_is_read_as_it_was_written_or_its_damage_is_told(sound, places):
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "p.blockcheck"
        path.write_bytes(spoiled(sound[0], places))
        try:
            with Project.open(path) as quilt:
                assert [(b.name, b.note, b.width_mm.value) for b in quilt.blocks()] == [
                    ("1", "x", 152.4)
                ]
        except BlockcheckError:
            with contextlib.suppress(BlockcheckError):
                reader, found = ProjectReader.rescued(path)
                with reader:
                    assert found.faults
