"""How a cut size or a length of cloth comes about: the figures that people see as a sum.

Lengths are millimetres. `report/working_words.py` writes them out.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Working:
    """The base of all; by itself, of a size that explains itself."""


PLAIN = Working()


@dataclass(frozen=True)
class Parts(Working):
    """A length made up of others."""

    parts_mm: tuple[float, ...]
    total_mm: float


@dataclass(frozen=True)
class Measured(Working):
    """What the sewn quilt measures through its middle, beside what was worked out.

    Attributes
    ----------
    total_mm, worked_mm : float
    likely_mm : float
        How far the two may differ: what the seams can give, and how far off is good enough.
    """

    total_mm: float
    worked_mm: float
    likely_mm: float


@dataclass(frozen=True)
class Strip(Working):
    """A strip's finished width and length, and a seam allowance on both sides of each."""

    wide_mm: float
    long_mm: float
    seam_mm: float


@dataclass(frozen=True)
class LikeBlock(Working):
    """As large as a block, with its frame where it has one."""

    cut_mm: tuple[float, float]
    framed: bool


@dataclass(frozen=True)
class Clip(Working):
    """Where the ruler is laid to clip a corner, and how far inside the raw edge the point lies."""

    leg_mm: float
    seam_mm: float
    exact_mm: float
    mark_mm: float
    inside_mm: float


@dataclass(frozen=True)
class ClippedBlock(Working):
    """An alternate block and its clipped corners."""

    block: LikeBlock
    corner: Clip


@dataclass(frozen=True)
class AsLongAs(Working):
    """As long as what it is sewn to.

    Attributes
    ----------
    what : {"block beside", "block above", "side", "row", "column"}
    cut_mm : float
    """

    what: str
    cut_mm: float


@dataclass(frozen=True)
class WholeRow(Working):
    """A finished row, and a seam allowance at both ends."""

    row_mm: float
    seam_mm: float


@dataclass(frozen=True)
class Crossing(Working):
    """As wide as the two strips that cross there."""


@dataclass(frozen=True)
class HalfBlock(Working):
    """Half of an unfinished block, less the sashing (as it is cut) that parts the halves."""

    block_mm: float
    sashing_mm: float
    seam_mm: float
    cut_mm: float


@dataclass(frozen=True)
class Butted(Working):
    """A border as long as the quilt's middle, and a seam allowance at both ends."""

    middle_mm: float
    seam_mm: float


@dataclass(frozen=True)
class Mitred(Working):
    """A border from outer corner to outer corner, and what its mitres take."""

    corners_mm: float
    seam_mm: float
    cut_mm: float


@dataclass(frozen=True)
class Halved(Working):
    """A square of the triangle's finished side and the trade's allowance; cut once, or twice."""

    finished_mm: float
    added_mm: float
    exact_mm: float
    times: int


@dataclass(frozen=True)
class Setting(Working):
    """The square for a side or a corner triangle of blocks on point, rounded up.

    Attributes
    ----------
    finished_mm : float
        The block's side.
    corner : bool
    added_mm, sum_mm, cut_mm : float
    """

    finished_mm: float
    corner: bool
    added_mm: float
    sum_mm: float
    cut_mm: float


@dataclass(frozen=True)
class Squares(Working):
    """How many squares so many triangles take, each giving two or four."""

    one: Working
    triangles: int
    each: int
    count: int


@dataclass(frozen=True)
class Joined(Working):
    """A piece longer than the fabric is wide."""

    one: Working


@dataclass(frozen=True)
class Overhang(Working):
    """The quilt, and as much more on every side."""

    width_mm: float
    height_mm: float
    by_mm: float


@dataclass(frozen=True)
class Panels(Working):
    """The backing's panels.

    Attributes
    ----------
    whole : Overhang
    count : int
    long_mm, total_mm, bought_mm : float
    seams : {"vertical", "horizontal"}
    """

    whole: Overhang
    count: int
    long_mm: float
    seams: str
    total_mm: float
    bought_mm: float


@dataclass(frozen=True)
class BindingStrips(Working):
    """Once round the quilt and a little more, in strips across the fabric."""

    width_mm: float
    height_mm: float
    extra_mm: float
    usable_mm: float
    strips: int
    strip_mm: float
    cloth_mm: float
    bought_mm: float


@dataclass(frozen=True)
class EqualGaps(Working):
    """A width divided by marked lines, to the ruler's; the last gap takes what is over."""

    width_mm: float
    parts: int
    exact_mm: float
    gap_mm: float
    last_mm: float


@dataclass(frozen=True)
class Bought(Working):
    """Cloth that a layout takes, a part of it more, and what is bought."""

    need_mm: float
    allowance: float
    total_mm: float
    bought_mm: float


@dataclass(frozen=True)
class InHand(Working):
    """Nothing is bought."""
