"""At the cutting table: one block's cuts, each with its tick."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from ..planning.plan import BlockRecord, called
from ..planning.quilt import QuiltPlan
from ..planning.trimming.trim_lines import TrimPlan
from ..report import trim_words, words
from ..uncertainty import verdict

Shown = dict[str, Any]
RIGHT_MM = 25.4 / 32  # a trimmed block that is no farther off its size is right
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
    size = words.size(plan, *quilt.size_mm)
    steps = []
    for kind, line in trim_words.steps(plan, one):
        what = cut_key(one, kind)
        steps.append({"said": words.sentence(line), "what": what, "done": what in ticks})
    return {
        "title": words.sentence(called(one.name)),
        "quilt": quilt,
        "block": block,
        "size": size,
        "said": words.sentence(words.trim_state(quilt, one).lstrip(":; ")),
        "trim": one,
        "problems": trim_words.problems(plan, one),
        "steps": steps,
        "drawing": drawing,
        "before": names[here - 1] if here else None,
        "after": names[here + 1] if here + 1 < len(names) else None,
        "number": here + 1,
        "count": len(names),
        "left": left,
        "checked": checked(quilt, block),
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


def checked(quilt: QuiltPlan, block: BlockRecord) -> Shown | None:
    """Whether a trimmed block came out right; None while it is not trimmed."""
    if block.state != "trimmed" or quilt.size_mm is None:
        return None
    said, right = [], True
    for e, aim, word in zip(
        (block.width_mm, block.height_mm), quilt.size_mm, ("wide", "high"), strict=True
    ):
        answer = verdict(e.value, e.u, aim - RIGHT_MM, aim + RIGHT_MM)
        size = words.length(quilt.plan, e.value, fraction=32)
        if answer == "yes":
            said.append(f"{size} {word}: right.")
        elif answer == "no":
            off = words.length(quilt.plan, abs(e.value - aim), fraction=32)
            said.append(f"{size} {word}: {off} too {'much' if e.value > aim else 'little'}.")
            right = False
        else:
            said.append(f"{size} {word}: too close to call, lay the ruler on it.")
            right = False
    return {"right": right, "said": said}
