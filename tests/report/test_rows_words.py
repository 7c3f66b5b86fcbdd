"""How the rows meet, in words: what is promised of an order is what is said once it is laid."""

import re

import numpy as np

from blockcheck.planning.plan import BlockRecord, Plan, called
from blockcheck.planning.quilt import work_out
from blockcheck.report.rows_words import misses, rows_verdict
from blockcheck.uncertainty import Estimate, Term
from blockcheck.units import INCH

WIDE = {"1": 6.05, "2": 5.96, "3": 5.76, "4": 6.0, "5": 6.03, "6": 6.04}
PLAN = Plan(rows=2, blocks_per_row=3)
AT_WORST = r"the worst seam match is (.+? in) off and neighbours differ in height by up to (.+? in)"


def record(name):
    wide, high = WIDE[name] * INCH, (9 + int(name) / 48) * INCH
    outline = np.array([[0, 0], [wide, 0], [wide, high], [0, high]])
    sizes = (Estimate(mm, (Term("edge fit", 0.1),)) for mm in (wide, high))
    return BlockRecord(name, "measured", *sizes, outline, 0.0)


def test_what_is_promised_of_an_order_is_what_is_said_once_it_is_laid():
    quilt = work_out(PLAN, [record(name) for name in WIDE])
    before, promised = re.findall(AT_WORST, " ".join(rows_verdict(quilt)).replace("The", "the"))
    assert promised != before
    names = {called(name): name for name in WIDE}
    better = [record(names[n]) for row in quilt.rows.arrangement.rows for n in row]
    laid = work_out(PLAN, better)
    assert re.findall(AT_WORST, rows_verdict(laid)[0].replace("The", "the")) == [promised]
    assert laid.rows.better(PLAN.tolerance_mm / 8) is None


def test_where_a_row_ends_no_block_follows():
    """Only the last pair misses: what is apart there is so once the seams before are matched."""
    rows = work_out(PLAN, [record(name) for name in WIDE]).rows
    (said, *_) = misses(work_out(PLAN, [record(name) for name in WIDE]), rows, rows.check)
    assert said.startswith(
        "With the seams before them matched, the end of row 1 and the end of row 2 are 1/4 in apart."
    )
    assert "after block 3" not in said
