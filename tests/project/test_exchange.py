"""Projects out to other programs and back: nothing changes on the way."""

import contextlib
import csv
import dataclasses
import json
import math
import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blockcheck import measure_photo
from blockcheck.errors import ProjectError
from blockcheck.planning.plan import Plan
from blockcheck.project import Project
from blockcheck.project.records import STATES
from blockcheck.uncertainty import Estimate, Term
from blockcheck.units import INCH

sys.path.append(str(Path(__file__).parents[2] / "docs" / "benchmarks"))
from kills import made_up

lengths = st.floats(1.0, 2000.0)
sides = st.floats(11.0, 2000.0)
names = st.text(min_size=1, max_size=12)
points = st.tuples(st.floats(-500, 500), st.floats(-500, 500))
plans = st.builds(
    Plan,
    planned_mm=st.none() | st.tuples(st.floats(50, 900), st.floats(50, 900)),
    seam_mm=st.floats(3, 20),
    unit=st.sampled_from(["in", "cm"]),
    fraction=st.sampled_from([8, 16, 32]),
    card_side=st.none() | st.floats(60, 250),
    rows=st.none() | st.integers(1, 30),
    alternate=st.booleans(),
    sashing_cut_mm=st.none() | lengths,
    borders_mm=st.lists(lengths, max_size=3).map(tuple),
)
blocks = st.sampled_from(["1", "2", "3", "4"])
# what is done to a project: a method and its arguments
steps = st.one_of(
    st.tuples(st.just("set_plan"), plans),
    st.tuples(st.just("set_state"), blocks, st.sampled_from(STATES)),
    st.tuples(st.just("rename"), blocks, names),
    st.tuples(st.just("note"), blocks, st.text(max_size=30)),
    st.tuples(st.just("set_points"), blocks, st.dictionaries(names, points, max_size=3)),
    st.tuples(st.just("set_centre_line"), blocks, st.none() | st.tuples(points, points)),
    st.tuples(st.just("remove"), blocks),
    st.tuples(st.just("restore"), blocks),
    st.tuples(st.just("photo"), st.integers(0, 5), st.none() | blocks, st.booleans()),
    st.tuples(st.just("ruler"), blocks, lengths, lengths),
    st.tuples(st.just("add_check"), st.tuples(lengths), st.tuples(lengths.map(Estimate)), names),
)


def do(quilt, folder, step):
    method, *given = step
    if method == "photo":
        number, name, trimmed = given
        result = made_up(f"{number}.jpg", folder, 1, 100 + number)
        quilt.add_result(result, name and [name], trimmed=trimmed)
    elif method == "ruler":
        (folder / "r.csv").write_text("name,width,height,unit\n{},{!r},{!r},mm\n".format(*given))
        quilt.import_csv(folder / "r.csv")
    else:
        getattr(quilt, method)(*given)


def everything(quilt):
    """All that can be asked of a project."""
    named = [b.name for b in quilt.blocks()]
    return {
        "plan": quilt.plan,
        "blocks": [dataclasses.asdict(b) for b in quilt.blocks()],
        "removed": quilt.removed(),
        "photos": quilt.photos(),
        "checks": quilt.checks(),
        "histories": {
            name: [dataclasses.asdict(e) for e in quilt.history(name)]
            for name in (*named, *quilt.removed())
        },
    }


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(steps, max_size=14))
def test_export_then_import_gives_the_same_project(todo):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name).resolve()
        (folder / "other").mkdir()
        with Project.create(folder / "a") as a, Project.create(folder / "other" / "b") as b:
            for step in [("photo", 0, None, False), ("ruler", "2", 150.0, 228.0), *todo]:
                with contextlib.suppress(ProjectError):  # a name that is gone, say
                    do(a, folder, step)
            a.export_json(folder / "whole.json")
            b.import_json(folder / "whole.json")
            np.testing.assert_equal(everything(b), everything(a))
            b.export_json(folder / "again.json")
            assert (folder / "again.json").read_text() == (folder / "whole.json").read_text()


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    st.dictionaries(
        names.map(str.strip).filter(lambda n: n and n.isprintable()),
        st.tuples(sides, sides),
        min_size=1,
        max_size=8,
    ),
    st.sampled_from(["in", "cm"]),
)
def test_ruler_sizes_survive_a_table(sizes, unit):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Project.create(folder / "a", Plan(unit=unit)) as a, Project.create(folder / "b") as b:
            write = json.dumps  # CSV's quotes are JSON's but for the doubled ones inside
            rows = [f'{write(n, ensure_ascii=False)},{w}mm,{h}mm' for n, (w, h) in sizes.items()
                    if not set(n) & set('"\\')]  # fmt: skip
            (folder / "r.csv").write_text("\n".join(["name,width,height", *rows]), "utf-8")
            a.import_csv(folder / "r.csv")
            a.export_csv(folder / "out.csv")
            b.import_csv(folder / "out.csv")
            assert [x.name for x in b.blocks()] == [x.name for x in a.blocks()]
            assert len(a.blocks()) == len(rows)
            for x, y in zip(a.blocks(), b.blocks(), strict=True):
                assert y.width_mm.value == pytest.approx(x.width_mm.value, abs=0.002)
                assert y.height_mm.value == pytest.approx(x.height_mm.value, abs=0.002)


@pytest.fixture
def quilt(tmp_path):
    with Project.create(tmp_path / "sails") as made:
        yield made


def take(quilt, text):
    path = quilt.path.with_name("ruler.csv")
    path.write_text(text, encoding="utf-8")
    return quilt.import_csv(path)


def test_a_ruler_reading_is_as_sure_as_its_marks_lie_apart(quilt):
    take(quilt, "name,width,height,unit\nA,6 1/2,9in,\nB,16.5cm,229mm,\nC,16.5,22.9,cm\n")
    a, b, c = quilt.blocks()
    # JCGM 100:2008, F.2.2.1: marks apart by d give u = d / √12 = 0.29 d
    assert a.width_mm == Estimate(6.5 * INCH, (Term("ruler reading", INCH / 16 / math.sqrt(12)),))
    assert a.width_mm.u == pytest.approx(0.29 * INCH / 16, rel=0.01)
    assert a.width_mm.u95 / INCH == pytest.approx(0.036, abs=0.0005)
    assert {e.u for x in (b, c) for e in (x.width_mm, x.height_mm)} == {1 / math.sqrt(12)}
    assert c.height_mm.value == 229
    assert (a.source, a.corners_px) == ("ruler", None)
    np.testing.assert_allclose(a.outline_mm / INCH, [[0, 0], [6.5, 0], [6.5, 9], [0, 9]])
    assert a.guard_mm == a.width_mm.u95 / 2


def test_a_table_taken_twice_adds_nothing_and_a_new_size_is_measured_again(quilt):
    text = "\ufeffName;Width;Height\r\nA;6 1/2;9\r\n\r\nB;6;9\r\n"
    assert take(quilt, text) == ["A", "B"]
    assert take(quilt, text) == []
    assert take(quilt, text.replace("B;6", "B;6 1/8")) == ["B"]
    assert [e.what for e in quilt.history("B")] == ["measured", "measured again"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name,width\nA,6\n", "no column height"),
        ("", "no column name, width, height"),
        ("name,width,height\nA,6,9\nB,wide,9\n", 'line 3: "wide" is not a length'),
        ("name,width,height\nA,6,\n", "line 2: block A has no height"),
        ("name,width,height\nA,165,229\n", 'line 2: "165" cannot be a block\'s side'),
        ("name,width,height\nA,6,9\nA,6,9\n", "line 3: the name is empty or used twice"),
        ("name,width,height\n,6,9\n", "line 2: the name is empty"),
        ("name,width,height,unit\nA,6,9,ell\n", 'line 2: "ell" is not a unit'),
        ("name,width,height,source\nA,6,9,photo\n", "line 2: block A was measured from a photo"),
        ("name,width,height\nA\tB,6,9\n", "cannot be a name"),
        ("name,width,height,width\nA,6,9,7\n", "the column width twice"),
        ("name,width,height\nA,6,9\n" + "B" * 140_000 + ",6,9\n", "line 2: this is not a table"),
        ("name,width,height\n" + "A,6,9\n" * 10_001, "10001 lines"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused_whole_with_its_line(quilt, text, said):
    with pytest.raises(ProjectError, match=said):
        take(quilt, text)
    assert quilt.blocks() == ()


def test_files_that_are_no_text_or_not_there_are_refused(quilt, tmp_path):
    (tmp_path / "x.csv").write_bytes(b"name,width,height\nM\xe4st,6,9\n")
    with pytest.raises(ProjectError, match="UTF-8"):
        quilt.import_csv(tmp_path / "x.csv")
    with pytest.raises(ProjectError, match="cannot be read"):
        quilt.import_csv(tmp_path / "nothing.csv")
    with pytest.raises(ProjectError, match="cannot be written"):
        quilt.export_csv(tmp_path / "nowhere" / "x.csv")


def test_a_whole_project_goes_into_an_empty_one_only(quilt, tmp_path):
    quilt.add_result(made_up("a.jpg", tmp_path))
    quilt.export_json(tmp_path / "a.json")
    with pytest.raises(ProjectError, match="not empty"):
        quilt.import_json(tmp_path / "a.json")


def nodes(value, way=()):
    """Every place in a JSON value, as the keys that lead there."""
    yield way
    inside = value.items() if isinstance(value, dict) else ()
    for key, v in inside if not isinstance(value, list) else enumerate(value):
        yield from nodes(v, (*way, key))


def test_a_spoiled_export_is_refused_in_words_and_leaves_nothing(quilt, tmp_path):
    """Take away or replace one part after another; either it does not matter or it is said."""
    quilt.add_result(made_up("a.jpg", tmp_path), notes="x")
    quilt.add_check((100,), (Estimate(100.0),), "yes")
    quilt.export_json(tmp_path / "a.json")
    text = (tmp_path / "a.json").read_text()
    ways = [w for w in nodes(json.loads(text)) if w]
    refused = 0
    choose = np.random.default_rng(5)
    with Project.create(tmp_path / "b") as b:
        for way in (ways[i] for i in choose.choice(len(ways), 150, replace=False)):
            whole = json.loads(text)
            at = whole
            for key in way[:-1]:
                at = at[key]
            if choose.random() < 0.5:
                del at[way[-1]]
            else:
                at[way[-1]] = [None, -1, "sail", [], {}, {"sail": 1}][choose.integers(6)]
            (tmp_path / "b.json").write_text(json.dumps(whole))
            said = ""
            try:
                b.import_json(tmp_path / "b.json")
            except ProjectError as e:
                said = str(e)
            if said:
                refused += 1
                assert "b.json" in said
                assert b.blocks() == b.photos() == b.checks() == ()
            else:
                everything(b)  # what was taken over can be asked for
                empty(b)
    assert refused > 75


def empty(quilt):
    """Empty a project again."""
    for table in ("event", "measurement", "block", "photo", "check_result"):
        quilt._db.execute(f"DELETE FROM {table}")


@pytest.mark.parametrize("text", ["", "[]", '{"schema": "else/1"}', '{"schema": 1', "\x00"])
def test_what_is_no_export_is_refused(quilt, tmp_path, text):
    (tmp_path / "x.json").write_text(text)
    with pytest.raises(ProjectError, match=r"x\.json"):
        quilt.import_json(tmp_path / "x.json")


def spoil(quilt, tmp_path, change):
    """Export, change the export, take it over into a new project."""
    quilt.export_json(tmp_path / "a.json")
    whole = json.loads((tmp_path / "a.json").read_text())
    changed = change(whole)
    text = changed if isinstance(changed, str) else json.dumps(whole)
    (tmp_path / "b.json").write_text(text)
    return Project.create_from_json(tmp_path / "b", tmp_path / "b.json")


def measured_in(whole):
    return whole["blocks"][0]["history"][0]["measurement"]


def sizes_in(whole):
    return measured_in(whole)["sizes"]


LIES = {  # what no measurement can be, though every part of it is a number
    "a width that its corners have not": lambda w: sizes_in(w)["width_mm"].update(value=150.0),
    "a diagonal that its corners have not": lambda w: sizes_in(w)["diagonals_mm"][0].update(
        value=9
    ),
    "a corner outside any photo": lambda w: sizes_in(w)["corners_px"][0].__setitem__(0, -900),
    "an uncertainty below zero": lambda w: sizes_in(w)["width_mm"]["budget"][0].__setitem__(
        1, -0.1
    ),
    "no number": lambda w: json.dumps(w).replace("228.6", "NaN", 1),
    "an endless number": lambda w: json.dumps(w).replace("228.6", "1e999", 1),
    "a number of a thousand digits": lambda w: json.dumps(w).replace("228.6", "9" * 5000, 1),
    "a key twice": lambda w: json.dumps(w).replace('"removed":', '"removed": true, "removed":'),
    "lists without end": lambda w: "[" * 100_000,
    "five corners": lambda w: sizes_in(w)["corners_mm"].append([1, 1]),
    "three sides": lambda w: sizes_in(w)["sides_mm"].pop(),
    "a covariance below zero": lambda w: sizes_in(w)["corners_cov_mm2"][0].__setitem__(0, -1.0),
    "a setting that nobody knows": lambda w: measured_in(w)["settings"].update(sail=1),
    "a card of a mile": lambda w: measured_in(w)["settings"].update(card_side=1.6e6),
    "a lens that is none": lambda w: measured_in(w)["settings"].update(profiles=[{"f": 1}]),
    "several photos that are none": lambda w: measured_in(w)["settings"].update(together=[7]),
    "a photo that is not among the photos": lambda w: w["photos"].clear(),
    "a thousand million rows": lambda w: w["plans"][0]["plan"].update(rows=10**9),
    "half a row": lambda w: w["plans"][0]["plan"].update(rows=2.5),
    "a border of a mile": lambda w: w["plans"][0]["plan"].update(borders_mm=[1.6e6]),
    "a name of two lines": lambda w: w["blocks"][0].update(name="a\nb"),
    "a note of a megabyte": lambda w: w["blocks"][0].update(note="x" * 1_000_000),
    "a day that is none": lambda w: w["blocks"][0]["history"][0].update(at="the other day"),
}


@pytest.mark.parametrize("lie", LIES)
def test_an_export_that_lies_is_refused_in_words_and_nothing_is_left(quilt, tmp_path, lie):
    quilt.add_result(made_up("a.jpg", tmp_path))
    with pytest.raises(ProjectError, match=r"b\.json") as failure:
        spoil(quilt, tmp_path, LIES[lie])
    assert len(str(failure.value)) < 600
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.json", "b.json", "sails.blockcheck"]


def test_an_export_of_the_demo_is_taken_back(tmp_path):
    """Sizes measured in photos agree with their corners to the hundredth of a millimetre."""
    photo = Path(__file__).parents[2] / "blockcheck" / "demo_photos" / "sailboat-2.jpg"
    with Project.create(tmp_path / "a") as a:
        a.add_result(measure_photo(photo, card_side="4in"))
        with spoil(a, tmp_path, lambda whole: None) as b:
            np.testing.assert_equal(everything(b), everything(a))


@pytest.mark.parametrize("name", ["=1+1", "+Mast", "-1", "@SUM(A1)", "'=x", "'", "''", "'quoted'",
                                  "＝1", "Mast"])  # fmt: skip
def test_a_table_shows_formulas_and_names_come_back_the_same(quilt, tmp_path, name):
    take(quilt, 'name,width,height\n"x",6,9\n')
    quilt.rename("x", name)
    quilt.note(name, "=HYPERLINK(0)")
    quilt.export_csv(tmp_path / "out.csv")
    lines = (tmp_path / "out.csv").read_text("utf-8-sig").splitlines()
    (row,) = csv.DictReader(lines)
    assert row["note"] == "'=HYPERLINK(0)"
    assert row["name"][0] not in "=+-@＝"
    with Project.create(tmp_path / "b") as b:
        assert b.import_csv(tmp_path / "out.csv") == [name]


def test_a_device_or_a_pipe_is_no_table(quilt, tmp_path):
    (tmp_path / "zero.csv").symlink_to("/dev/zero")
    with pytest.raises(ProjectError, match="not an ordinary file"):
        quilt.import_csv(tmp_path / "zero.csv")
