"""The commands kind and compare: kinds of blocks, and halves before they are joined."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import click

from ..errors import ProjectError, typed
from ..planning.pairs import Pair, compare, pairs
from ..planning.plan import BlockRecord, Kind, Plan
from ..project import Project
from ..report import pair_words, setting_words
from ..report import project_words as words
from ..report.phrases import names
from ..units import parse_size
from .as_json import to_json
from .command import command
from .options import JSON, PROJECT, Number
from .setting_options import NONE
from .voice import Status, in_words, note, say, stop


@command("kind")
@PROJECT
@click.argument("name", required=False)
@click.option(
    "--planned", metavar="WxH", help="Planned unfinished size; of one half with --halves."
)
@click.option("--seams-across", metavar="COUNT", type=Number(), help="As in the plan.")
@click.option("--seams-down", metavar="COUNT", type=Number(), help="As in the plan.")
@click.option(
    "--halves/--no-halves", default=None, help="Sewn as two mirrored halves that are then joined."
)
@click.option("--motif", metavar="WORDS", help="What it shows.")
@click.option("--trim-to", metavar="WxH", help="The size to trim to, if you choose it.")
@click.option("--remove", is_flag=True, help="Take this kind out of the plan.")
def kind(
    project: Path,
    name: str | None,
    planned: str | None,
    seams_across: int | None,
    seams_down: int | None,
    halves: bool | None,
    motif: str | None,
    trim_to: str | None,
    remove: bool,
) -> None:
    """Without NAME the kinds there are. The first kind is the plan's own.

    Say of which kind a block is with: blockcheck add --kind, blockcheck change --kind.
    """
    with in_words(), Project.open(project) as quilt:
        plan = quilt.plan
        if name is not None:
            if name == plan.kind:
                stop(
                    Status.USAGE,
                    f"{name} is the plan's first kind. To change it: {typed('plan', project)}",
                )
            given = {
                "planned_mm": planned and parse_size(planned, plan.unit),
                "seams_across": seams_across,
                "seams_down": seams_down,
                "halves": halves,
                "motif": motif,
            }
            new = _with(plan, name, given, remove)
            if trim_to is not None:
                size = None if trim_to == NONE else parse_size(trim_to, plan.unit)
                new = new.with_chosen(name, size)
            quilt.set_plan(new)
        kinds = dict(setting_words.rows(quilt.plan))["kinds of blocks"]
        say(words.table([("kinds of blocks", kinds or quilt.plan.kind)]))


def _with(plan: Plan, name: str, given: Mapping[str, object], remove: bool) -> Plan:
    """The plan with a kind added, changed or taken out."""
    there = {k.name: k for k in plan.kinds}
    if remove:
        if name not in there:
            raise ProjectError(f"The plan has no kind of block called {name}.")
        del there[name]
    else:
        new = {k: v for k, v in given.items() if v is not None}
        there[name] = replace(there.get(name, Kind(name)), **new)  # type: ignore[arg-type]
    return replace(plan, kinds=tuple(there.values()))


@command("compare")
@PROJECT
@click.argument("halves", nargs=-1, metavar="[LEFT RIGHT]")
@JSON
def compare_(project: Path, halves: tuple[str, ...], as_json: bool) -> None:
    """LEFT and RIGHT are two blocks; else all halves, paired by their names: "4 left", "4 right"."""
    if len(halves) not in (0, 2):
        stop(Status.USAGE, "Name two halves, the left one first, or none for all pairs.")
    with in_words(), Project.open(project) as quilt:
        plan, blocks = quilt.plan, {b.name: b for b in quilt.blocks()}
        found, alone = _pairs(plan, blocks, halves)
    if as_json:
        say(to_json("compare", pairs=found, alone=alone))
        return
    lines = []
    for pair in found:
        lines += [f"{pair.left} and {pair.right}: {pair_words.verdict(plan, pair)}"]
        lines += words.table([("", *row) for row in pair_words.table(plan, pair)]).splitlines()
    if alone:
        lines.append(f"Without a mirrored half: {', '.join(alone)}.")
    say("\n".join(lines))
    note("Lay the ruler on both before you trim one to the other.")


def _pairs(
    plan: Plan, blocks: dict[str, BlockRecord], named: tuple[str, ...]
) -> tuple[tuple[Pair, ...], tuple[str, ...]]:
    for name in named:
        if name not in blocks:
            there = f"It has {names(list(blocks))}." if blocks else "It has no blocks yet."
            raise ProjectError(f"There is no block {name} in this project.", there)
    if named:
        return (compare(blocks[named[0]], blocks[named[1]], plan),), ()
    kinds = {k.name for k in plan.kinds if k.halves}
    halves = [b for b in blocks.values() if b.kind in kinds and b.state != "set aside"]
    if not halves:
        stop(
            Status.BLOCKS,
            "There are no halves to compare: name two blocks, or say which kind is sewn in halves "
            "(blockcheck kind --halves).",
        )
    return pairs(plan, halves)
