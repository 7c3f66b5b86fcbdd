"""The blocks laid into rows, as they measure and as they will be once they are trimmed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from ...errors import PlanError
from ...uncertainty import own_u
from ...units import INCH
from ..plan import BlockRecord, Plan, called
from .order import Arrangement, arrange
from .seam_matches import Piece, RowsCheck, check_rows, half_block_cut

ARRANGE_LIMIT_S = 1.0  # what a person waits for an order of the blocks
# cutting along a ruler's line: within 1/32 in of it, a rectangular distribution (common practice)
CUTTING_U_MM = INCH / 32 / math.sqrt(12)
ALTERNATE, HALF, SASHING, TO_SEW = "alternate block", "half block", "sashing", "block still to sew"


class NoOrder(Enum):
    """Why no order of the blocks is looked for."""

    ONE_ROW = "a single row meets no other"
    PLACES = "places and blocks are not equally many"
    KINDS = "there are several kinds"


@dataclass(frozen=True)
class Rows:
    """The blocks laid out.

    Attributes
    ----------
    along : {"width", "height"}
        Rows of widths, or columns of heights where it is the columns that are shifted.
    pieces : tuple of tuple of Piece
        Each row's (column's) pieces in order, as the blocks measure now; the others as they would
        be cut to go with the blocks as they are.
    check : RowsCheck
        How these go together.
    trimmed : RowsCheck
        How they will, every block trimmed to size as far as its cloth goes and all else cut to it.
    arrangement : Arrangement or None
        An order of the blocks that meets best untrimmed.
    no_order : NoOrder or None
        Why there is no arrangement.
    to_sew : int
        Places that still lack a block.
    left_over : tuple of str
        Blocks for which there is no place.
    """

    along: str
    pieces: tuple[tuple[Piece, ...], ...]
    check: RowsCheck
    trimmed: RowsCheck
    arrangement: Arrangement | None
    no_order: NoOrder | None
    to_sew: int
    left_over: tuple[str, ...]

    def better(self, least_mm: float) -> Arrangement | None:
        """The order of the blocks that meets better by more than this; None if there is none."""
        found = self.arrangement
        if found is None or found.worst_mm >= self.check.worst_mm - least_mm:
            return None
        return found

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


def lay_rows(
    plan: Plan,
    blocks: Sequence[BlockRecord],
    size_mm: tuple[float, float],
    trimmed_mm: Mapping[str, tuple[float, float]] | None = None,
) -> Rows:
    """Set blocks into the plan's rows in their order; compare neighbours and neighbouring rows.

    In an offset setting every second row is shifted by half a block and begins and ends with a
    half block; sashing lies between the pieces of a row, because between the rows it would part
    what should meet. It is the columns that are shifted where the plan says so, or where it has
    sashing and says nothing.

    Untrimmed, the blocks are compared with pieces that would be cut to go with them as they are:
    to their median size. Nothing is compared with a piece that will be cut otherwise.

    Parameters
    ----------
    plan : Plan
    blocks : sequence of BlockRecord
    size_mm : (float, float)
        The size that blocks are trimmed to, and other pieces cut to match.
    trimmed_mm : mapping of str to (float, float), optional
        Each block's width and height once it is trimmed, where that is not the size.

    Raises
    ------
    PlanError
        If there are fewer than two blocks, or pieces that nothing is left of.
    """
    if len(blocks) < 2:
        raise PlanError("Rows are compared once two blocks or more are measured.")
    upright = shifts_columns(plan)
    rows, per_row = grid(plan, len(blocks))
    lines, per = (per_row, rows) if upright else (rows, per_row)
    pattern, placed = _pattern(plan, lines, per, len(blocks))
    along, over = (1, 0) if upright else (0, 1)
    now = [(b.width_mm, b.height_mm) for b in blocks]
    names = [called(b.name) for b in blocks]
    typical = (
        float(np.median([e[along].value for e in now])),
        float(np.median([e[over].value for e in now])),
    )
    as_is = [
        Piece(name, e[along].value, typical[0], own_u(e[along]), e[over].value, own_u(e[over]))
        for name, e in zip(names, now, strict=True)
    ]
    target = size_mm[along], size_mm[over]
    done = [
        _trimmed(piece, target, (trimmed_mm or {}).get(b.name, size_mm), (along, over))
        for b, piece in zip(blocks, as_is, strict=True)
    ]
    laid = _filled(plan, pattern, as_is, typical)
    check, after = (
        check_rows(
            some,
            seam_mm=plan.seam_mm,
            tolerance_mm=plan.tolerance_mm,
            trimmed=trimmed,
        )
        for some, trimmed in ((laid, False), (_filled(plan, pattern, done, target), True))
    )
    result = Rows(
        "height" if upright else "width", laid, check, after, None, None, 0, tuple(names[placed:])
    )
    result = replace(result, to_sew=result.count(TO_SEW))
    if lines < 2:
        return replace(result, no_order=NoOrder.ONE_ROW)
    if result.to_sew or result.left_over:
        return replace(result, no_order=NoOrder.PLACES)
    arrangement = arrange(
        {p.name: p.cut_mm for p in as_is},
        [
            [None if isinstance(slot, int) else p for slot, p in zip(slots, line, strict=True)]
            for slots, line in zip(pattern, laid, strict=True)
        ],
        u_mm={p.name: p.u_mm for p in as_is},
        planned_mm=typical[0],
        across_mm={p.name: e[over].value for p, e in zip(as_is, now, strict=True)},
        across_planned_mm=typical[1],
        seam_mm=plan.seam_mm,
        tolerance_mm=plan.tolerance_mm,
        time_limit_s=ARRANGE_LIMIT_S,
    )
    return replace(result, arrangement=arrangement)


def shifts_columns(plan: Plan) -> bool:
    """Whether it is the columns of an offset setting that are shifted, and sewn first."""
    if plan.setting != "offset":
        return False
    return plan.sashing_cut_mm is not None if plan.shifted is None else plan.shifted == "columns"


def _pattern(plan: Plan, lines: int, per: int, blocks: int) -> tuple[list[list[int | str]], int]:
    """What lies where, a block by its number; and how many blocks have a place."""
    shifted = plan.setting == "offset"
    between = [SASHING] if shifted and plan.sashing_cut_mm is not None else []
    pattern: list[list[int | str]] = []
    turn = placed = 0
    for line in range(lines):
        odd = shifted and line % 2 == 1
        row: list[int | str] = [HALF] if odd else []
        for place in range(per - odd):
            # pieced and alternate blocks take turns: like a chessboard, or as shifted rows fill up
            plain = plan.alternate and (turn if shifted else line + place) % 2 == 1
            turn += 1
            if plain:
                row.append(ALTERNATE)
                continue
            row.append(placed if placed < blocks else TO_SEW)
            placed += placed < blocks
        row += [HALF] if odd else []
        pattern.append([p for piece in row for p in (*between, piece)][len(between) :])
    return pattern, placed


def _filled(
    plan: Plan,
    pattern: Sequence[Sequence[int | str]],
    blocks: Sequence[Piece],
    cut_mm: tuple[float, float],
) -> tuple[tuple[Piece, ...], ...]:
    """The pieces of a pattern; those that are no blocks are cut to go with `cut_mm`."""
    along, over = cut_mm
    sashing = plan.sashing_cut_mm if plan.setting == "offset" else None
    lengths = {ALTERNATE: along, TO_SEW: along, SASHING: sashing or along}
    if any(slot == HALF for line in pattern for slot in line):
        lengths[HALF] = half_block_cut(along, sashing_cut_mm=sashing, seam_mm=plan.seam_mm)
    others = {name: Piece(name, mm, mm, 0.0, over) for name, mm in lengths.items()}
    return tuple(
        tuple(blocks[slot] if isinstance(slot, int) else others[slot] for slot in line)
        for line in pattern
    )


def _trimmed(
    now: Piece,
    target_mm: tuple[float, float],
    size_mm: tuple[float, float],
    axes: tuple[int, int],
) -> Piece:
    """A block once it is trimmed: cut along the ruler, or as it measures where it is short."""
    along, over = (min(size_mm[i], goal) for i, goal in zip(axes, target_mm, strict=True))
    u = [
        CUTTING_U_MM if mm >= goal - 1e-6 else measured
        for mm, goal, measured in zip(
            (along, over), target_mm, (now.u_mm, now.across_u_mm), strict=True
        )
    ]
    return Piece(now.name, along, target_mm[0], u[0], over, u[1])
