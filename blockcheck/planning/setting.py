"""The blocks set into rows as they measure, and what is cut for the rest of the quilt."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..errors import PlanError
from ..uncertainty import Estimate
from ..units import INCH, format_length
from . import cutting, finishing
from .arranging import Arrangement, arrange
from .cutting import CutPiece, Figure, StripYield, Yardage
from .finishing import Binding, QuiltingLines
from .layout import Piece, RowsCheck, check_rows, half_block_cut
from .plan import BlockRecord, Plan, called

ARRANGE_LIMIT_S = 1.0  # what a person waits for an order of the blocks
LINES_APART_MM = 2 * INCH  # marked quilting lines at most this far apart: common practice
SETTING, HALF, STRIP, TO_SEW = "setting rectangle", "half block", "strip", "block still to sew"


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


@dataclass(frozen=True)
class Cut:
    """One kind of piece, the strips it is cut from, and what one strip gives.

    `per_strip` is None where a piece is longer than the fabric is wide and is joined.
    """

    piece: CutPiece
    strips: int
    strip_mm: float
    per_strip: StripYield | None


@dataclass(frozen=True)
class Fabric:
    """All that is cut from one fabric."""

    name: str
    cuts: tuple[Cut, ...]
    yardage: Yardage


@dataclass(frozen=True)
class Finish:
    """The finished quilt and what closes it.

    Attributes
    ----------
    body : (Figure, Figure)
        Width and height inside the borders.
    width_mm, height_mm : float
        With the borders.
    batting, backing, backing_cloth, binding
    lines : QuiltingLines
        Across a finished block or setting piece.
    """

    body: tuple[Figure, Figure]
    width_mm: float
    height_mm: float
    batting: CutPiece
    backing: CutPiece
    backing_cloth: Yardage
    binding: Binding
    lines: QuiltingLines


def scale_u(e: Estimate) -> float:
    """The part of the standard uncertainty that all photos share: the references' own size."""
    return math.sqrt(sum(t.u**2 for t in e.budget if t.name.endswith("scale")))


def own_u(e: Estimate) -> float:
    """The part of the standard uncertainty that is the block's alone."""
    return math.sqrt(max(e.u**2 - scale_u(e) ** 2, 0.0))


def grid(plan: Plan, blocks: int) -> tuple[int, int]:
    """Rows and columns: as planned, else the most even grid that wastes fewest places."""
    count = 2 * blocks - 1 if plan.alternate else blocks
    if plan.rows and plan.columns:
        return plan.rows, plan.columns
    if plan.rows:
        return plan.rows, math.ceil(count / plan.rows)
    if plan.columns:
        return math.ceil(count / plan.columns), plan.columns
    tries = range(2, math.isqrt(count) + 1) or (1,)
    rows = min(tries, key=lambda r: (-count % r, -r))
    return rows, math.ceil(count / rows)


def lay_rows(plan: Plan, blocks: Sequence[BlockRecord], size_mm: tuple[float, float]) -> Rows:
    """Set blocks into the plan's rows in their order and compare neighbouring rows.

    In an offset setting every second row is shifted by half a block and begins and ends with a
    half block. Strips between the rows would part rows that are shifted along themselves, so
    with strips it is the columns that are shifted, and the strips lie between their pieces.

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
    shifted, strip_mm = plan.setting == "offset", plan.strip_cut_mm
    upright = shifted and strip_mm is not None
    between = [Piece(STRIP, strip_mm, strip_mm)] if upright and strip_mm is not None else []
    rows, columns = grid(plan, len(blocks))
    lines, per = (columns, rows) if upright else (rows, columns)
    cut = size_mm[upright]
    ends: list[Piece] = []
    if shifted and lines > 1:
        half = half_block_cut(cut, strip_cut_mm=strip_mm if upright else None, seam_mm=plan.seam_mm)
        ends = [Piece(HALF, half, half)]
    sizes = [(called(b.name), b.height_mm if upright else b.width_mm) for b in blocks]
    waiting = iter([Piece(name, e.value, cut, own_u(e)) for name, e in sizes])
    laid: list[tuple[Piece, ...]] = []
    turn = 0
    for line in range(lines):
        odd = shifted and line % 2 == 1
        row = list(ends) if odd else []
        for place in range(per - odd):
            # blocks and plain pieces take turns: like a chessboard, or as shifted rows fill up
            plain = plan.alternate and (turn if shifted else line + place) % 2 == 1
            turn += 1
            unsewn = Piece(TO_SEW, cut, cut)
            row.append(Piece(SETTING, cut, cut) if plain else next(waiting, unsewn))
        row += ends if odd else []
        laid.append(tuple([p for piece in row for p in (*between, piece)][len(between) :]))
    left_over = tuple(p.name for p in waiting)
    check = check_rows(laid, seam_mm=plan.seam_mm, tolerance_mm=plan.tolerance_mm, unit=plan.unit)
    result = Rows("height" if upright else "width", tuple(laid), check, None, "", 0, left_over)
    result = replace(result, to_sew=result.count(TO_SEW))
    if lines < 2:
        return replace(result, note="One row has no joints to meet another's.")
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


def cut_list(
    plan: Plan, rows: Rows, size_mm: tuple[float, float]
) -> tuple[CutPiece | None, tuple[Fabric, ...], Finish]:
    """Work out the half block, every fabric's pieces, and the finished quilt.

    Raises
    ------
    PlanError
        If a strip, border or piece comes out at nothing.
    """
    seam, unit, strip = plan.seam_mm, plan.unit, plan.strip_cut_mm
    upright = rows.along == "height"
    per = sum(p.name != STRIP for p in rows.pieces[0])
    high, wide = (per, len(rows.pieces)) if upright else (len(rows.pieces), per)
    inner_w, inner_h = size_mm[0] - 2 * seam, size_mm[1] - 2 * seam
    plain, strips = [], []
    half = None
    if count := rows.count(SETTING):
        plain.append(cutting.setting_pieces(*size_mm, count, unit=unit))
    if count := rows.count(HALF):
        half = cutting.half_blocks(
            *size_mm,
            count,
            across=rows.along,
            strip_cut_mm=strip if upright else None,
            seam_mm=seam,
            unit=unit,
        )
        plain.append(half)
    down = [inner_h] * high
    if strip is not None:
        down = [mm for h in down for mm in (strip - 2 * seam, h)][1:]
        if upright:
            words = (
                f"as long as a block is wide, {format_length(size_mm[0], unit=unit, fraction=32)}"
            )
            count = rows.count(STRIP)
            strips.append(CutPiece("strip between blocks", size_mm[0], strip, count, words))
        elif high > 1:
            strips.append(
                cutting.strips_between(
                    wide * inner_w, strip - 2 * seam, high, seam_mm=seam, unit=unit
                )
            )
    body = finishing.quilt_size([inner_w] * wide, down, unit=unit)
    whole = (body[0].value_mm, body[1].value_mm)
    groups = [("setting pieces", plain), ("strips", strips)]
    for i, border in enumerate(plan.borders_mm, start=1):
        name = f"border {i}" if len(plan.borders_mm) > 1 else "border"
        pieces, whole = cutting.borders(*whole, border - 2 * seam, seam_mm=seam, unit=unit)
        upright_pair = replace(pieces[0], name=f"{name}, left and right", count=2)
        level_pair = replace(pieces[2], name=f"{name}, top and bottom", count=2)
        groups.append((name, [upright_pair, level_pair]))
    usable = plan.fabric_width_mm
    panels, cloth = finishing.backing(*whole, usable_mm=usable, unit=unit)
    parts = max(2, math.ceil(inner_w / LINES_APART_MM - 1e-9))
    finish = Finish(
        body,
        *whole,
        finishing.batting(*whole, unit=unit),
        panels,
        cloth,
        finishing.binding(*whole, usable_mm=usable, unit=unit),
        finishing.quilting_lines(inner_w, parts, step_mm=plan.step_mm, unit=unit),
    )
    return half, tuple(_fabric(plan, name, some) for name, some in groups if some), finish


def _fabric(plan: Plan, name: str, pieces: Sequence[CutPiece]) -> Fabric:
    usable = plan.fabric_width_mm
    cloth = cutting.yardage(pieces, usable, seam_mm=plan.seam_mm, unit=plan.unit)
    cuts = []
    for piece, (_, strips, strip) in zip(pieces, cloth.strips, strict=True):
        long = piece.height_mm if strip == piece.width_mm else piece.width_mm
        one = cutting.pieces_from_strip(long, usable, unit=plan.unit) if long <= usable else None
        cuts.append(Cut(piece, strips, strip, one))
    return Fabric(name, tuple(cuts), cloth)
