"""What to do about blocks that are short, seams sewn too wide, and edges that do not meet."""

from __future__ import annotations

from ..planning.plan import Plan
from ..planning.rows.laying import ALTERNATE, HALF, SASHING, TO_SEW
from ..planning.rows.seam_matches import Remedy
from ..planning.trimming.sewn_seam import SewnSeam
from ..units import INCH, format_length, format_uncertainty, to_step

UNNAMED = (ALTERNATE, HALF, SASHING, TO_SEW)  # pieces of a row that have no name of their own
SHORT = {
    "press": "Press the seams again and remeasure.",
    "resew": "Unpick the widest seam and resew it with a narrower seam allowance.",
    "strip": "Add a strip of fabric where it is short, and trim it back to size.",
    "elsewhere": "Use this block somewhere else: on the back, or as a label.",
}


def the(name: str) -> str:
    """A block's name as it is; a piece that has none with its article: ``the alternate block``."""
    return f"the {name}" if name in UNNAMED else name


def remedy(plan: Plan, one: Remedy | None) -> str:
    """What to do where two edges or seams do not meet; nothing where nothing is to be done."""
    if one is None:
        return ""
    amount, over = (format_length(mm, unit=plan.unit) for mm in (one.off_mm, one.over_mm))
    who = " and ".join(map(the, one.names))
    if one.what == "pin":
        return f"Pin the rows together here: they have drifted {amount} apart."
    if one.what == "ease":
        return f"Ease {who} in by {amount} over {over}."
    sewn = [name for name in one.names if name not in UNNAMED]  # the others are not cut yet
    trim = f"trim {' and '.join(sewn) or 'the blocks'} to size first"
    instead = "resew what is short" if one.what == "resew" else trim
    return f"{amount} over {over} is too much to ease: {instead}."


def sewn(plan: Plan, seam: SewnSeam) -> str:
    """How wide the seams were really sewn, and what to do about it."""
    extra, unit = seam.extra_mm, plan.unit
    step, least = (INCH / 32, "1/32 in") if unit == "in" else (1.0, "0.1 cm")
    amount = f"less than {least}"  # than the unit can show
    if to_step(abs(extra), step) > 0:
        amount = f"about {format_length(abs(extra), unit=unit, fraction=32)}"
    amount += f" (± {format_uncertainty(seam.u95_mm, unit=unit)})"
    off = "wider" if extra > 0 else "narrower"
    if abs(extra) <= seam.u95_mm:
        if seam.same:
            return (
                "The seam allowance is as planned, as far as can be measured; leave the machine "
                "as it is."
            )
        return (
            "On average the seams are right, but they vary from block to block; check your cutting "
            "and pressing, and sew against a guide."
        )
    if not seam.same:
        return (
            f"The seams are {amount} {off} than planned on average, but vary from block to block; "
            "check your cutting and pressing first, then sew against a guide."
        )
    total = format_length(abs(seam.deficit_mm), unit=unit, fraction=32)
    result, move = ("short", "towards") if extra > 0 else ("over", "away from")
    return (
        f"The blocks come out {total} {result}: if the pieces were cut to size and the seams "
        f"pressed flat, move the needle or the guide {amount} {move} the raw edge, because the "
        f"seams are that much {off} than planned."
    )
