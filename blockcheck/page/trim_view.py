"""At the cutting table: one block's cuts, each with its tick."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from ..planning.plan import BlockRecord, called
from ..planning.quilt import QuiltPlan
from ..planning.trimming.trim_lines import TrimPlan
from ..report import trimmed_words, words

Shown = dict[str, Any]
SAME_MM = 25.4 / 16  # a cut that moved by less is the same cut, and stays ticked


def trim(
    quilt: QuiltPlan,
    block: BlockRecord,
    one: TrimPlan,
    names: Sequence[str],
    left: int,
    ticks: frozenset[str],
    drawing: Markup,
) -> Shown:
    """One block's trim in the order of work."""
    assert quilt.size_mm is not None
    plan, here = quilt.plan, names.index(one.name)
    steps = []
    for kind, line in trimmed_words.steps(quilt, one):
        what = cut_key(one, kind)
        steps.append({"said": words.sentence(line), "what": what, "done": what in ticks})
    return {
        "title": words.sentence(called(one.name)),
        "quilt": quilt,
        "block": block,
        "size": words.size(plan, *quilt.size_mm),
        "said": words.sentence(trimmed_words.state(quilt, one).lstrip(":; ")),
        "trim": one,
        "problems": trimmed_words.problems(quilt, one),
        "steps": steps,
        "drawing": drawing,
        "before": names[here - 1] if here else None,
        "after": names[here + 1] if here + 1 < len(names) else None,
        "number": here + 1,
        "count": len(names),
        "left": left,
        "checked": trimmed_words.verdict(quilt, one.name),
        "cuts": trimmed_words.to_cut(quilt, one.name),
        "gap": None,
        "data": {"name": one.name, "after": names[here + 1] if here + 1 < len(names) else None},
    }


def cut_key(one: TrimPlan, kind: str) -> str:
    """What a cut's tick is kept under: what is cut, not how it is said.

    Parameters
    ----------
    one : TrimPlan
    kind : str
        As of `TrimPlan.steps`.
    """
    laid = one.placement
    off = [o for o in one.offcuts if o.side == kind]
    amounts = [round(mm / SAME_MM) for o in off for mm in (o.first_mm, o.second_mm)]
    size = f"{laid.width_mm:.1f}x{laid.height_mm:.1f}"
    return " ".join(["trim", kind, size, *map(str, amounts), one.name])
