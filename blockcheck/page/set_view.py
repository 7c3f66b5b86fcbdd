"""The set: what a size means for every block, in words and as small drawings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ..planning.plan import BlockRecord
from ..planning.quilt import QuiltPlan
from ..planning.trimming.common_size import SizeRow
from ..planning.trimming.rectangles import axes
from ..planning.trimming.trim_lines import TrimPlan
from ..report import words
from ..report.html import unbroken
from ..report.trimmed_words import UNCHECKED
from .wording import on_page

ENLARGED = 8.0  # how much more crooked than it is an edge is drawn, for a sixteenth to be seen
Shown = dict[str, Any]


def sizes(
    quilt: QuiltPlan,
    each: Sequence[QuiltPlan],
    blocks: Sequence[BlockRecord],
    trims: Sequence[TrimPlan],
    at: int,
    chosen: int,
) -> Shown:
    """The size table of a kind of block with one row looked at.

    Parameters
    ----------
    quilt : QuiltPlan
        Of that kind.
    each : sequence of QuiltPlan
        Of every kind.
    blocks : sequence of BlockRecord
    trims : sequence of TrimPlan
        At the size of row `at`.
    at, chosen : int
        The row that is looked at, and the one to trim to.
    """
    assert quilt.choice is not None
    table = quilt.choice.table
    record = {b.name: b for b in blocks}
    others = [(q, t) for q in each if q.kind != quilt.kind for t in q.trims]
    return {
        "kind": quilt.kind,
        "kinds": [q.kind for q in each],
        "at": at,
        "chosen": chosen,
        "fixed": quilt.plan.chosen_mm is not None,
        "rows": [
            {
                "size": unbroken(words.size(quilt.plan, row.width_mm, row.height_mm)),
                "said": words.size_row(quilt, row),
                "reached": row.reached,
                "gain": unbroken(gain(quilt, table, k)),
                "short": row.set_aside,
            }
            for k, row in enumerate(table)
        ],
        "headline": unbroken(on_page(words.headline(quilt))),
        "reasons": [unbroken(on_page(said)) for said in words.reasons(quilt)],
        "below": [f"{name}: {what}. {advice}" for name, what, advice in words.below(quilt)],
        "blocks": {
            t.name: {
                "fits": t.fits,
                "said": _state(q, record[t.name], t),
                **drawing(record[t.name], t),
            }
            for q, t in (*((quilt, t) for t in trims), *others)
        },
    }


def gain(quilt: QuiltPlan, table: Sequence[SizeRow], at: int) -> str:
    """What choosing a row gains and costs beside the one to trim to."""
    row, n = table[at], len(quilt.names)
    if row.reached == n:
        said = "Every block reaches it."
    elif not row.reached:
        said = "No block reaches it."
    else:
        verb = "reaches" if row.reached == 1 else "reach"
        said = f"{row.reached} of {n} blocks {verb} it; not {words.names(row.set_aside)}."
    least = table[0]
    more = [
        words.length(quilt.plan, a - b, fraction=32) + word
        for a, b, word in (
            (row.width_mm, least.width_mm, " wider"),
            (row.height_mm, least.height_mm, " higher"),
        )
        if a - b > 0.1
    ]
    if more:
        said += f" Each block is {' and '.join(more)} than at {words.size(quilt.plan, least.width_mm, least.height_mm)}."
    return said


def _state(quilt: QuiltPlan, block: BlockRecord, trim: TrimPlan) -> str:
    """A block's state at the size, in words."""
    if block.state == "trimmed" and not block.checked:
        return f"{words.sentence(UNCHECKED)}."
    said = words.trim_state(quilt, trim).lstrip(":; ")
    if said:
        return words.sentence(said) + "."
    return "Already trimmed." if block.state == "trimmed" else "Can be trimmed to it."


def drawing(block: BlockRecord, trim: TrimPlan) -> Shown:
    """The block's edges about its trim lines, drawn `ENLARGED` times as crooked as they are.

    Returns
    -------
    dict
        "cloth": points of the outline, "half": half the size; from the trim lines' middle, mm.
    """
    laid = trim.placement
    half = np.array([laid.width_mm, laid.height_mm]) / 2
    local = (block.outline_mm - (laid.x_mm, laid.y_mm)) @ axes(laid.turn_rad).T
    off = np.abs(local) - half
    near = np.abs(off) / half  # of each side's points only what lies across the side is enlarged
    across = near <= near.min(axis=1, keepdims=True)
    across[:: max(len(near) // 4, 1)] = True  # corners: as of `Measurement.outline_mm`
    far = np.where(across, ENLARGED * off, off)
    shown = np.sign(local) * (half + far)
    return {
        "cloth": [[round(float(x), 1), round(float(y), 1)] for x, y in shown],
        "half": [round(float(v), 2) for v in half],
    }
