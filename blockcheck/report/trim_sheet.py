"""The trim sheet: a PDF for the cutting table, what to trim on one page, what else to cut on the next."""

from __future__ import annotations

from pathlib import Path

from reportlab.lib.units import inch as IN
from reportlab.lib.utils import simpleSplit

from ..errors import BlockcheckError, PlanError
from ..planning.plan import called
from ..planning.quilt import QuiltPlan
from ..planning.trimming.trim_lines import TrimPlan
from . import cutting_words, trim_words, trimmed_words, words
from .card_sheet import PAPERS_MM
from .tagged_pdf import TaggedCanvas, pages

_EDGE = 0.6 * IN
_ACROSS, _DOWN = 2, 3
_PLAIN, _BOLD = "Helvetica", "Helvetica-Bold"


def to_trim(quilt: QuiltPlan) -> list[QuiltPlan]:
    """The kinds of blocks that have a size to trim to.

    Raises
    ------
    PlanError
        If there is none.
    """
    kinds = [one for one in quilt.each if one.size_mm is not None and one.trims]
    if not kinds:
        raise PlanError(words.gap(quilt, "trims", "size"))
    return kinds


def paper_size(paper: str) -> tuple[float, float]:
    """Width and height of "letter" or "a4", in points.

    Raises
    ------
    BlockcheckError
        If there is no such paper.
    """
    if paper not in PAPERS_MM:
        raise BlockcheckError(f'There is no paper "{paper}" here.', "Use letter or a4.")
    width, height = (mm / 25.4 * IN for mm in PAPERS_MM[paper])
    return width, height


def write_trim_sheet(
    path: str | Path, quilt: QuiltPlan, *, title: str, paper: str = "letter"
) -> None:
    """Write the trim sheet.

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
    with pages(path, width, height, f"{known(title)}: trim sheet") as canvas:
        sheet = _Sheet(canvas, width, height, title)
        per = _ACROSS * _DOWN
        for one, first in ((q, i) for q in kinds for i in range(0, len(q.trims), per)):
            assert one.size_mm is not None
            of = f", {one.kind}" if len(kinds) > 1 else ""
            sheet.begin(f"Trim to {words.size(one.plan, *one.size_mm)}{of}")
            sheet.write(
                "Trim the right and top edges. Turn the block 180°, line up the ruler's lines for this "
                "size with the two edges you just cut, and trim the left and bottom edges (as drawn). The "
                "amounts show where to lay the ruler; what counts is the size."
            )
            sheet.y -= 6
            sheet.blocks(one, first, one.trims[first : first + per])
            sheet.end()
        if quilt.finish is not None:
            sheet.begin("Cut the rest")
            for line in cutting_words.middle(quilt):
                sheet.write(line, 12, bold=True)
            for fabric in quilt.fabrics:
                sheet.need(1.1 * IN)
                sheet.write(words.sentence(fabric.name), 15, kind="H2", before=12)
                for piece in fabric.pieces:
                    sheet.need(0.75 * IN)
                    sheet.box()
                    sheet.write(cutting_words.piece(quilt.plan, piece), 14, bold=True, left=24)
                    sheet.write(words.working(piece.working, quilt.plan.unit), 11, left=24)
                for name, strips in cutting_words.order(quilt.plan, fabric):
                    sheet.need(0.5 * IN)
                    sheet.write(f"{name}:", 12)
                    for strip in strips:
                        sheet.write(strip, 11, left=24)
                for line in cutting_words.cloth(quilt.plan, fabric):
                    sheet.write(line, 12)
            done = words.size(quilt.plan, quilt.finish.width_mm, quilt.finish.height_mm)
            sheet.need(1.1 * IN)
            sheet.write(f"The finished quilt: {done}", 15, kind="H2", before=12)
            for name, working in words.finish(quilt):
                sheet.need(0.5 * IN)
                sheet.write(f"{name}: {working}", 12)
            sheet.end()


class _Sheet:
    """A page that is written from the top; lengths in points."""

    def __init__(self, canvas: TaggedCanvas, width: float, height: float, title: str) -> None:
        self.canvas, self.width, self.height, self.title = canvas, width, height, known(title)
        self.y, self.heading = 0.0, ""

    def begin(self, heading: str) -> None:
        """Start a page with its heading."""
        self.heading, self.y = heading, self.height - _EDGE
        self.write(self.title, 12)
        self.write(heading, 28, kind="H1")

    def end(self) -> None:
        """Close the page with the caution."""
        self.y = _EDGE + 42
        self.write(words.RULER_FIRST, 12, bold=True)
        self.write(words.CAUTION, 10)
        self.canvas.showPage()

    def need(self, room: float) -> None:
        """Go to a new page unless there is room."""
        if self.y - room < _EDGE + 48:
            self.end()
            self.begin(f"{self.heading.removesuffix(', continued')}, continued")

    def write(
        self,
        text: str,
        size: float = 12,
        *,
        kind: str = "P",
        bold: bool = False,
        left: float = 0,
        before: float = 0,
    ) -> None:
        """Write a paragraph, or a heading of `kind` "H1" or "H2", over the page's width."""
        font = _BOLD if bold or kind != "P" else _PLAIN
        self.y -= before
        with self.canvas.marked(kind):
            for line in simpleSplit(known(text), font, size, self.width - 2 * _EDGE - left):
                self.y -= 1.2 * size
                self.canvas.setFont(font, size)
                self.canvas.drawString(_EDGE + left, self.y, f"{line} ")  # lines are read on
        self.y -= 0.3 * size

    def box(self) -> None:
        """Draw a box to tick beside the line that follows."""
        with self.canvas.decoration():
            self.canvas.setLineWidth(1.2)
            self.canvas.rect(_EDGE, self.y - 18, 13, 13)

    def blocks(self, quilt: QuiltPlan, first: int, trims: tuple[TrimPlan, ...]) -> None:
        """Draw a page of blocks, each a frame with the amounts around it."""
        wide = (self.width - 2 * _EDGE) / _ACROSS
        tall = (self.y - _EDGE - 52) / _DOWN
        for i, trim in enumerate(trims):
            x, y = _EDGE + i % _ACROSS * wide, self.y - (i // _ACROSS + 1) * tall
            self._block(quilt, trim, name_on_paper(quilt, trim, first + i), x, y, wide, tall)

    def _block(
        self,
        quilt: QuiltPlan,
        trim: TrimPlan,
        name: str,
        x: float,
        y: float,
        wide: float,
        tall: float,
    ) -> None:
        c = self.canvas
        done, cuts = trimmed_words.verdict(quilt, trim.name), trimmed_words.to_cut(quilt, trim.name)
        leave = [f"{words.sentence(done.state)}."] if done else []
        leave += ["No trimming needed."] if cuts and trim.nothing_to_trim else []
        said = known(" ".join((*leave, *trimmed_words.problems(quilt, trim))))
        problems = simpleSplit(said, _BOLD, 10, wide - 16)[:3]
        low = y + 12 * len(problems) + 24  # feet of the frame's lowest line
        room_w, room_h = wide - 128, y + tall - low - 50
        k = min(room_w / trim.placement.width_mm, room_h / trim.placement.height_mm)
        w, h = k * trim.placement.width_mm, k * trim.placement.height_mm
        x0, y0 = x + (wide - w) / 2, low + (room_h - h) / 2 + 4
        with c.decoration():
            c.setLineWidth(1.2)
            c.rect(x, y + tall - 17, 13, 13)
        with c.marked("H2"):
            self._name(words.sentence(name), x + 20, y + tall - 16, wide - 30)
        steps = [line for _, line in trimmed_words.steps(quilt, trim)] or leave
        with c.marked("Figure", f"{words.sentence(name)}: {'; '.join(steps)}"):
            c.setLineWidth(2.5)
            c.rect(x0, y0, w, h)
            if cuts and not trim.nothing_to_trim:  # what is left on would read as a cut
                self._amounts(quilt, trim, x0, y0, w, h)
        if problems:
            with c.marked("P"):
                c.setFont(_BOLD, 10)
                for i, line in enumerate(problems):
                    c.drawString(x + 8, y + 12 * (len(problems) - i) - 8, line)

    def _name(self, name: str, x: float, y: float, room: float) -> None:
        """Write a block's name, smaller where it is long."""
        wide = max(self.canvas.stringWidth(name, _BOLD, 16), 1.0)
        self.canvas.setFont(_BOLD, min(16.0, 16.0 * room / wide))
        self.canvas.drawString(x, y, name)

    def _amounts(
        self, quilt: QuiltPlan, trim: TrimPlan, x0: float, y0: float, w: float, h: float
    ) -> None:
        """Write around a frame what falls off each side at its two ends, and inside it in its middle."""
        c, size = self.canvas, 14
        c.setFont(_PLAIN, size)
        for cut in trim.offcuts:
            first, second, middle = trim_words.places(quilt.plan, cut)
            if cut.side in ("top", "bottom"):
                at, inner = (y0 + h + 5, y0 + h - size - 1)
                if cut.side == "bottom":
                    at, inner = y0 - size - 1, y0 + 7
                apart = max(
                    0.38 * w, 5 + max(c.stringWidth(t, _PLAIN, size) for t in (first, second)) / 2
                )
                c.drawCentredString(x0 + w / 2 - apart, at, first)
                c.drawCentredString(x0 + w / 2 + apart, at, second)
                c.drawCentredString(x0 + w / 2, inner, middle)
                continue
            for text, at in ((first, 0.82), (middle, 0.46), (second, 0.1)):
                lines = text.replace(" missing", "\nmissing").split("\n")
                for i, line in enumerate(lines):
                    lower = i - (len(lines) - 1 if at == 0.1 else 0)
                    y = y0 + at * h - lower * size
                    if cut.side == "left":
                        c.drawRightString(x0 - 6, y, line)
                    else:
                        c.drawString(x0 + w + 6, y, line)


def name_on_paper(quilt: QuiltPlan, trim: TrimPlan, number: int) -> str:
    """What a block is called; by its number in the report where the fonts cannot write its name."""
    name = called(trim.name)
    if known(name) == name:
        return name
    name = f"block {number + 1}"
    if name in {called(t.name) for t in quilt.trims}:
        return f"no. {number + 1} in the report"  # another goes by that number
    return name


def known(text: str) -> str:
    """Text with a question mark for each letter that the sheet's plain fonts lack."""
    text = text.replace("−", "–")
    return text.encode("cp1252", "replace").decode("cp1252")
