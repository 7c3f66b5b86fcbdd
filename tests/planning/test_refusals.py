"""What cannot be planned is said in a sentence, with what to do where something can be done."""

import re

import numpy as np
import pytest

from blockcheck.errors import PlanError
from blockcheck.planning import choice
from blockcheck.planning.cutting import cloth, finishing
from blockcheck.planning.layouts.design import Border, Design
from blockcheck.planning.layouts.layout import lay_out
from blockcheck.planning.plan import Plan
from blockcheck.planning.rows.halves import compare_halves
from blockcheck.planning.rows.laying import lay_rows
from blockcheck.planning.rows.order import arrange
from blockcheck.planning.rows.seam_matches import Piece, half_block_cut, seam_positions
from blockcheck.planning.trimming.block import Block
from blockcheck.planning.trimming.common_size import common_size
from blockcheck.planning.trimming.sewn_seam import seam_allowance_really_sewn
from blockcheck.planning.trimming.trim_lines import trim
from blockcheck.units import INCH

SENTENCE = re.compile(r"""["A-Z0-9][a-z ].*[a-z%]\.""")
CORNERS = np.array([[0.0, 0.0], [6, 0], [6, 9], [0, 9]]) * INCH
GULL = Block("Gull", CORNERS)
ONE, SAME = (("sailboat",),), [[3.0, 3.0], [3.0, 3.0]]


def design(**more):
    given = {"blocks_mm": {"sailboat": (140.0, 216.0)}, "repeat": ONE, "rows": 3}
    return lay_out(Design(**{**given, "blocks_per_row": 3, **more}))


ALONE = {
    "a border of no kind": lambda: Border({"top": 25.4}, "rounded"),
    "an outline of a line": lambda: Block("Gull", CORNERS[:2]),
    "an outline of no numbers": lambda: Block("Gull", CORNERS * np.nan),
    "a half of three corners": lambda: compare_halves(CORNERS, CORNERS[:3]),
    "cornerstones without sashing": lambda: design(cornerstones=True),
    "cornerstones in offset rows": lambda: design(
        setting="offset", cornerstones=True, between_blocks_mm=25.0, between_rows_mm=25.0
    ),
    "clipping of nothing": lambda: design(clipped_mm=20.0),
    "shifted blocks": lambda: design(setting="offset", shifted="blocks"),
    "no row": lambda: design(rows=0),
    "backing no wider than its seams": lambda: finishing.backing(900, 900, usable_mm=25.4),
    "twice as much cloth as there is": lambda: cloth.lay_on_cloth([], allowance=1.0),
    "a centre line of one place": lambda: trim(GULL, 140, 216, centre_line_mm=SAME),
    "rows of one block": lambda: lay_rows(Plan(), [], (140, 216)),
    "a piece of nothing but seams": lambda: seam_positions([Piece("Gull", 12.7, 12.7)]),
}
WITH_A_HINT = {
    "no block": lambda: common_size([]),
    "both dimensions fixed": lambda: common_size([GULL], fix_width_mm=9, fix_height_mm=9),
    "no size for all": lambda: common_size([GULL], fix_width_mm=12 * INCH),
    "squares that are none": lambda: choice.choose(
        Plan(planned_mm=(165, 241), keep_square=True), [], []
    ),
    "a size of seam allowances": lambda: trim(GULL, 12.7, 216),
    "no seam": lambda: seam_allowance_really_sewn([165.1], 165.1, 0),
    "sashing wider than the block": lambda: half_block_cut(165.1, sashing_cut_mm=165.1),
    "sashing that ends in its seams": lambda: half_block_cut(165.1, sashing_cut_mm=12.7),
    "a mitre of two widths": lambda: Border({"top": 25.4, "left": 50.8}, "mitred"),
    "sashing on point": lambda: design(setting="on point", between_rows_mm=25.4),
    "a setting of no name": lambda: design(setting="round"),
    "an order of nothing": lambda: design(repeat=()),
    "rows that do not come out even": lambda: arrange({"a": 165.0, "b": 165.0, "c": 165.0}, 2),
    "an allowance in words": lambda: cloth.read_allowance("some"),
    "places without blocks": lambda: arrange({"a": 165.0}, [[None, None]]),
}


def refused(call):
    with pytest.raises(PlanError) as found:
        call()
    assert SENTENCE.fullmatch(found.value.message)
    return found.value.hint


@pytest.mark.parametrize("name", ALONE)
def test_a_refusal_is_a_sentence(name):
    assert refused(ALONE[name]) == ""


@pytest.mark.parametrize("name", WITH_A_HINT)
def test_a_refusal_says_what_to_do_in_a_sentence_too(name):
    assert SENTENCE.fullmatch(refused(WITH_A_HINT[name]))
