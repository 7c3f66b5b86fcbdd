"""Labels to pin on: every block once, its place, what to trim, nothing torn or run over."""

import re
import subprocess
from dataclasses import replace

import pytest

from blockcheck.errors import PlanError
from blockcheck.planning.plan import Plan
from blockcheck.planning.quilt import work_out
from blockcheck.planning.trimming.trim_lines import SEEN_MM
from blockcheck.report import trim_words
from blockcheck.report.labels import write_labels
from blockcheck.report.rows_words import places
from tests.report.test_report import PLAN, SIX, pdf_text


def blocks(count, **change):
    return tuple(replace(SIX[i % 6], name=f"S{i}", **change) for i in range(count))


@pytest.mark.parametrize(("paper", "points"), [("letter", (612, 792)), ("a4", (595, 842))])
def test_every_block_has_one_label_with_its_place(tmp_path, paper, points):
    plan = Plan(rows=2, blocks_per_row=7)
    write_labels(tmp_path / "l.pdf", work_out(plan, blocks(14)), title="Boats", paper=paper)
    text = pdf_text(tmp_path / "l.pdf")
    first, second = text.split("\f")[:2]
    assert [page.count("Trim to 6 1/4 × 9 1/8 in") for page in (first, second)] == [8, 6]
    assert all(len(re.findall(rf"\bS{i}\b", text)) == 1 for i in range(14))
    assert text.count("row 1, place") == text.count("row 2, place") == 7
    boxes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", (tmp_path / "l.pdf").read_bytes())
    assert {tuple(round(float(v)) for v in box) for box in boxes} == {points}


def test_places_count_half_and_alternate_blocks_but_not_sashing():
    plan = Plan(rows=2, blocks_per_row=4, alternate=True, setting="offset", sashing_cut_mm=38.1)
    quilt = work_out(replace(plan, shifted="rows"), blocks(4))
    assert places(quilt)["S0"] == "row 1, place 1 from the left"
    assert places(quilt)["S1"] == "row 1, place 3 from the left"
    assert places(quilt)["S2"] == "row 2, place 2 from the left"
    columns = work_out(replace(plan, shifted="columns"), blocks(4))
    assert places(columns)["S1"] == "column 2, place 2 from the top"


def test_a_label_says_what_is_cut_and_where_cloth_is_missing():
    quilt = work_out(PLAN, SIX)
    assert any(t.nothing_to_trim for t in quilt.trims)
    assert sum(len(trim_words.label_lines(quilt.plan, t)) > 1 for t in quilt.trims) > 1
    for trim in quilt.trims:
        said = trim_words.label_lines(quilt.plan, trim)
        if trim.nothing_to_trim:
            assert said == ("No trimming needed.",)
            continue
        assert [line.partition(":")[0] for line in said] == [
            side
            for side in ("right", "top", "left", "bottom")
            if any(
                o.side == side and (trim_words.sticks_out(o) or o.least_mm <= -SEEN_MM)
                for o in trim.offcuts
            )
        ]


def test_where_no_rows_are_worked_out_the_place_is_written_by_hand(tmp_path):
    write_labels(tmp_path / "l.pdf", work_out(Plan(setting="on point"), SIX), title="Boats")
    assert pdf_text(tmp_path / "l.pdf").count("place ______") == len(SIX)


def test_nothing_runs_out_of_its_label(tmp_path):
    """Longest names, every side sticking out, and problems: words stay inside their fields."""
    names = ["W" * 60, "a boat with two masts and a very long name indeed, no. 7", "船", "1"]
    many = tuple(
        replace(b, name=n, points_mm={"mast": (76.0, 1.0), "keel": (76.0, 228.0)})
        for b, n in zip(SIX, names, strict=False)
    )
    write_labels(tmp_path / "l.pdf", work_out(PLAN, many), title="B" * 200)
    pdf_text(tmp_path / "l.pdf")  # skips where poppler is not installed
    boxed = subprocess.run(
        ["pdftotext", "-bbox", tmp_path / "l.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    found = re.findall(
        r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">([^<]*)', boxed
    )
    assert len(found) > 60
    tall = (792 - 2 * 43.2) / 4
    for x0, y0, x1, y1, word in ((*map(float, box), word) for *box, word in found):
        if not 43.2 < y0 < 792 - 43.2:
            assert x1 <= 612 - 36, word
            continue
        assert (x0 - 306) * (x1 - 306) > 0, word
        assert 36 < x0 < x1 < 612 - 36, word
        assert int((y0 - 43.2) / tall) == int((y1 - 43.2) / tall), word


def test_labels_without_a_size_are_refused(tmp_path):
    with pytest.raises(PlanError, match="no measured blocks"):
        write_labels(tmp_path / "l.pdf", work_out(PLAN, ()), title="x")
    assert not (tmp_path / "l.pdf").exists()
