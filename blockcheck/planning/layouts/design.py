"""A quilt top described as quilters do: setting, kinds of blocks, sashing, frame, borders."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from ...errors import PlanError
from ...units import format_length
from ..cutting.pieces import QUARTER

SETTINGS = ("straight", "offset", "on point")
SIDES = ("top", "right", "bottom", "left")
ALTERNATE, HALF = "alternate block", "half block"


@dataclass(frozen=True)
class Border:
    """A border: finished width of every side that has one, and how its corners are made.

    Attributes
    ----------
    sides_mm : mapping of {"top", "right", "bottom", "left"} to float
    corners : {"butted", "mitred"}
        Left and right sewn on first, or all four sewn to the quilt and joined at 45 degrees.
    """

    sides_mm: Mapping[str, float]
    corners: str = "butted"

    def __post_init__(self) -> None:
        if self.corners not in ("butted", "mitred"):
            raise PlanError(f"A border is butted or mitred, not {self.corners}.")
        check_sides(self.sides_mm, "border")
        if self.corners == "mitred":
            widths = list(self.sides_mm.values())
            if len(widths) < 4 or max(widths) - min(widths) > 1e-6:
                raise PlanError(
                    "A mitred border has the same width on all four sides.",
                    "Give it one width, or butt its corners.",
                )


@dataclass(frozen=True)
class Design:
    """A quilt top. All lengths are finished sizes in millimetres.

    Attributes
    ----------
    blocks_mm : mapping of str to (float, float)
        Finished width and height of every kind of block that is sewn.
    repeat : tuple of tuple of str
        Kinds row by row, repeated over the quilt; "alternate block" is a plain one. In an offset
        setting only the first of these rows is used, and goes on from one row to the next.
    rows, blocks_per_row : int
        On point, rows and blocks from edge to edge, the blocks between them not counted.
    setting : {"straight", "offset", "on point"}
    shifted : {"rows", "columns"}
        What an offset setting shifts by half a block.
    between_blocks_mm, between_rows_mm : float
        Sashing between neighbours in a row, and between rows; 0 for none.
    cornerstones : bool
        Squares where sashing crosses; else the sashing between rows runs through.
    frame_mm : mapping of side to float
        Frame around each sewn block, on any of its sides.
    clipped_mm : float
        Finished leg of the triangles sewn to the clipped corners of alternate blocks; 0 for none.
    borders : tuple of Border
        From the inside out.
    body_mm : (float, float) or None
        What lies inside the borders as measured through its middle, once it is sewn.
    halves : frozenset of str
        Kinds whose blocks are joined from two mirrored halves.
    seam_mm : float
    unit : {"in", "cm"}
        For the workings.
    """

    blocks_mm: Mapping[str, tuple[float, float]]
    repeat: tuple[tuple[str, ...], ...]
    rows: int
    blocks_per_row: int
    setting: str = "straight"
    shifted: str = "rows"
    between_blocks_mm: float = 0.0
    between_rows_mm: float = 0.0
    cornerstones: bool = False
    frame_mm: Mapping[str, float] = field(default_factory=dict)
    clipped_mm: float = 0.0
    borders: tuple[Border, ...] = ()
    body_mm: tuple[float, float] | None = None
    halves: frozenset[str] = frozenset()
    seam_mm: float = QUARTER
    unit: str = "in"

    def __post_init__(self) -> None:
        _check_words(self)
        _check_lengths(self)
        check_sides(self.frame_mm, "frame")

    def framed(self, kind: str) -> tuple[float, float]:
        """Finished size of a kind of block with its frame."""
        w, h = self.blocks_mm[kind]
        frame = self.frame_mm
        across = frame.get("left", 0.0) + frame.get("right", 0.0)
        return w + across, h + frame.get("top", 0.0) + frame.get("bottom", 0.0)

    def kind_at(self, row: int, place: int) -> str:
        """Which kind of block lies there, as `repeat` has it."""
        line = self.repeat[row % len(self.repeat)]
        return line[place % len(line)]

    def said(self, mm: float) -> str:
        """Write a length for a message."""
        return format_length(mm, unit=self.unit, fraction=32)


def chessboard(*kinds: str) -> tuple[tuple[str, ...], ...]:
    """Kinds that take turns along the rows and down the columns."""
    return tuple(kinds[i:] + kinds[:i] for i in range(len(kinds)))


def check_sides(sides_mm: Mapping[str, float], what: str) -> None:
    """Refuse sides that no rectangle has, and widths that are none."""
    for side, width in sides_mm.items():
        if side not in SIDES:
            raise PlanError(f"A {what} has no side called {side}.", f"Say {', '.join(SIDES)}.")
        if not (math.isfinite(width) and width > 0):
            raise PlanError(f"The {what}'s {side} side must be wider than its seam allowances.")


def _check_words(d: Design) -> None:
    if d.setting not in SETTINGS:
        raise PlanError(f"There is no setting {d.setting}.", f"Say {', '.join(SETTINGS)}.")
    if d.shifted not in ("rows", "columns"):
        raise PlanError(f"An offset setting shifts rows or columns, not {d.shifted}.")
    if d.rows < 1 or d.blocks_per_row < 1:
        raise PlanError("A quilt has at least one row and one block per row.")
    if not d.repeat or not all(d.repeat):
        raise PlanError("The quilt's order of blocks is empty.", "Name the kinds, row by row.")
    for name in (n for line in d.repeat for n in line):
        if name != ALTERNATE and name not in d.blocks_mm:
            known = ", ".join((*d.blocks_mm, ALTERNATE))
            raise PlanError(f"There is no kind of block called {name}.", f"There are: {known}.")
    plain = any(ALTERNATE in line for line in d.repeat)
    if d.clipped_mm and not plain:
        raise PlanError("Only alternate blocks are clipped, and the plan has none.")
    if d.cornerstones and not (d.between_blocks_mm and d.between_rows_mm):
        raise PlanError("Cornerstones need sashing between blocks and between rows.")
    if d.setting == "offset" and d.cornerstones:
        raise PlanError(
            "In an offset setting the sashing does not cross, so it has no cornerstones."
        )
    if d.setting == "on point" and (d.between_blocks_mm or d.between_rows_mm):
        raise PlanError(
            "Sashing is not worked out for blocks on point.",
            "Take the sashing away (--sashing none); frame each block instead (--frame 2in), or choose "
            "another setting.",
        )


def _check_lengths(d: Design) -> None:
    lengths = [mm for size in d.blocks_mm.values() for mm in size]
    if d.body_mm is not None:
        lengths += d.body_mm
    if not lengths or not all(math.isfinite(mm) and mm > 0 for mm in lengths):
        raise PlanError("A block must be larger than its own seam allowances.")
    if not (math.isfinite(d.seam_mm) and d.seam_mm > 0):
        raise PlanError("The seam allowance must be greater than zero.")
    for what, mm in (
        ("sashing between blocks", d.between_blocks_mm),
        ("sashing between rows", d.between_rows_mm),
        ("triangle on a clipped corner", d.clipped_mm),
    ):
        if not (math.isfinite(mm) and mm >= 0):
            raise PlanError(f"The {what} must be wider than its seam allowances.")
