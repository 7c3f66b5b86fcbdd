"""After trimming: the size, squareness and spread that one more photo shows."""

from dataclasses import replace

import numpy as np

from blockcheck.planning.plan import BlockRecord, Plan
from blockcheck.planning.quilt import work_out
from blockcheck.report.trimmed_words import after_trimming
from blockcheck.uncertainty import Estimate, Term
from blockcheck.units import INCH

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
