"""The report: one HTML file with everything a quilter reads, for a phone, a screen and paper."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from ..files import write_whole
from ..planning.plan import BlockRecord
from ..planning.quilt import QuiltPlan
from ..project.records import PhotoFile
from . import advice_words, cutting_words, drawing, pair_words, rows_words, trimmed_words, words
from .quilt_picture import cloth_picture, key_of_quilt, quilt_picture
from .trim_picture import flat_photo, trim_picture

_PARTED = re.compile(r"(?<=\d) (?=\d+/\d+ |in\b|cm\b|yd\b|%|×)|(?<=[×±]) (?=\d)")


def report_html(
    quilt: QuiltPlan,
    blocks: Sequence[BlockRecord],
    *,
    title: str,
    photos: Mapping[str, PhotoFile | None] | None = None,
    paper: str = "letter",
) -> str:
    """Return the report as one self-contained HTML page.

    Parameters
    ----------
    quilt : QuiltPlan
    blocks : sequence of BlockRecord
        The blocks that `quilt` was worked out from.
    title : str
        The quilt's name.
    photos : mapping of str to PhotoFile, optional
        Each block's photo by the block's name; a block without is drawn from its outline.
    paper : {"letter", "a4"}
        The paper that it prints on.
    """
    environment = Environment(
        loader=PackageLoader("blockcheck", "report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    cloths = {
        f.name: [
            Markup(cloth_picture(one, f.cloth.pieces, quilt.plan, name=f"f{i}c{j}"))
            for j, one in enumerate((*f.cloth.in_hand, *filter(None, [f.cloth.bolt])))
        ]
        for i, f in enumerate(quilt.fabrics)
    }
    layout = quilt.layout
    page = environment.get_template("report.html").render(
        q=quilt,
        words=words,
        advice=advice_words,
        trimmed=trimmed_words,
        rows_words=rows_words,
        cutting_words=cutting_words,
        pair_words=pair_words,
        drawing="" if layout is None else Markup(quilt_picture(layout, quilt.plan, key=False)),
        key=() if layout is None else key_of_quilt(layout, quilt.plan),
        cloths=cloths,
        title=drawing.clean(title),
        paper=paper,
        parts=[
            _part(one, blocks, photos or {}, i, len(quilt.each))
            for i, one in enumerate(quilt.each)
            if one.names
        ],
        groups=_groups,
        rows=Markup(drawing.rows_to_scale(quilt)),
    )
    return unbroken(page)


def _part(
    quilt: QuiltPlan,
    blocks: Sequence[BlockRecord],
    photos: Mapping[str, PhotoFile | None],
    number: int,
    kinds: int,
) -> dict[str, Any]:
    """What the report says of one kind of block: `quilt` with what is drawn of it."""
    record = {b.name: b for b in blocks}
    n = str(number or "")
    trims, undrawn = [], []
    for i, trim in enumerate(quilt.trims):
        flat = flat_photo(photos.get(trim.name), record[trim.name])
        if flat is None:
            undrawn.append(trim.name)
        picture = trim_picture(quilt.plan, record[trim.name], trim, flat, f"t{n}-{i}")
        trims.append((trim, record[trim.name], Markup(picture)))
    return {
        "quilt": quilt,
        "n": n,
        "of": f": {quilt.kind}" if kinds > 1 else "",
        "trims": trims,
        "undrawn": undrawn,
        "after": trimmed_words.after_trimming(quilt, blocks),
        "how_sure": words.how_sure(quilt, blocks),
        "plots": [
            Markup(drawing.measured_sizes(quilt, list(blocks), dimension))
            for dimension in ("width", "height")
        ],
        "measured": words.measured_rows(quilt, blocks),
        "table": Markup(drawing.size_table(quilt)),
    }


def unbroken(text: str) -> str:
    """Keep a size from being parted at the end of a line."""
    return _PARTED.sub("\N{NO-BREAK SPACE}", text)


def _groups(rows: Sequence[object], least: int = 4) -> list[Sequence[object]]:
    """Rows of a table in groups that stay together on paper, so that none is alone on a page."""
    many = max(1, len(rows) // least)
    ends = [len(rows) * i // many for i in range(many + 1)]
    return [rows[a:b] for a, b in pairwise(ends) if b > a]


def write_report(
    path: str | Path,
    quilt: QuiltPlan,
    blocks: Sequence[BlockRecord],
    *,
    title: str,
    photos: Mapping[str, PhotoFile | None] | None = None,
    paper: str = "letter",
) -> None:
    """Write the page that `report_html` returns; a report that is there is replaced whole."""
    page = report_html(quilt, blocks, title=title, photos=photos, paper=paper)
    write_whole(Path(path), page.encode("utf-8", "replace"))
