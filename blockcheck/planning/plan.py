"""What a quilter has decided, and what is known of each block: what the other modules work on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ..uncertainty import Estimate
from ..units import INCH
from .trimming.block import Block

Sides = tuple[tuple[str, float], ...]  # widths by side: "top", "right", "bottom", "left"
GIVE_MM = INCH / 32  # what a seam allowance can lose and still hold: common practice


@dataclass(frozen=True)
class Kind:
    """A kind of block beside the plan's first one.

    Attributes
    ----------
    name : str
    planned_mm : (float, float) or None
        Planned unfinished width and height.
    seams_across, seams_down : int or None
        As of `Plan`.
    halves : bool
        Whether it is sewn as two mirrored halves that are then joined: `planned_mm` is one half's.
    motif : str
        What it shows, in a few words.
    chosen_mm : (float, float) or None
        The size to trim to, where the quilter chose it.
    """

    name: str
    planned_mm: tuple[float, float] | None = None
    seams_across: int | None = None
    seams_down: int | None = None
    halves: bool = False
    motif: str = ""
    chosen_mm: tuple[float, float] | None = None


@dataclass(frozen=True)
class Plan:
    """The quilt's plan. Lengths are in millimetres.

    Attributes
    ----------
    planned_mm : (float, float) or None
        Planned unfinished width and height of a block.
    seam_mm, tolerance_mm : float
        Seam allowance; how far a seam match may miss, or a block be off its planned size.
    least_seam_mm : float or None
        The least seam allowance that still holds; the allowance less 1/32 in where None.
    guarded : bool
        Whether a block reaches a size only where its uncertainty leaves no doubt (guarded
        acceptance, JCGM 106, 8.3), not as it measures (simple acceptance, 8.2).
    step_mm : float
        Spacing of the ruler lines that a size falls on.
    fixed_width_mm, fixed_height_mm : float or None
        One dimension of the common size, where the plan fixes it.
    keep_square : bool or None
        Whether the size to trim to has to be a square; as planned where None.
    chosen_mm : (float, float) or None
        The size to trim to, where the quilter chose it.
    unit, fraction
        How lengths are written: "in" with fractions to 1/`fraction`, or "cm".
    card_side, sheet_side, square, grid : float or None
        As of `Settings`.
    cloth_height : float
        Height of the cloth's face above the mat.
    fabric_width_mm : float
        Usable width of the fabric.
    seams_across, seams_down : int or None
        Seams that the planned width and height cross inside a block.
    setting : {"straight", "offset", "on point"}
        Rows in line; neighbouring rows (columns) shifted by half a block; blocks on a corner.
    shifted : {"rows", "columns"} or None
        Which of them an offset setting shifts; columns where None and there is sashing.
    rows, blocks_per_row : int or None
        Places in the quilt; from the number of blocks where None.
    alternate : bool
        Whether pieced and alternate blocks take turns.
    sashing_cut_mm : float or None
        Cut width of the sashing; none where None.
    borders_mm : tuple of float or of (side, float)
        Cut widths of the borders from the inside out; by side where not every side has it.
    kind : str
        What the first kind of block is called: the one that `planned_mm` and the seams are of.
    kinds : tuple of Kind
        Further kinds.
    repeat : tuple of tuple of str
        Kinds row by row, repeated over the quilt; all in turn where empty.
    sashing_between : {"rows", "blocks", "both"} or None
        Between rows where None; in an offset setting between the pieces of what is shifted.
    cornerstones : bool
        Squares where sashing crosses.
    frame_mm : tuple of (side, float)
        Cut widths of a frame around each block.
    clipped_mm : float or None
        Finished leg of the triangles on the clipped corners of alternate blocks.
    border_corners : {"butted", "mitred"}
    body_mm : (float, float) or None
        Width and height inside the borders, measured through the middle once they are sewn.
    fabrics : tuple of (str, str)
        Parts of the quilt ("sashing", "border", ...) and the fabric that each is cut from.
    fabric_widths_mm : tuple of (str, float)
        Usable width of a fabric, where it is not `fabric_width_mm`.
    in_hand : tuple of (str, str)
        Cloth in hand: the fabric, and the cloth as of `cloth.read_cloth`.
    lengthwise, one_way : tuple of str
        Parts of the quilt cut along the lengthwise grain; fabrics whose print has a direction.
    allowance : float
        Part of a cloth's length that squaring up and shrinkage may take.
    backing_width_mm : float or None
        Usable width of the backing; as the fabric's where None.
    """

    planned_mm: tuple[float, float] | None = None
    seam_mm: float = INCH / 4
    least_seam_mm: float | None = None
    guarded: bool = False
    tolerance_mm: float = INCH / 8
    step_mm: float = INCH / 8
    fixed_width_mm: float | None = None
    fixed_height_mm: float | None = None
    keep_square: bool | None = None
    chosen_mm: tuple[float, float] | None = None
    unit: str = "in"
    fraction: int = 16
    card_side: float | None = None
    sheet_side: float | None = None
    square: float | None = None
    grid: float | None = None
    cloth_height: float = 0.5
    fabric_width_mm: float = 40 * INCH
    seams_across: int | None = None
    seams_down: int | None = None
    setting: str = "straight"
    shifted: str | None = None
    rows: int | None = None
    blocks_per_row: int | None = None
    alternate: bool = False
    sashing_cut_mm: float | None = None
    borders_mm: tuple[float | Sides, ...] = ()
    kind: str = "block"
    kinds: tuple[Kind, ...] = ()
    repeat: tuple[tuple[str, ...], ...] = ()
    sashing_between: str | None = None
    cornerstones: bool = False
    frame_mm: Sides = ()
    clipped_mm: float | None = None
    border_corners: str = "butted"
    body_mm: tuple[float, float] | None = None
    fabrics: tuple[tuple[str, str], ...] = ()
    fabric_widths_mm: tuple[tuple[str, float], ...] = ()
    in_hand: tuple[tuple[str, str], ...] = ()
    lengthwise: tuple[str, ...] = ()
    one_way: tuple[str, ...] = ()
    allowance: float = 0.10
    backing_width_mm: float | None = None

    @property
    def give_mm(self) -> float:
        """How far an edge may lie inside its trim line, so that its seam still holds."""
        if self.least_seam_mm is None:
            return min(GIVE_MM, self.seam_mm)
        return max(self.seam_mm - self.least_seam_mm, 0.0)

    @property
    def square_blocks(self) -> bool:
        """Whether the size to trim to has to be a square."""
        if self.keep_square is not None:
            return self.keep_square
        return self.planned_mm is not None and abs(self.planned_mm[0] - self.planned_mm[1]) < 1e-6

    def kind_named(self, name: str) -> Kind:
        """One of the kinds; the first under its own name or none."""
        first = Kind(self.kind, self.planned_mm, self.seams_across, self.seams_down)
        return next((k for k in self.kinds if k.name == name), first)

    def of_kind(self, name: str) -> Plan:
        """The plan as it is for the blocks of one kind."""
        kind = self.kind_named(name)
        if kind.name == self.kind:
            return self
        return replace(
            self,
            planned_mm=kind.planned_mm,
            seams_across=kind.seams_across,
            seams_down=kind.seams_down,
            fixed_width_mm=None,
            fixed_height_mm=None,
            keep_square=None,
            chosen_mm=kind.chosen_mm,
        )

    def with_chosen(self, kind: str, size_mm: tuple[float, float] | None) -> Plan:
        """The plan with a size to trim the blocks of one kind to; None lets go of it."""
        if kind in ("", self.kind):
            return replace(self, chosen_mm=size_mm)
        kinds = (replace(k, chosen_mm=size_mm) if k.name == kind else k for k in self.kinds)
        return replace(self, kinds=tuple(kinds))


# round values of each unit: common practice
_USUAL = {
    "step_mm": {"in": INCH / 8, "cm": 1.0},
    "seam_mm": {"in": INCH / 4, "cm": 6.0},
    "tolerance_mm": {"in": INCH / 8, "cm": 3.0},
    "fabric_width_mm": {"in": 40 * INCH, "cm": 1000.0},
}


def usual_in(plan: Plan, unit: str) -> dict[str, Any]:
    """Fields that change with the unit: what is as usual in one becomes what is in the other."""
    if unit == plan.unit:
        return {}
    return {
        field: usual[unit]
        for field, usual in _USUAL.items()
        if field == "step_mm" or getattr(plan, field) == usual[plan.unit]
    }


def called(name: str) -> str:
    """Return how a block is called in a sentence: a bare number would read as a size."""
    return f"block {name}" if name[:1].isdigit() else name


@dataclass(frozen=True, eq=False)
class BlockRecord:
    """One block as it was last measured, in block coordinates.

    Block coordinates start at corner 0 (top left), x along the top side, y down.

    Attributes
    ----------
    name : str
    state : {"measured", "trimmed", "set aside"}
    width_mm, height_mm : Estimate
    outline_mm : ndarray, shape (N, 2)
        Raw edges, clockwise from corner 0.
    guard_mm : float
        What a guarded decision keeps between a trim line and the measured edge.
    points_mm : mapping of str to (x, y)
        Marked points.
    centre_line_mm : ((x, y), (x, y)) or None
        Two marked points of the motif's axis.
    note : str
    source : {"photo", "ruler"}
    out_of_square_mm : Estimate or None
        Difference of the diagonals; None where no photo gave it.
    bow_mm : Estimate or None
        The largest bow of its sides; None where no photo gave it.
    other_sizes_mm : tuple of (Estimate, Estimate)
        Width and height of earlier readings that disagree with the last and do not count.
    before_mm : (Estimate, Estimate) or None
        Width and height of a trimmed block before it was trimmed.
    checked : bool
        Whether a trimmed block was measured since.
    kind : str
        Which kind of block it is; empty for the plan's first one.
    corners_px, corners_mm : ndarray, shape (4, 2), or None
        The corners in the block's latest photo and in block coordinates, for drawing on it.
    """

    name: str
    state: str
    width_mm: Estimate
    height_mm: Estimate
    outline_mm: np.ndarray
    guard_mm: float
    points_mm: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    centre_line_mm: tuple[tuple[float, float], tuple[float, float]] | None = None
    note: str = ""
    source: str = "photo"
    corners_px: np.ndarray | None = None
    corners_mm: np.ndarray | None = None
    out_of_square_mm: Estimate | None = None
    bow_mm: Estimate | None = None
    other_sizes_mm: tuple[tuple[Estimate, Estimate], ...] = ()
    before_mm: tuple[Estimate, Estimate] | None = None
    checked: bool = True
    kind: str = ""

    def cloth(self, plan: Plan) -> Block:
        """Return the outline as the plan judges it: what its edges give, and a guard if asked."""
        guard = self.guard_mm if plan.guarded else 0.0
        return Block(self.name, self.outline_mm, guard, plan.give_mm)
