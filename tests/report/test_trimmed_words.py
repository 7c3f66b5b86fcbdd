"""After trimming: the size, squareness and spread that one more photo shows."""

from dataclasses import replace

import numpy as np

from blockcheck.planning.plan import BlockRecord, Plan
from blockcheck.planning.quilt import work_out
from blockcheck.report import trimmed_words
from blockcheck.report.html import report_html
from blockcheck.report.labels import write_labels
from blockcheck.report.trim_sheet import write_trim_sheet
from blockcheck.report.trimmed_words import after_trimming
from blockcheck.uncertainty import Estimate, Term
from blockcheck.units import INCH
from tests.report.test_report import pdf_text

U = (Term("edge fit", 0.1),)
PLAN = Plan(planned_mm=(6 * INCH, 9 * INCH))


def block(name, width, height, *, skew=0.2, before=(6.2, 9.2), **more):
    w, h = width * INCH, height * INCH
    outline = np.array([[0, 0], [w, 0], [w, h], [0, h]])
    past = tuple(Estimate(mm * INCH, U) for mm in before)
    return replace(
        BlockRecord(name, "trimmed", Estimate(w, U), Estimate(h, U), outline, 0.1),
        before_mm=past, out_of_square_mm=Estimate(skew, U), **more,
    )  # fmt: skip


def test_what_was_trimmed_well_and_what_was_not():
    blocks = (
        block("a", 6.0, 9.01, before=(6.1, 9.3)),
        block("b", 6.01, 9.0, before=(6.3, 9.1)),
        block("c", 5.875, 9.0),
        block("d", 6.0, 9.0, skew=4.0),
        block("e", 6.2, 9.2, checked=False),
    )
    said = " ".join(after_trimming(work_out(PLAN, blocks), blocks))
    # c does not reach 6 in, so the set's size is smaller; the chosen one is looked at instead
    chosen = replace(PLAN, chosen_mm=(6 * INCH, 9 * INCH))
    said = " ".join(after_trimming(work_out(chosen, blocks), blocks))
    assert "Trimmed and measured since: 2 of 4 are 6 × 9 in and square." in said
    assert "C is 1/8 in too narrow." in said
    assert "D is out of square, its diagonals 5/32 in apart." in said
    assert "Trimmed but not measured since: e." in said
    assert "differed by 3/32 in in width" in said or "before trimming" in said


def test_nothing_is_said_before_anything_is_trimmed():
    blocks = (replace(block("a", 6.2, 9.2), state="measured"),)
    assert after_trimming(work_out(PLAN, blocks), blocks) == ()


def test_what_lies_within_its_uncertainty_is_never_called_off():
    vague = (Term("edge fit", 2.0),)
    one = replace(
        block("a", 6.1, 9.1), width_mm=Estimate(6.1 * INCH, vague),
        height_mm=Estimate(9.1 * INCH, vague), out_of_square_mm=Estimate(3.0, vague),
    )  # fmt: skip
    said = after_trimming(work_out(replace(PLAN, chosen_mm=PLAN.planned_mm), (one,)), (one,))
    assert said == ("Trimmed and measured since: 1 of 1 is 6 × 9 in and square.",)


def test_a_trimmed_block_is_told_no_cuts_unless_a_photo_since_shows_them(tmp_path):
    """The same words on the trim list, the sheet, the labels and the report."""
    blocks = (
        block("a", 6.2, 9.2, checked=False),
        block("b", 6.0, 9.0),
        block("c", 6.125, 9.0),
        replace(block("d", 6.2, 9.2), state="measured"),
    )
    quilt = work_out(replace(PLAN, chosen_mm=PLAN.planned_mm), blocks)
    told = {t.name: trimmed_words.state(quilt, t) for t in quilt.trims}
    assert told["a"] == ": trimmed; photograph it again to check"
    assert told["b"] == ": trimmed, and right"
    assert told["c"] == ": trimmed, and still 1/8 in too wide"
    for t in quilt.trims:
        cuts = t.name in "cd"
        assert bool(trimmed_words.steps(quilt, t)) is cuts
        assert (trimmed_words.amounts(quilt, t) != ("–",) * 4) is cuts
        assert (len(trimmed_words.label_lines(quilt, t)) > 1 or t.name == "d") is cuts
    page = report_html(quilt, blocks, title="Boats")
    assert page.count("trimmed; photograph it again to check</span>") == 1
    assert page.count('<figure class="picture">') == 2
    for write in (write_trim_sheet, write_labels):
        write(tmp_path / "p.pdf", quilt, title="Boats")
        text = " ".join(pdf_text(tmp_path / "p.pdf").split())
        assert "Trimmed; photograph it again to check." in text
        assert "Trimmed, and right." in text
