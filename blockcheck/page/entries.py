"""The entries of the plan's form: their words, their drawings, and how each is written."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Entry:
    """One entry of the plan.

    Attributes
    ----------
    name : str
        The plan's field.
    label, hint : str
        What a person reads.
    kind : {"length", "exact", "size", "count", "choice", "yes", "text", "sides", "lengths", "order", "part"}
    drawing : str
        Which drawing explains it.
    choices : tuple of (str, str)
        Value and words.
    """

    name: str
    label: str
    hint: str
    kind: str
    drawing: str
    choices: tuple[tuple[str, str], ...] = ()


GROUPS: tuple[tuple[str, tuple[Entry, ...]], ...] = (
    (
        "The photos",
        (
            Entry(
                "card_side",
                "The printed card’s board, measured",
                "Lay your ruler along the board. Without this every size is less sure.",
                "exact",
                "card",
            ),
            Entry(
                "sheet_side",
                "The printed sheet’s long side, measured",
                "Only if you use the large reference sheet.",
                "exact",
                "sheet",
            ),
            Entry(
                "grid",
                "Spacing of the mat’s lines",
                "Only if no card is in the photos: 1 in or 1 cm.",
                "exact",
                "grid",
            ),
            Entry(
                "square",
                "Side of a plain paper square",
                "Only if you use one in place of the card.",
                "exact",
                "square",
            ),
            Entry(
                "cloth_height",
                "Height of the top of the cloth above the mat",
                "Cotton pieced and pressed: about 0.5 mm.",
                "exact",
                "height",
            ),
        ),
    ),
    (
        "The block",
        (
            Entry(
                "planned_mm",
                "Planned unfinished size",
                "As the pattern asks for, sewn, with its seam allowances: width × height.",
                "size",
                "planned",
            ),
            Entry(
                "chosen_mm",
                "Size to trim to",
                "Left empty: the largest that every block reaches. The slider above the blocks sets it, too.",
                "size",
                "planned",
            ),
            Entry("seam_mm", "Seam allowance", "Cloth outside the seam line.", "length", "seam"),
            Entry(
                "least_seam_mm",
                "Least seam allowance that still holds",
                "Left empty: the allowance less 1/32 in (0.8 mm).",
                "length",
                "least",
            ),
            Entry(
                "keep_square",
                "Trim to a square",
                "As usual: where the planned size is square.",
                "choice",
                "tolerance",
                (("", ""), ("True", "yes"), ("False", "no")),
            ),
            Entry(
                "fixed_width_mm",
                "Width, if it must be this one",
                "Left empty: whatever the blocks reach.",
                "length",
                "planned",
            ),
            Entry(
                "fixed_height_mm",
                "Height, if it must be this one",
                "Left empty: whatever the blocks reach.",
                "length",
                "planned",
            ),
            Entry(
                "guarded",
                "Count a block only where its ± leaves no doubt",
                "Without this a block counts as it measures, and you are told the chance that this is wrong.",
                "yes",
                "least",
            ),
            Entry(
                "tolerance_mm",
                "How far off is still good enough",
                "Off the plan, or apart where seams should match.",
                "length",
                "tolerance",
            ),
            Entry(
                "step_mm",
                "Ruler lines that sizes fall on",
                "The finest lines you like to cut by.",
                "length",
                "ruler",
            ),
            Entry(
                "seams_across",
                "Seams crossed going across a block",
                "With the planned size it tells how wide the seams were really sewn.",
                "count",
                "across",
            ),
            Entry(
                "seams_down",
                "Seams crossed going down a block",
                "The same from top to bottom.",
                "count",
                "down",
            ),
        ),
    ),
    (
        "The quilt",
        (
            Entry(
                "setting",
                "Setting",
                "Rows in line, every second row shifted by half a block, or blocks standing on a corner.",
                "choice",
                "setting",
                (("straight", "straight"), ("offset", "offset"), ("on point", "on point")),
            ),
            Entry(
                "shifted",
                "What an offset setting shifts",
                "As usual: rows; columns with sashing.",
                "choice",
                "setting",
                (("", ""), ("rows", "rows"), ("columns", "columns")),
            ),
            Entry("rows", "Rows", "Left empty: from the number of blocks.", "count", "rows"),
            Entry(
                "blocks_per_row",
                "Blocks in a row",
                "Alternate blocks counted too.",
                "count",
                "columns",
            ),
            Entry(
                "alternate",
                "Pieced and alternate blocks take turns",
                "Plain blocks are then on the cutting list.",
                "yes",
                "alternate",
            ),
            Entry("sashing_cut_mm", "Sashing, cut width", "Left empty: none.", "length", "sashing"),
            Entry(
                "sashing_between",
                "Sashing between",
                "As usual: the rows.",
                "choice",
                "sashing",
                (("", ""), ("rows", "rows"), ("blocks", "blocks"), ("both", "rows and blocks")),
            ),
            Entry(
                "cornerstones",
                "Cornerstones where sashing crosses",
                "Small squares of their own.",
                "yes",
                "sashing",
            ),
            Entry(
                "frame_mm",
                "Frame around each block, cut width",
                "On all sides, or left 2 in, right 2 in. Left empty: none.",
                "sides",
                "frame",
            ),
            Entry(
                "clipped_mm",
                "Clipped corners of alternate blocks",
                "The finished leg of the triangles that are sewn on. Left empty: none.",
                "length",
                "clipped",
            ),
            Entry(
                "borders_mm",
                "Borders, cut widths",
                "The inner ones first, with semicolons between; top 2 in, bottom 2 in where not all sides.",
                "lengths",
                "borders",
            ),
            Entry(
                "border_corners",
                "Corners of the borders",
                "",
                "choice",
                "borders",
                (("butted", "butted"), ("mitred", "mitred")),
            ),
            Entry(
                "body_mm",
                "Measured through the middle, inside the borders",
                "Once the middle is sewn: borders are cut to it.",
                "size",
                "borders",
            ),
        ),
    ),
    (
        "Cloth",
        (
            Entry(
                "fabric_width_mm",
                "Usable width of the fabric",
                "Without the selvages.",
                "length",
                "fabric",
            ),
            Entry(
                "backing_width_mm",
                "Usable width of the backing",
                "Left empty: the same as the fabric.",
                "length",
                "fabric",
            ),
            Entry(
                "allowance",
                "Lost to squaring up and shrinkage",
                "As a percentage of the cloth’s length; 10 % is common practice.",
                "part",
                "fabric",
            ),
        ),
    ),
    (
        "How lengths are written",
        (
            Entry("unit", "Unit", "", "choice", "unit", (("in", "inches"), ("cm", "centimetres"))),
            Entry(
                "fraction",
                "Finest fraction of an inch",
                "",
                "choice",
                "fraction",
                (("8", "1/8"), ("16", "1/16"), ("32", "1/32")),
            ),
        ),
    ),
)

KINDS = Entry(
    "kind",
    "What this kind of block is called",
    "Only where the quilt has several kinds of blocks.",
    "text",
    "kinds",
)
ORDER = Entry(
    "repeat",
    "Order of the kinds",
    "Row by row, like A, B / B, A, repeated over the quilt. Left empty: all take turns.",
    "order",
    "kinds",
)
KIND = (
    Entry("name", "Name", "What you call this kind.", "text", "kinds"),
    Entry(
        "planned_mm",
        "Planned unfinished size",
        "Of one half where it is sewn in halves.",
        "size",
        "planned",
    ),
    Entry("chosen_mm", "Size to trim to", "Left empty: blockcheck chooses.", "size", "planned"),
    Entry("seams_across", "Seams crossed going across", "", "count", "across"),
    Entry("seams_down", "Seams crossed going down", "", "count", "down"),
    Entry(
        "halves",
        "Sewn as two mirrored halves that are then joined",
        "Call the halves 4 left and 4 right, and they find each other.",
        "yes",
        "halves",
    ),
    Entry("motif", "What it shows", "In a few words.", "text", "kinds"),
)
