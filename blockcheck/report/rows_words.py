"""The sentences about how the rows meet."""

from __future__ import annotations

from itertools import groupby

from ..planning.plan import called
from ..planning.quilt import QuiltPlan
from ..planning.rows.laying import ALTERNATE, SASHING, NoOrder, Rows
from ..planning.rows.seam_matches import RowsCheck, SeamMatch, SideMatch
from .advice_words import UNNAMED, remedy, the
from .gap_words import gap
from .phrases import names, sentence
from .words import length, size

_NO_ORDER = {
    None: "",
    NoOrder.ONE_ROW: "A single row has no seams to match with another row's.",
    NoOrder.PLACES: (
        "The best order of the blocks is worked out once there is a block for every place, and "
        "none left over."
    ),
    NoOrder.KINDS: "An order of the blocks is suggested only where all are of one kind.",
}


def no_order(rows: Rows) -> str:
    """Say why no order of the blocks is suggested; nothing where one is."""
    return _NO_ORDER[rows.no_order]


def line(rows: Rows) -> str:
    """Say what the pieces are sewn into first: "row", or "column" where columns are shifted."""
    return "column" if rows.along == "height" else "row"


def order(quilt: QuiltPlan, rows: Rows) -> tuple[tuple[str, str, str], ...]:
    """Each row (column): its number, its pieces with their sizes, how long it is sewn."""
    plan, way = quilt.plan, -1 if rows.along == "height" else 1
    found = []
    for i, pieces in enumerate(rows.pieces):
        sizes = [(p.name, (p.cut_mm, p.across_mm or 0.0)[::way]) for p in pieces]
        said = [f"{name} ({size(plan, *pair)})" for name, pair in sizes]
        runs = [(one, sum(1 for _ in some)) for one, some in groupby(said)]
        each = ", ".join(f"{n} × {one}" if n > 1 else one for one, n in runs)
        found.append((str(i + 1), each, length(plan, rows.check.lengths_mm[i])))
    return tuple(found)


def places(quilt: QuiltPlan) -> dict[str, str]:
    """Where each block lies in the quilt; alternate and half blocks have places too."""
    rows = quilt.rows
    if rows is None:
        return {}
    start = "left" if rows.along == "width" else "top"
    found = {
        piece.name: f"{line(rows)} {i}, place {k} from the {start}"
        for i, pieces in enumerate(rows.pieces, 1)
        for k, piece in enumerate((p for p in pieces if p.name != SASHING), 1)
    }
    found |= dict.fromkeys(rows.left_over, "no place left for it")
    every = [name for one in quilt.each for name in one.names]
    return {name: found[called(name)] for name in every if called(name) in found}


def seam_match(quilt: QuiltPlan, rows: Rows, one: SeamMatch) -> str:
    """Say which seams fail to match, by how much, and what to ease."""
    off = length(quilt.plan, abs(one.step_mm))
    first, second = (
        f"the end of {line(rows)} {r + 1}" if end else f"{_seam(name)} in {line(rows)} {r + 1}"
        for r, name, end in zip(one.rows, one.names, one.ends, strict=True)
    )
    start = "" if one.first else "with the seams before them matched, "
    doubt = ", too close to call" if one.meets == "too close to call" else ""
    said = f"{start}{first} and {second} are {off} apart{doubt}."
    return f"{sentence(said)} {remedy(quilt.plan, one.remedy)}".rstrip()


def _seam(name: str) -> str:
    """A seam by the piece that it follows, or the centre of a piece that it should meet."""
    after = name.startswith("after ")
    piece = name.removeprefix("after ").removeprefix("centre of ")
    if piece in UNNAMED:
        piece = f"{'an' if piece == ALTERNATE else 'a'} {piece}"
    return f"the {'seam after' if after else 'centre of'} {piece}"


def side_match(quilt: QuiltPlan, rows: Rows, one: SideMatch) -> str:
    """Say which neighbours' edges differ, by how much, and what to ease."""
    off = length(quilt.plan, abs(one.difference_mm))
    first, second = one.names
    longer, other = (
        the(name) for name in ((second, first) if one.difference_mm > 0 else (first, second))
    )
    more = "higher" if rows.along == "width" else "wider"
    doubt = ", too close to call" if one.meets == "too close to call" else ""
    where = f"in {line(rows)} {one.row + 1}"
    said = f"{sentence(longer)} is {off} {more} than {other} next to it {where}{doubt}."
    return f"{said} {remedy(quilt.plan, one.remedy)}"


def misses(quilt: QuiltPlan, rows: Rows, check: RowsCheck) -> tuple[str, ...]:
    """Every seam match and every pair of neighbours that misses, the worst first."""
    found = [(abs(m.step_mm), seam_match(quilt, rows, m)) for m in check.missing]
    found += [(abs(s.difference_mm), side_match(quilt, rows, s)) for s in check.uneven]
    return tuple(words for _, words in sorted(found, key=lambda pair: -pair[0]))


def rows_verdict(quilt: QuiltPlan) -> tuple[str, ...]:
    """Say how the rows meet as the blocks measure now, once trimmed, and in another order."""
    rows, plan = quilt.rows, quilt.plan
    if rows is None or quilt.size_mm is None:
        return (gap(quilt, "rows"),)
    said = []
    if not rows.check.matches and not rows.check.sides:
        said.append(no_order(rows))
    else:
        now, after = (
            _how_they_meet(quilt, rows, rows.check),
            _how_they_meet(quilt, rows, rows.trimmed),
        )
        others = any(p.name in UNNAMED for row in rows.pieces for p in row)
        beside = ", next to pieces cut to go with them" if others else ""
        worst = sentence(_at_worst(quilt, rows, rows.check))
        said.append(f"As the blocks measure now{beside}, {now} {worst}.")
        target = size(plan, *quilt.size_mm)
        said.append(f"Once the blocks are trimmed to {target}, {after}")
        if rows.trimmed.missing or rows.trimmed.uneven:
            short = [t.name for t in quilt.trims if not t.fits]
            if short:
                said.append(f"Short of that size: {names(short)}.")
            said += misses(quilt, rows, rows.trimmed)[:12]
    if plan.rows is None or plan.blocks_per_row is None:
        count = f"{len(rows.pieces)} {line(rows)}{'s'[: len(rows.pieces) != 1]}"
        said.append(
            "The plan does not say how many rows, or how many blocks per row; "
            f"{count} {'is' if len(rows.pieces) == 1 else 'are'} drawn."
        )
    if rows.to_sew:
        many = (
            "1 place has no block yet and is"
            if rows.to_sew == 1
            else f"{rows.to_sew} places have no block yet and are"
        )
        said.append(f"{many} drawn at the size of the others.")
    if rows.left_over:
        said.append(f"There is no place left for {names(rows.left_over)}.")
    if rows.arrangement is not None:
        if better := rows.better(plan.tolerance_mm / 8):
            order = "; ".join(
                f"{line(rows)} {i}: " + ", ".join(name for name in row if name != SASHING)
                for i, row in enumerate(better.rows, 1)
            )
            said.append(
                f"Untrimmed, the rows meet better in another order, in which "
                f"{_at_worst(quilt, rows, better.check)}: {order}."
            )
        elif rows.arrangement.method.startswith("exact"):
            said.append("No other order of the blocks meets better.")
        else:
            said.append("No better order of the blocks was found.")
    elif rows.check.matches:
        said.append(no_order(rows))
    return tuple(said)


def _at_worst(quilt: QuiltPlan, rows: Rows, check: RowsCheck) -> str:
    """How far the worst seam match and the worst neighbours are off, as a part of a sentence."""
    edge = "height" if rows.along == "width" else "width"
    worst = []
    if check.matches:
        worst.append(f"the worst seam match is {length(quilt.plan, check.worst_step_mm)} off")
    if check.sides:
        side = length(quilt.plan, check.worst_side_mm)
        worst.append(f"neighbours differ in {edge} by up to {side}")
    return " and ".join(worst)


def _how_they_meet(quilt: QuiltPlan, rows: Rows, check: RowsCheck) -> str:
    """How many seam matches and neighbours are off, as the end of a sentence."""
    tolerance = length(quilt.plan, quilt.plan.tolerance_mm, fraction=32)
    edge = "height" if rows.along == "width" else "width"
    many = {"seam matches": len(check.matches), "pairs of neighbours": len(check.sides)}
    off, close = [], 0
    for missing, things, verbs in (
        (check.missing, "seam matches", ("is off", "are off")),
        (check.uneven, "pairs of neighbours", (f"differs in {edge}", f"differ in {edge}")),
    ):
        close += sum(one.meets == "too close to call" for one in missing)
        if missing:
            verb = verbs[len(missing) != 1]
            off.append(f"{len(missing)} of {many[things]} {things} {verb} by more than {tolerance}")
    if not off:
        things = " and ".join(what for what, n in many.items() if n)
        return f"all {things} meet within {tolerance}."
    doubt = f" {close} of these {'is' if close == 1 else 'are'} too close to call." if close else ""
    return f"{' and '.join(off)}.{doubt}"
