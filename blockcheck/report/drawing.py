"""Drawings as SVG, to scale: measured sizes, the size table, rows.

Built as element trees, so that names of blocks can hold any character. Black on white; hatching,
dashes, marks and words tell things apart, never colour.
"""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree as ET

from ..planning.plan import BlockRecord
from ..planning.quilt import QuiltPlan
from ..planning.rows.laying import ALTERNATE, HALF, SASHING, TO_SEW
from ..planning.rows.seam_matches import Piece
from ..units import INCH
from . import words

_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


class Svg:
    """An SVG picture that is written from top to bottom."""

    def __init__(self, x: float, y: float, width: float, height: float, label: str) -> None:
        self.root = ET.Element("svg")
        self.root.set("xmlns", "http://www.w3.org/2000/svg")
        self.root.set("viewBox", f"{x:.2f} {y:.2f} {width:.2f} {height:.2f}")
        self.root.set("role", "img")
        self.root.set("font-family", "Helvetica, Arial, sans-serif")
        self.add("title", clean(label))

    def add(self, tag: str, text: str | None = None, /, **attributes: object) -> ET.Element:
        """Add an element; ``stroke_width=2`` becomes ``stroke-width="2"``."""
        return put(self.root, tag, text, **attributes)

    def line(self, a: tuple[float, float], b: tuple[float, float], /, **look: object) -> None:
        """Draw a line, black unless told."""
        self.add("line", x1=a[0], y1=a[1], x2=b[0], y2=b[1], **{"stroke": "black", **look})

    def text(self, x: float, y: float, text: str, size: float, /, **look: object) -> None:
        """Write `text` with its foot at (x, y), with white around it to stand clear of lines."""
        halo = {"paint_order": "stroke", "stroke": "white", "stroke_width": size / 4}
        self.add("text", clean(text), x=x, y=y, font_size=size, **{**halo, **look})

    def __str__(self) -> str:
        return ET.tostring(self.root, encoding="unicode")


def put(
    parent: ET.Element, tag: str, text: str | None = None, /, **attributes: object
) -> ET.Element:
    """Add an element below another."""
    element = ET.SubElement(parent, tag)
    for name, value in attributes.items():
        shown = f"{value:.2f}" if isinstance(value, float) else str(value)
        element.set(name.rstrip("_").replace("_", "-"), shown)
    element.text = text
    return element


def clean(text: str) -> str:
    """Drop the characters that XML cannot hold."""
    return _UNPRINTABLE.sub("\N{REPLACEMENT CHARACTER}", text)


def hatch(svg: Svg, name: str, gap: float, *, crossed: bool = False, **look: object) -> str:
    """Define a hatching and return how to fill with it."""
    pattern = svg.add(
        "pattern", id=name, width=gap, height=gap,
        patternUnits="userSpaceOnUse", patternTransform="rotate(45)",
    )  # fmt: skip
    put(pattern, "rect", width=gap, height=gap, fill="white", fill_opacity=0.55)
    put(pattern, "line", x1=0, y1=0, x2=0, y2=gap, stroke="black", stroke_width=gap / 3, **look)
    if crossed:
        put(pattern, "line", x1=0, y1=0, x2=gap, y2=0, stroke="black", stroke_width=gap / 3)
    return f"url(#{name})"


def measured_sizes(quilt: QuiltPlan, blocks: list[BlockRecord], dimension: str) -> str:
    """Draw each block's width or height with its ±, beside the size to trim to and the planned.

    `dimension` is "width" or "height". Of more than 40 blocks the names are left out.
    """
    plan, way = quilt.plan, dimension == "height"
    found = [(b.name, b.height_mm if way else b.width_mm) for b in blocks if b.name in quilt.names]
    named = len(found) <= 40
    pitch, left, right, top = (26.0 if named else 5.0), 96.0, 292.0, 58.0
    lines = [
        (name, chosen[way], look)
        for name, chosen, look in (
            ("trim to", quilt.size_mm, {"stroke_width": 3}),
            ("planned", plan.planned_mm, {"stroke_width": 2, "stroke_dasharray": "6 4"}),
        )
        if chosen is not None
    ]
    ends = [e.value + s * e.u95 for _, e in found for s in (-1, 1)] + [at for _, at, _ in lines]
    step = INCH / 8 if plan.unit == "in" else 5.0
    low, high = math.floor(min(ends) / step) * step, math.ceil(max(ends) / step) * step

    def x(mm: float) -> float:
        return left + (mm - low) / max(high - low, step) * (right - left)

    bottom = top + pitch * len(found)
    svg = Svg(0, 0, 380, bottom + 34, f"Measured {dimension} of every block")
    svg.text(0, 18, f"{dimension.capitalize()}, {plan.unit}", 18, font_weight="bold")
    marks = round((high - low) / step)
    every = max(1, math.ceil(marks / 4))
    for k in range(marks + 1):
        at = low + k * step
        svg.line((x(at), top), (x(at), bottom), stroke="#bbb", stroke_width=1)
        if k % every == 0:
            text = words.length(plan, at, fraction=32).removesuffix(f" {plan.unit}")
            svg.text(x(at), bottom + 17, text, 13, text_anchor="middle")
    for i, (name, at, look) in enumerate(lines):
        svg.line((x(at), top - 6 + 2 * i), (x(at), bottom), **look)
        text = f"{name} {words.length(plan, at, fraction=32)}"
        anchor = "start" if x(at) < (left + right) / 2 else "end"
        svg.text(x(at), top - 12 - 17 * i, text, 14, text_anchor=anchor)
    for i, (name, e) in enumerate(found):
        y = top + (i + 0.5) * pitch
        svg.line((x(e.value - e.u95), y), (x(e.value + e.u95), y), stroke_width=2)
        small = quilt.size_mm is not None and e.value < quilt.size_mm[way]
        fill = "white" if small else "black"
        svg.add("circle", cx=x(e.value), cy=y, r=min(5.0, pitch / 2), fill=fill, stroke="black")
        if named:
            shown = name if len(name) <= 11 else f"{name[:4]}…{name[-5:]}"
            svg.text(0, y + 5, shown, 15)
            svg.text(380, y + 5, words.length(plan, e.value), 15, text_anchor="end")
    return str(svg)


def size_table(quilt: QuiltPlan) -> str:
    """Draw the size table as bars: how many blocks reach each size."""
    if quilt.choice is None:
        return ""
    table = quilt.choice.table
    n, pitch = len(quilt.names), 50.0
    svg = Svg(0, 0, 380, pitch * len(table), "How many blocks reach each size")
    for i, row in enumerate(table):
        y = i * pitch
        chosen = quilt.size_mm == (row.width_mm, row.height_mm)
        text = words.size(quilt.plan, row.width_mm, row.height_mm)
        svg.text(0, y + 17, text, 16, font_weight="bold" if chosen else "normal")
        svg.text(380, y + 17, f"{row.reached} of {n}", 16, text_anchor="end")
        svg.add("rect", x=1, y=y + 24, width=378, height=14, fill="white", stroke="black")
        svg.add("rect", x=1, y=y + 24, width=378.0 * row.reached / n, height=14)
    return str(svg)


def rows_to_scale(quilt: QuiltPlan) -> str:
    """Draw the rows (or columns) as they measure now, with numbers on the seam matches that miss."""
    rows, plan = quilt.rows, quilt.plan
    if rows is None or quilt.size_mm is None:
        return ""
    upright, seam = rows.along == "height", plan.seam_mm
    across = (quilt.size_mm[0] if upright else quilt.size_mm[1]) - 2 * seam
    gap = (
        plan.sashing_cut_mm - 2 * seam if plan.sashing_cut_mm and plan.setting != "offset" else 0.0
    )
    long = max(rows.check.lengths_mm)
    width, height = len(rows.pieces) * (across + gap) - gap, long
    if not upright:
        width, height = height, width
    em = 15 * max(width / 370, height / 700)
    svg = Svg(-em, -2 * em, width + 3 * em, height + 3 * em, "The rows drawn to scale")
    plain = hatch(svg, "setting", em / 2, stroke_opacity=0.35)

    def at(along: float, over: float) -> tuple[float, float]:
        return (over, along) if upright else (along, over)

    for r in range(1, len(rows.pieces) if gap else 0):
        svg.add(
            "rect", x=0, y=r * (across + gap) - gap, width=long, height=gap, fill=plain,
            stroke="black", stroke_width=em / 8,
        )  # fmt: skip
    for r, row in enumerate(rows.pieces):
        start, over = 0.0, r * (across + gap)
        for piece in row:
            end = start + piece.cut_mm - 2 * seam
            (x0, y0), (x1, y1) = at(start, over), at(end, over + across)
            svg.add(
                "rect", x=x0, y=y0, width=x1 - x0, height=y1 - y0, stroke="black",
                stroke_width=em / 8, fill=plain if _plain(piece) else "white",
                **({"stroke_dasharray": em / 2} if piece.name == TO_SEW else {}),
            )  # fmt: skip
            if not _plain(piece) and piece.name != SASHING:
                name = "to sew" if piece.name == TO_SEW else piece.name
                room = (x1 - x0) / max(len(name), 1) * 1.6
                svg.text(
                    (x0 + x1) / 2, (y0 + y1) / 2 + em / 3, name, min(em, room),
                    text_anchor="middle",
                )  # fmt: skip
            start = end
        name = f"{'column' if upright else 'row'} {r + 1}"
        x, y = at(0, over + across / 2)
        if upright:
            svg.text(x, -em / 2, name if across > 4 * em else str(r + 1), em, text_anchor="middle")
        else:
            svg.text(-em / 4, y, name, em, text_anchor="middle", transform=f"rotate(-90 {-em / 4:.2f} {y:.2f})")  # fmt: skip
    for i, match in enumerate(rows.check.missing, start=1):
        # where the two rows' own lengths bring the planned place
        planned = sum(p.planned_mm - 2 * seam for p in rows.pieces[match.rows[0]])
        longs = [rows.check.lengths_mm[r] for r in match.rows]
        along = match.planned_mm / planned * sum(longs) / 2
        x, y = at(along, match.rows[1] * (across + gap) - gap / 2)
        svg.add("circle", cx=x, cy=y, r=em * 0.75, stroke_width=em / 8, stroke="white")
        svg.text(x, y + em / 3, str(i), em, text_anchor="middle", fill="white", stroke="none")
    return str(svg)


def _plain(piece: Piece) -> bool:
    return piece.name in (ALTERNATE, HALF, SASHING)
