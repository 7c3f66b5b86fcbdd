"""Labels to pin on the blocks: each block's name, its place in the quilt, and what to trim."""

from __future__ import annotations

from pathlib import Path

from reportlab.lib.units import inch as IN
from reportlab.lib.utils import simpleSplit

from ..planning.quilt import QuiltPlan
from ..planning.trimming.trim_lines import TrimPlan
from . import trimmed_words, words
from .phrases import SHORT_CAUTION
from .rows_words import places
from .tagged_pdf import TaggedCanvas, pages
from .trim_sheet import known, name_on_paper, paper_size, to_trim

_SIDE, _HEAD, _FOOT = 0.5 * IN, 0.6 * IN, 0.6 * IN
_ACROSS, _DOWN = 2, 4
_PAD = 13.0
_PLAIN, _BOLD = "Helvetica", "Helvetica-Bold"
_BY_HAND = "row ______  place ______"


def write_labels(path: str | Path, quilt: QuiltPlan, *, title: str, paper: str = "letter") -> None:
    """Write eight labels on a page, with the lines to cut them apart.

    Parameters
    ----------
    path : str or Path
        The PDF to write.
    quilt : QuiltPlan
    title : str
        The quilt's name.
    paper : {"letter", "a4"}

    Raises
    ------
    PlanError
        If there is no size to trim to.
    BlockcheckError
        If there is no such paper.
    """
    kinds, (width, height) = to_trim(quilt), paper_size(paper)
    where, per = places(quilt), _ACROSS * _DOWN
    every = [(one, i, trim) for one in kinds for i, trim in enumerate(one.trims)]
    with pages(path, width, height, f"{known(title)}: labels") as canvas:
        page = _Page(canvas, width, height, known(title))
        for first in range(0, len(every), per):
            some = every[first : first + per]
            page.begin(len(some))
            for k, (one, i, trim) in enumerate(some):
                page.label(k, one, i, trim, where.get(trim.name, _BY_HAND))
            canvas.showPage()


class _Page:
    """A page of labels; lengths in points."""

    def __init__(self, canvas: TaggedCanvas, width: float, height: float, title: str) -> None:
        self.canvas, self.width, self.height, self.title = canvas, width, height, title
        self.wide = (width - 2 * _SIDE) / _ACROSS
        self.tall = (height - _HEAD - _FOOT) / _DOWN

    def begin(self, count: int) -> None:
        """Head, caution, and the lines to cut along around `count` labels."""
        c, top = self.canvas, self.height - _HEAD
        with c.marked("P"):
            said = f"{self.title}: labels. Cut along the dashed lines."
            c.setFont(_PLAIN, self._size(said, _PLAIN, 11, 2 * self.wide))
            c.drawString(_SIDE, top + 10, said)
        with c.marked("P"):
            c.setFont(_PLAIN, 9)
            for i, line in enumerate(simpleSplit(SHORT_CAUTION, _PLAIN, 9, 2 * self.wide)):
                c.drawString(_SIDE, _FOOT - 14 - 11 * i, f"{line} ")
        rows = -(-count // _ACROSS)
        with c.decoration():
            c.setLineWidth(0.8)
            c.setDash(5, 4)
            for i in range(_ACROSS + 1):
                x = _SIDE + i * self.wide
                c.line(x, top, x, top - rows * self.tall)
            for i in range(rows + 1):
                c.line(_SIDE, top - i * self.tall, self.width - _SIDE, top - i * self.tall)
            c.setDash()

    def label(self, k: int, quilt: QuiltPlan, number: int, trim: TrimPlan, place: str) -> None:
        """Write one label in the `k`-th field of the page."""
        c, plan = self.canvas, quilt.plan
        x = _SIDE + k % _ACROSS * self.wide + _PAD
        y = self.height - _HEAD - k // _ACROSS * self.tall - _PAD
        room = self.wide - 2 * _PAD
        self._top(x + room, y)
        name = words.sentence(name_on_paper(quilt, trim, number))
        lines, size = self._name(name, room - 34)
        with c.marked("H1"):
            y = self._write(lines, _BOLD, size, x, y)
        with c.marked("P"):
            y = self._write([place], _PLAIN, 16, x, y)
        assert quilt.size_mm is not None
        with c.marked("P"):
            target = words.size(plan, *quilt.size_mm)
            target = f"Trim to {target}" if trimmed_words.to_cut(quilt, trim.name) else target
            y = self._write([target], _BOLD, 14, x, y - 2)
        with c.marked("P"):
            for line in trimmed_words.label_lines(quilt, trim):
                y = self._write([line], _PLAIN, self._size(line, _PLAIN, 13, room), x, y)
        left = int((y - (self.height - _HEAD - (k // _ACROSS + 1) * self.tall) - 6) // 12.6)
        doubts = simpleSplit(
            known(" ".join(trimmed_words.problems(quilt, trim))), _BOLD, 10.5, room
        )
        if len(doubts) > left:
            doubts = ["More about this block is in the report."]
        if doubts:
            with c.marked("P"):
                self._write(doubts, _BOLD, 10.5, x, y)

    def _top(self, x: float, y: float) -> None:
        """Mark which way up the label goes: the sides are named as the photo shows them."""
        c = self.canvas
        with c.decoration():
            path = c.beginPath()
            path.moveTo(x - 14, y)
            path.lineTo(x - 22, y - 12)
            path.lineTo(x - 6, y - 12)
            path.close()
            c.drawPath(path, stroke=0, fill=1)
            c.setFont(_BOLD, 11)
            c.drawCentredString(x - 14, y - 24, "top")

    def _name(self, text: str, room: float) -> tuple[list[str], float]:
        """A name in one line where it can be large, else in two."""
        size = self._size(text, _BOLD, 28, room)
        if size >= 18:
            return [text], size
        lines = simpleSplit(text, _BOLD, 14, room)
        if len(lines) > 2:
            lines = [lines[0], " ".join(lines[1:])]
        return lines, min(self._size(line, _BOLD, 14, room) for line in lines)

    def _size(self, text: str, font: str, most: float, room: float) -> float:
        """The size of letters at which a line fits."""
        wide = float(self.canvas.stringWidth(text, font, most))
        return min(most, most * room / max(wide, 1.0))

    def _write(self, lines: list[str], font: str, size: float, x: float, y: float) -> float:
        """Write lines below `y`; where the next begins."""
        self.canvas.setFont(font, size)
        for line in lines:
            y -= 1.2 * size
            self.canvas.drawString(x, y, f"{line} ")
        return y
