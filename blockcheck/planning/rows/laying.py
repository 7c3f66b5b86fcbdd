"""The blocks laid into rows as they measure, beside pieces cut to go with them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ...errors import PlanError
from ...uncertainty import own_u
from ..plan import BlockRecord, Plan, called
from .order import Arrangement, arrange
from .seam_matches import Piece, RowsCheck, check_rows, half_block_cut

ARRANGE_LIMIT_S = 1.0  # what a person waits for an order of the blocks
ALTERNATE, HALF, SASHING, TO_SEW = "alternate block", "half block", "sashing", "block still to sew"


@dataclass(frozen=True)
class Rows:
    """The blocks laid out as they measure now, before any trimming.

    Attributes
    ----------
    along : {"width", "height"}
        Rows of widths, or columns of heights where it is the columns that are shifted.
    pieces : tuple of tuple of Piece
        Each row's (column's) pieces in order.
    check : RowsCheck
    arrangement : Arrangement or None
        An order of the blocks that meets best untrimmed.
    note : str
        Why there is no arrangement, or an empty text.
    to_sew : int
        Places that still lack a block.
    left_over : tuple of str
        Blocks for which there is no place.
    """

    along: str
    pieces: tuple[tuple[Piece, ...], ...]
    check: RowsCheck
    arrangement: Arrangement | None
    note: str
    to_sew: int
    left_over: tuple[str, ...]

    def count(self, name: str) -> int:
        """How many pieces of a name there are."""
        return sum(p.name == name for line in self.pieces for p in line)


def grid(plan: Plan, blocks: int) -> tuple[int, int]:
    """Rows and blocks per row: as planned, else the most even grid that wastes fewest places."""
    count = 2 * blocks - 1 if plan.alternate else blocks
    if plan.rows and plan.blocks_per_row:
        return plan.rows, plan.blocks_per_row
    if plan.rows:
        return plan.rows, math.ceil(count / plan.rows)
    if plan.blocks_per_row:
        return math.ceil(count / plan.blocks_per_row), plan.blocks_per_row
    tries = range(2, math.isqrt(count) + 1) or (1,)
    rows = min(tries, key=lambda r: (-count % r, -r))
    return rows, math.ceil(count / rows)


def lay_rows(plan: Plan, blocks: Sequence[BlockRecord], size_mm: tuple[float, float]) -> Rows:
    """Set blocks into the plan's rows in their order and compare neighbouring rows.

    In an offset setting every second row is shifted by half a block and begins and ends with a
    half block. Sashing between the rows would part rows that are shifted along themselves, so
    with sashing it is the columns that are shifted, and the sashing lies between their pieces.

    Parameters
    ----------
    plan : Plan
    blocks : sequence of BlockRecord
    size_mm : (float, float)
        Cut size that pieces other than blocks are cut to match.

    Raises
    ------
    PlanError
        If there are fewer than two blocks, or pieces that nothing is left of.
    """
    if len(blocks) < 2:
        raise PlanError("Rows are compared once two blocks or more are measured.")
    shifted, sashing_mm = plan.setting == "offset", plan.sashing_cut_mm
    upright = shifted and sashing_mm is not None
    between = [Piece(SASHING, sashing_mm, sashing_mm)] if upright and sashing_mm is not None else []
    rows, per_row = grid(plan, len(blocks))
    lines, per = (per_row, rows) if upright else (rows, per_row)
    cut = size_mm[upright]
    ends: list[Piece] = []
    if shifted and lines > 1:
        half = half_block_cut(
            cut, sashing_cut_mm=sashing_mm if upright else None, seam_mm=plan.seam_mm
        )
        ends = [Piece(HALF, half, half)]
    sizes = [(called(b.name), b.height_mm if upright else b.width_mm) for b in blocks]
    waiting = iter([Piece(name, e.value, cut, own_u(e)) for name, e in sizes])
    laid: list[tuple[Piece, ...]] = []
    turn = 0
    for line in range(lines):
        odd = shifted and line % 2 == 1
        row = list(ends) if odd else []
        for place in range(per - odd):
            # pieced and alternate blocks take turns: like a chessboard, or as shifted rows fill up
            plain = plan.alternate and (turn if shifted else line + place) % 2 == 1
            turn += 1
            unsewn = Piece(TO_SEW, cut, cut)
            row.append(Piece(ALTERNATE, cut, cut) if plain else next(waiting, unsewn))
        row += ends if odd else []
        laid.append(tuple([p for piece in row for p in (*between, piece)][len(between) :]))
    left_over = tuple(p.name for p in waiting)
    check = check_rows(laid, seam_mm=plan.seam_mm, tolerance_mm=plan.tolerance_mm, unit=plan.unit)
    result = Rows("height" if upright else "width", tuple(laid), check, None, "", 0, left_over)
    result = replace(result, to_sew=result.count(TO_SEW))
    if lines < 2:
        return replace(result, note="A single row has no seams to match with another row's.")
    if result.to_sew or left_over:
        note = "An order of the blocks is worked out once every block has a place, and every place one."
        return replace(result, note=note)
    own = {name for name, _ in sizes}
    arrangement = arrange(
        {name: e.value for name, e in sizes},
        [[None if p.name in own else p for p in line] for line in laid],
        u_mm={name: own_u(e) for name, e in sizes},
        planned_mm=cut,
        seam_mm=plan.seam_mm,
        tolerance_mm=plan.tolerance_mm,
        unit=plan.unit,
        time_limit_s=ARRANGE_LIMIT_S,
    )
    return replace(result, arrangement=arrangement)
