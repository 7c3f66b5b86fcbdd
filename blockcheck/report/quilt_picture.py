"""The whole quilt drawn to scale, and cutting layouts on cloth, as SVG.

Every piece carries its letter, and its name where there is room; the list below says what each
letter stands for. Fabrics differ by their hatching.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from ..planning.cutting.cloth import OnCloth
from ..planning.cutting.pieces import CutPiece
from ..planning.layouts.layout import Layout
from ..planning.layouts.patch import Patch, Point
from ..planning.plan import Plan
from . import words
from .drawing import Svg, put

WIDE = 380.0  # of a drawing, in the units that letters are sized in
LEAST = 5.0  # of a letter, however small the piece
_LETTER = 0.62  # width of a letter, of its height
_MARKS = (  # hatchings: lines in a square of 8, as x1 y1 x2 y2
    ((2, 2, 4, 4), (6, 6, 8, 8)),
    ((0, 8, 8, 0),),
    ((0, 4, 8, 4),),
    ((0, 0, 8, 8), (0, 8, 8, 0)),
    ((4, 0, 4, 8),),
    ((0, 0, 8, 8),),
    ((4, 0, 4, 8), (0, 4, 8, 4)),
)


def letters(count: int) -> list[str]:
    """A, B, … Z, AA, AB, … for so many kinds of pieces."""
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    return [(alphabet[i // 26 - 1] if i > 25 else "") + alphabet[i % 26] for i in range(count)]


def key_of_quilt(layout: Layout, plan: Plan) -> list[tuple[str, str]]:
    """Each letter of the drawing with its name, its size and how many there are."""
    kinds = layout.kinds()
    named = zip(letters(len(kinds)), kinds, strict=True)
    return [(letter, _said(some, plan)) for letter, some in named]


def _said(some: Sequence[Patch], plan: Plan) -> str:
    one = some[0]
    name, _, _ = one.name.partition(", ")
    size = words.size(plan, *one.cut_mm)
    if not one.fabric:
        return f"{len(some)} × {name}, {size} unfinished"
    if one.gives == 1:
        return f"{len(some)} × {name}, cut {size}"
    squares = math.ceil(len(some) / one.gives)
    times = {2: "once", 4: "twice"}[one.gives]
    plural = "squares" if squares > 1 else "square"
    return f"{len(some)} × {name}, from {squares} {plural} of {size} cut {times} corner to corner"


def quilt_picture(layout: Layout, plan: Plan, *, name: str = "q", key: bool = True) -> str:
    """Draw a quilt top to scale.

    Parameters
    ----------
    layout : Layout
    plan : Plan
        For the unit that sizes are written in.
    name : str
        Distinguishes the drawing's hatchings from those of others on the same page.
    key : bool
        Whether the list of letters is part of the drawing.
    """
    kinds = dict(zip(letters(len(layout.kinds())), layout.kinds(), strict=True))
    scale = (WIDE - 20) / max(layout.width_mm, layout.height_mm * 0.75)
    wide, high = layout.width_mm * scale, layout.height_mm * scale
    said = key_of_quilt(layout, plan) if key else []
    lines = [line for letter, text in said for line in _wrapped(letter, text)]
    left = (WIDE - wide) / 2
    svg = Svg(0, 0, WIDE, high + 44 + 17 * len(lines), "The whole quilt, drawn to scale")
    fabrics = dict.fromkeys(some[0].fabric for some in kinds.values())
    fills = {f: _fill(svg, f"{name}{i}", i) for i, f in enumerate(fabrics)}
    fills[""] = "white"
    for letter, some in kinds.items():
        for p in some:
            corners = [(left + x * scale, 22 + y * scale) for x, y in p.corners_mm]
            points = " ".join(f"{x:.2f},{y:.2f}" for x, y in corners)
            svg.add(
                "polygon", points=points, fill=fills[p.fabric], stroke="black", stroke_width=0.8
            )
            _label(svg, corners, letter, p.name.partition(", ")[0])
    svg.add(
        "rect", x=left, y=22.0, width=wide, height=high, fill="none", stroke="black", stroke_width=2
    )
    size = words.size(plan, layout.width_mm, layout.height_mm)
    svg.text(WIDE / 2, 14, f"{size} finished", 14, text_anchor="middle")
    for i, (letter, text) in enumerate(lines):
        y = high + 44 + 17 * i
        if letter:
            fill = fills[kinds[letter][0].fabric]
            svg.add("rect", x=0, y=y - 11, width=24, height=13, fill=fill, stroke="black")
            svg.text(12, y, letter, 12, text_anchor="middle", font_weight="bold")
        svg.text(30, y, text, 12.5)
    return str(svg)


def cloth_picture(laid: OnCloth, pieces: Sequence[CutPiece], plan: Plan, *, name: str = "c") -> str:
    """Draw strips and pieces on one piece of cloth, its selvages on the left and right.

    Parameters
    ----------
    laid : OnCloth
    pieces : sequence of CutPiece
        What `Place.shape` counts in; the letters follow their order.
    plan : Plan
    name : str
    """
    size = (laid.cloth.width_mm, laid.cloth.length_mm)
    if laid.turned:
        size = size[::-1]
    wide, high = size
    scale = (WIDE - 70) / wide
    svg = Svg(0, 0, WIDE, high * scale + 26, f"What is cut from {laid.cloth.said}")
    waste = _fill(svg, f"{name}w", 0)
    svg.text(0, 13, f"{laid.cloth.said}: {words.size(plan, *size)}", 13)
    top = 20.0
    svg.add("rect", x=0, y=top, width=wide * scale, height=high * scale, fill=waste, stroke="black")
    named = letters(len(pieces))
    told, below = "", top
    for strip in laid.strips:
        y, h = top + strip.y_mm * scale, strip.wide_mm * scale
        for p in strip.places:
            x, at = p.x_mm * scale, top + p.y_mm * scale
            w, tall = p.across_mm * scale, p.along_mm * scale
            svg.add(
                "rect",
                x=x,
                y=at,
                width=w,
                height=tall,
                fill="white",
                stroke="black",
                stroke_width=0.8,
            )
            _label(
                svg,
                [(x, at), (x + w, at), (x + w, at + tall), (x, at + tall)],
                named[p.shape],
                pieces[p.shape].name,
            )
        svg.line((0, y + h), (wide * scale + 6, y + h), stroke_width=2)
        said, at = words.length(plan, strip.wide_mm, fraction=32), y + h / 2 + 4
        if (
            said != told or at > below
        ):  # narrow strips of one width are told once, not one over another
            svg.text(wide * scale + 8, at, said, 11)
            told, below = said, at + 11
    return str(svg)


def _fill(svg: Svg, name: str, which: int) -> str:
    """Define a hatching and return how to fill with it."""
    marks = _MARKS[which % len(_MARKS)]
    pattern = svg.add("pattern", id=name, width=8, height=8, patternUnits="userSpaceOnUse")
    put(pattern, "rect", width=8, height=8, fill="white")
    for x1, y1, x2, y2 in marks:
        put(pattern, "line", x1=x1, y1=y1, x2=x2, y2=y2, stroke="#888", stroke_width=1)
    return f"url(#{name})"


def _label(svg: Svg, corners: Sequence[Point], letter: str, name: str) -> None:
    """Write a piece's letter in it, as the list has it, and its name where there is room."""
    x = sum(c[0] for c in corners) / len(corners)
    y = sum(c[1] for c in corners) / len(corners)
    reach = _reach(corners, (x, y))
    across = max(c[0] for c in corners) - min(c[0] for c in corners)
    if len(corners) == 4 and _level(corners):
        if reach > 17 and len(name) * 11 * _LETTER < across - 6:
            svg.text(x, y - 3, letter, 13, text_anchor="middle", font_weight="bold")
            svg.text(x, y + 12, name, 11, text_anchor="middle")
            return
        if reach > 8 and len(f"{letter} {name}") * 11 * _LETTER < across - 6:
            svg.text(x, y + 4, f"{letter} {name}", 11, text_anchor="middle")
            return
    size = min(13.0, max(1.5 * reach, LEAST))
    svg.text(x, y + 0.36 * size, letter, size, text_anchor="middle", font_weight="bold")


def _reach(corners: Sequence[Point], at: Point) -> float:
    """How far the nearest edge lies from a point inside."""
    follow = (*corners[1:], corners[0])
    return min(
        abs((b[0] - a[0]) * (at[1] - a[1]) - (b[1] - a[1]) * (at[0] - a[0])) / math.dist(a, b)
        for a, b in zip(corners, follow, strict=True)
    )


def _level(corners: Sequence[Point]) -> bool:
    """Whether a piece's first side runs level or upright."""
    (x0, y0), (x1, y1) = corners[:2]
    return abs(x1 - x0) < 0.01 or abs(y1 - y0) < 0.01


def _wrapped(letter: str, text: str, most: int = 56) -> list[tuple[str, str]]:
    """The text in lines, the letter beside the first."""
    lines = [""]
    for word in text.split(" "):
        if lines[-1] and len(lines[-1]) + 1 + len(word) > most:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return [(letter if i == 0 else "", line) for i, line in enumerate(lines)]
