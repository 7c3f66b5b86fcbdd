"""The sentences about blocks that are trimmed: are they the size, is anything still to be cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..planning.plan import BlockRecord, Plan, called
from ..planning.quilt import QuiltPlan
from ..planning.trimming.trim_lines import TrimPlan
from ..units import format_uncertainty
from . import trim_words, words
from .phrases import names, sentence
from .words import length, size

UNCHECKED = "trimmed; photograph it again to check"


@dataclass(frozen=True)
class Verdict:
    """What is known of a block since it was trimmed.

    Attributes
    ----------
    right : bool
        Whether it measures as the size to trim to, and square.
    cuts : bool
        Whether trim lines are to be told: only where a measurement since shows what is off.
    state : str
        In a few words.
    measured : str
        Its size as measured since; empty where it was not.
    """

    right: bool
    cuts: bool
    state: str
    measured: str = ""


def verdict(quilt: QuiltPlan, name: str) -> Verdict | None:
    """Judge a trimmed block by what was measured since; None for one that is not trimmed."""
    plan, target, block = quilt.plan, quilt.size_mm, quilt.trimmed.get(name)
    if block is None or target is None:
        return None
    if not block.checked:
        return Verdict(False, False, UNCHECKED)
    both = block.width_mm, block.height_mm
    worst = max(e.u95 for e in both)
    told = f"{size(plan, *(e.value for e in both))} ± {format_uncertainty(worst, unit=plan.unit)}"
    if found := faults(plan, block, target):
        return Verdict(False, True, f"trimmed, and still {' and '.join(found)}", told)
    if worst > 2 * plan.give_mm:
        return Verdict(False, False, "trimmed; too unsure to tell, lay the ruler on it", told)
    return Verdict(True, False, "trimmed, and right", told)


def to_cut(quilt: QuiltPlan, name: str) -> bool:
    """Whether a block's trim lines are to be told."""
    found = verdict(quilt, name)
    return found is None or found.cuts


def state(quilt: QuiltPlan, trim: TrimPlan) -> str:
    """As `words.trim_state`, and of a trimmed block what is known since."""
    found = verdict(quilt, trim.name)
    return words.trim_state(quilt, trim) if found is None else f": {found.state}"


def note(quilt: QuiltPlan, trim: TrimPlan) -> str:
    """As `words.trim_note`, for a table."""
    found = verdict(quilt, trim.name)
    return words.trim_note(quilt, trim) if found is None else found.state


def steps(quilt: QuiltPlan, trim: TrimPlan) -> tuple[tuple[str, str], ...]:
    """As `trim_words.steps`; none for a block that nothing is to be cut from."""
    return trim_words.steps(quilt.plan, trim) if to_cut(quilt, trim.name) else ()


def problems(quilt: QuiltPlan, trim: TrimPlan) -> tuple[str, ...]:
    """As `trim_words.problems`, of trim lines that are to be cut."""
    return trim_words.problems(quilt.plan, trim) if to_cut(quilt, trim.name) else ()


def amounts(quilt: QuiltPlan, trim: TrimPlan) -> tuple[str, ...]:
    """As `trim_words.amounts`, for a table."""
    return trim_words.amounts(quilt.plan, trim) if to_cut(quilt, trim.name) else ("–",) * 4


def label_lines(quilt: QuiltPlan, trim: TrimPlan) -> tuple[str, ...]:
    """As `trim_words.label_lines`, and of a trimmed block what is known since."""
    found = verdict(quilt, trim.name)
    said = () if found is None else (f"{sentence(found.state)}.",)
    return (*said, *trim_words.label_lines(quilt.plan, trim)) if to_cut(quilt, trim.name) else said


def after_trimming(quilt: QuiltPlan, blocks: Sequence[BlockRecord]) -> tuple[str, ...]:
    """Say of the trimmed blocks whether they are the size and square, and how alike they are now.

    What is off is as of `faults`. Spread is the standard deviation of width and height.
    """
    plan, target = quilt.plan, quilt.size_mm
    done = [b for b in blocks if b.state == "trimmed" and b.name in quilt.names]
    if not done or target is None:
        return ()
    said, off = [], []
    checked = [b for b in done if b.checked]
    for b in checked:
        found = faults(plan, b, target)
        if found:
            off.append(f"{sentence(called(b.name))} is {' and '.join(found)}.")
    if checked:
        good = len(checked) - len(off)
        square = any(b.out_of_square_mm is not None for b in checked)
        said.append(
            f"Trimmed and measured since: {good} of {len(checked)} {'is' if good == 1 else 'are'} "
            f"{size(plan, *target)}{' and square' if square else ''}."
        )
        said += off
    both = [b for b in checked if b.before_mm is not None]
    if len(both) > 1:
        spreads = [
            float(np.std([e[k].value for e in some], ddof=1))
            for some in (
                [b.before_mm for b in both if b.before_mm],
                [(b.width_mm, b.height_mm) for b in both],
            )
            for k in (0, 1)
        ]
        w0, h0, w1, h1 = (length(plan, mm, fraction=32) for mm in spreads)
        said.append(
            f"The blocks differed by {w0} in width and {h0} in height before trimming (standard "
            f"deviation), and by {w1} and {h1} since."
        )
    if waiting := [b.name for b in done if not b.checked]:
        said.append(
            f"Trimmed but not measured since: {names(waiting)}. One more photo of each, or of several "
            "together, checks the trimming (blockcheck add PHOTO --again NAME --trimmed)."
        )
    return tuple(said)


def faults(plan: Plan, block: BlockRecord, target: tuple[float, float]) -> list[str]:
    """What is off a trimmed block, in a few words each; nothing where it came out right.

    A size is off where it differs from the size to trim to by more than a seam can give on both
    sides, and a block out of square where its diagonals differ by more than that; less than the
    U95 is never called off.
    """
    found = []
    for e, goal, less, more in (
        (block.width_mm, target[0], "narrow", "wide"),
        (block.height_mm, target[1], "short", "tall"),
    ):
        by = e.value - goal
        if abs(by) > max(2 * plan.give_mm, e.u95):
            found.append(f"{length(plan, abs(by), fraction=32)} too {less if by < 0 else more}")
    skew = block.out_of_square_mm
    if skew is not None and abs(skew.value) > max(2 * plan.give_mm, skew.u95):
        amount = length(plan, abs(skew.value), fraction=32)
        found.append(f"out of square, its diagonals {amount} apart")
    return found
