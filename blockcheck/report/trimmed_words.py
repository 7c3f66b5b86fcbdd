"""The sentences about blocks that are trimmed: are they the size, are they square, how alike."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..planning.plan import BlockRecord, Plan, called
from ..planning.quilt import QuiltPlan
from .phrases import names, sentence
from .words import length, size


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
