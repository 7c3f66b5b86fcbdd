"""The quilt's setting and its fabrics as options."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import click

from ..errors import PlanError
from ..planning.cutting.cloth import read_allowance, read_cloth
from ..planning.layouts.design import SIDES
from ..planning.plan import Plan, Sides
from ..units import parse_length, parse_size
from .options import told

NONE = "none"
Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

SETTING_OPTIONS: list[Decorator] = [
    click.option(
        "--setting",
        type=click.Choice(["straight", "offset", "on-point"]),
        help=told("How the blocks are put together.", "straight"),
    ),
    click.option(
        "--shifted",
        type=click.Choice(["rows", "columns", NONE]),
        help=told("What an offset setting shifts.", "rows; columns with sashing"),
    ),
    click.option(
        "--alternate/--no-alternate",
        default=None,
        help=told("Pieced and alternate blocks take turns, or not.", "not"),
    ),
    click.option(
        "--kind", metavar="NAME", help=told("What your first kind of block is called.", "block")
    ),
    click.option(
        "--order",
        metavar='"A,B / B,A"',
        help=told("Kinds of blocks row by row, repeated over the quilt.", "all take turns"),
    ),
    click.option(
        "--sashing-between",
        type=click.Choice(["rows", "blocks", "both", NONE]),
        help=told("Where the sashing lies.", "rows"),
    ),
    click.option(
        "--cornerstones/--no-cornerstones",
        default=None,
        help=told("Squares where sashing crosses, or not.", "not"),
    ),
    click.option(
        "--frame",
        metavar="LENGTH",
        help=told(
            "Cut width of a frame around each block, like 2in or left=2in,right=2in.", "none"
        ),
    ),
    click.option(
        "--clipped",
        metavar="LENGTH",
        help="Clip the corners of alternate blocks: the finished leg of the triangles sewn on.",
    ),
    click.option(
        "--border",
        metavar="LENGTH",
        multiple=True,
        help="Cut width of a border, like 3in or top=3in,bottom=3in; once for each, inner ones first.",
    ),
    click.option(
        "--border-corners",
        type=click.Choice(["butted", "mitred"]),
        help=told("How the borders' corners are made.", "butted"),
    ),
    click.option(
        "--measured-middle",
        metavar="WxH",
        help="What the sewn quilt measures through its middle, inside the borders.",
    ),
]
FABRIC_OPTIONS: list[Decorator] = [
    click.option(
        "--fabric",
        metavar="PART=FABRIC",
        multiple=True,
        help="What a part of the quilt is cut from, like sashing=blue.",
    ),
    click.option(
        "--width-of",
        metavar="FABRIC=LENGTH",
        multiple=True,
        help="Usable width of one fabric, if it is not --fabric-width.",
    ),
    click.option(
        "--have",
        metavar="FABRIC=CLOTH",
        multiple=True,
        help='Cloth in hand, like "blue=1 1/4yd", "blue=fat quarter", "blue=14x20in"; "blue=none" '
        'takes it away, "none" all of it.',
    ),
    click.option(
        "--lengthwise",
        metavar="PART",
        multiple=True,
        help="A part of the quilt to cut along the lengthwise grain, like border.",
    ),
    click.option(
        "--one-way", metavar="FABRIC", multiple=True, help="A fabric whose print has a direction."
    ),
    click.option(
        "--allowance",
        metavar="PERCENT",
        help=told("Cloth lost to squaring up and shrinkage.", "10%"),
    ),
    click.option(
        "--backing-width",
        metavar="LENGTH",
        help=told("Usable width of the backing, like 106in.", "same as the fabric"),
    ),
]


def changed(plan: Plan, given: dict[str, Any], unit: str) -> dict[str, Any]:
    """The fields of the plan that the given options change.

    Raises
    ------
    LengthError, PlanError
        For an option that cannot be read.
    """
    new: dict[str, Any] = {}

    def length(text: str) -> float:
        return parse_length(text, unit)

    def sides(text: str) -> Sides:
        if "=" not in text:
            return tuple((side, length(text)) for side in SIDES)
        return tuple((side, length(mm)) for side, mm in _named(text.split(","), "left=2in"))

    if given["setting"]:
        new["setting"] = given["setting"].replace("-", " ")
    for name in ("shifted", "sashing_between"):
        if given[name]:
            new[name] = None if given[name] == NONE else given[name]
    for name in ("alternate", "cornerstones", "border_corners", "kind"):
        if given[name] is not None:
            new[name] = given[name]
    if text := given["order"]:
        lines = () if text == NONE else text.split("/")
        new["repeat"] = tuple(tuple(k.strip() for k in line.split(",")) for line in lines)
    if text := given["frame"]:
        new["frame_mm"] = () if text == NONE else sides(text)
    for option, field in (("clipped", "clipped_mm"), ("backing_width", "backing_width_mm")):
        if text := given[option]:
            new[field] = None if text == NONE else length(text)
    if given["border"]:
        widths = () if given["border"] == (NONE,) else given["border"]
        new["borders_mm"] = tuple(sides(w) if "=" in w else length(w) for w in widths)
    if text := given["measured_middle"]:
        new["body_mm"] = None if text == NONE else parse_size(text, unit)
    for option, field, example in (
        ("fabric", "fabrics", "sashing=blue"),
        ("have", "in_hand", "blue=1 1/4yd"),
        ("width_of", "fabric_widths_mm", "blue=42in"),
    ):
        if given[option]:
            pairs = _named([text for text in given[option] if text != NONE], example)
            named = {name for name, _ in pairs}
            kept = () if NONE in given[option] else getattr(plan, field)
            new[field] = (
                *(pair for pair in kept if pair[0] not in named),
                *(
                    (name, length(text) if option == "width_of" else text)
                    for name, text in pairs
                    if text != NONE
                ),
            )
    for _, text in new.get("in_hand", ()):
        read_cloth(text, unit=unit)
    for option in ("lengthwise", "one_way"):
        if given[option]:
            new[option] = () if given[option] == (NONE,) else tuple(given[option])
    if text := given["allowance"]:
        new["allowance"] = read_allowance(text)
    return new


def _named(texts: Sequence[str], example: str) -> list[tuple[str, str]]:
    """Read NAME=VALUE."""
    pairs = []
    for text in texts:
        name, equals, value = text.partition("=")
        if not (name.strip() and equals and value.strip()):
            raise PlanError(
                f'"{text}" needs a name, "=" and what goes with it.', f"Write it like {example}."
            )
        pairs.append((name.strip(), value.strip()))
    return pairs
