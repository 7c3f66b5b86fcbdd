"""The printable reference card and sheet, true to scale, as vector PDF."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from reportlab.lib.units import mm as PT

from ..errors import BlockcheckError, LengthError
from ..units import FRACTIONS, INCH, format_length
from ..vision.references.card import CARD_MM, CARDS, SHEET, SHEET_MM, Board
from .tagged_pdf import TaggedCanvas, pages

PAPERS_MM = {"letter": (8.5 * INCH, 11 * INCH), "a4": (210.0, 297.0)}  # ISO 216 for A4
MARGIN_MM = 3 / 8 * INCH  # white around the board, up to the cut line; 1/4 in is the least
_LABEL_MM = 7.0  # strip below the margin that carries the card's name
_EDGE_MM = 0.5 * INCH  # nothing is printed nearer to the paper's edge, but for the sheet's bar
_SMALLEST_MM, _CELLS = 50.0, 8  # a marker's cell is an eighth of a square


def write_card(
    path: str | Path, letters: str = "A", paper: str = "letter", side_mm: float = CARD_MM
) -> None:
    """Write reference cards, one to a page.

    Parameters
    ----------
    path : str or Path
        The PDF to write.
    letters : str
        Which of the cards A to D, such as ``"AB"``.
    paper : {"letter", "a4"}
    side_mm : float
        Side of the whole board.

    Raises
    ------
    LengthError
        If the card is too small to be seen by a phone or too large for the paper.
    BlockcheckError
        If there is no such card or paper.
    """
    page = _page_size(paper)
    boards = {board.name[-1]: board for board in CARDS}
    wanted = list(dict.fromkeys(letters.upper()))
    if not wanted or not set(wanted) <= set(boards):
        raise BlockcheckError(f'There is no card "{letters}".', "The cards are A, B, C and D.")
    largest = page[0] - 2 * (_EDGE_MM + MARGIN_MM)
    if not _SMALLEST_MM <= side_mm <= largest:
        raise LengthError(
            f"A card cannot be {format_length(side_mm)} wide: on this paper it is "
            f"{format_length(_SMALLEST_MM)} to {format_length(largest, rounding='down')}.",
            f"Leave it at {format_length(CARD_MM)}.",
        )
    with _pages(path, page, "Reference card") as canvas:
        for letter in wanted:
            _card_page(canvas, page, boards[letter], side_mm)
            canvas.showPage()


def write_sheet(path: str | Path, paper: str = "letter") -> None:
    """Write the reference sheet, 7 x 9 squares of 1 in.

    Parameters
    ----------
    path : str or Path
        The PDF to write.
    paper : {"letter", "a4"}
    """
    page = _page_size(paper)
    x, y = page[0] - _EDGE_MM - 7 * INCH, 0.6 * INCH
    long_side = _size_words(SHEET_MM)
    text = [
        "Print at 100 % (actual size), never fitted to the page.",
        "Measure the long side of the pattern, or the bar beside it, with your ruler.",
        f"If it is not exactly {long_side}, tell blockcheck the true size: --sheet-side 8.97in",
        "Lay the sheet flat beside the block, all of it in the photo.",
    ]
    top = y + SHEET_MM + 0.3 * INCH + 4.6 * (len(text) - 1)
    with _pages(path, page, "Reference sheet") as canvas:
        _write(canvas, x, top + 6.0, ["Reference sheet"], 14, bold=True)
        _write(canvas, x, top, text, 10, leading=4.6)
        _draw_board(canvas, SHEET, x, y, INCH)
        _draw_bar(canvas, x - 0.36 * INCH, y, SHEET_MM, INCH, upright=True)
        canvas.showPage()


def board_cells(board: Board) -> np.ndarray:
    """Return the board as OpenCV draws it, one element a cell: True where it is black."""
    size = (board.columns * _CELLS, board.rows * _CELLS)
    return np.asarray(board.charuco(1.0).generateImage(size, None, 0, 1) == 0)


def _card_page(canvas: TaggedCanvas, page: tuple[float, float], board: Board, side: float) -> None:
    x, y = (page[0] - side) / 2, (page[1] - side) / 2
    cut = side + 2 * MARGIN_MM
    with canvas.decoration():
        canvas.setStrokeGray(0.6)
        canvas.setLineWidth(0.5)
        canvas.setDash(4, 3)
        low = y - MARGIN_MM - _LABEL_MM
        canvas.rect((x - MARGIN_MM) * PT, low * PT, cut * PT, (cut + _LABEL_MM) * PT)
    words = _size_words(side)
    left, top = _EDGE_MM + 6.0, page[1] - _EDGE_MM - 8.0
    _write(canvas, left, top, [f"Reference {board.name}"], 20, bold=True)
    text = [
        "1.  Print at 100 % (actual size), never fitted to the page.",
        "2.  Measure the board with your ruler, from black edge to black edge, both ways.",
        f"3.  If it is not exactly {words}, tell blockcheck the true size:",
        "     --card-side 3.98in    (with the size that you measured)",
        "4.  Cut along the dashed line. The white margin belongs to the card.",
        "5.  Lay it flat on the mat beside the block, all of it in the photo.",
    ]
    _write(canvas, left, top - 11.0, text, 11, leading=5.8)

    _draw_board(canvas, board, x, y, side / board.rows)
    label = f"{board.name} · board {words}, true size ______"
    _write(canvas, x, y - MARGIN_MM - _LABEL_MM + 3.0, [label], 9)

    bar_y = y - MARGIN_MM - _LABEL_MM - 20.0
    quarter = side / (INCH / 4)
    step = INCH / 4 if abs(quarter - round(quarter)) < 1e-6 else 10.0
    _draw_bar(canvas, x, bar_y, side, step, upright=False)
    note = f"Check bar: {words} from outer edge to outer edge, as long as the board."
    _write(canvas, x, bar_y - 7.0, [note], 9)


def _draw_board(canvas: TaggedCanvas, board: Board, x: float, y: float, square: float) -> None:
    """Draw the board with its lower left corner at (x, y), all black in one path.

    One path, and not one per cell, so that no renderer leaves hairlines between cells.
    """
    cells, cell = board_cells(board), square / _CELLS
    path = canvas.beginPath()
    for row, first, last in _runs(cells):
        left, bottom = x + first * cell, y + (cells.shape[0] - row - 1) * cell
        path.rect(left * PT, bottom * PT, (last - first) * cell * PT, cell * PT)
    with canvas.marked("Figure", f"{board.name}: black and white squares to be photographed"):
        canvas.setFillGray(0)
        canvas.drawPath(path, stroke=0, fill=1)


def _runs(cells: np.ndarray) -> Iterator[tuple[int, int, int]]:
    """Yield row, first and one past the last column of each black run."""
    for row, line in enumerate(cells):
        turns = np.flatnonzero(np.diff(line.astype(int), prepend=0, append=0))
        for first, last in turns.reshape(-1, 2):
            yield row, int(first), int(last)


def _draw_bar(
    canvas: TaggedCanvas, x: float, y: float, length: float, step: float, *, upright: bool
) -> None:
    """Draw a bar from (x, y) with ticks every `step`; its ends are the outer tick edges."""
    thick, tick, long_tick = 0.5, 2.5, 4.0
    count = int(length / step + 1e-6)
    ticks = [(0.0, long_tick), (length - thick, long_tick)]
    per_whole = round(INCH / step) if step < INCH and step != 10.0 else 1
    for i in range(1, count + (length - count * step > thick)):
        size = long_tick if i % per_whole == 0 else tick
        if i * step < length - thick:
            ticks.append((i * step - thick / 2, size))
    rects = [(0.0, 0.0, length, thick), *((at, 0.0, thick, size) for at, size in ticks)]
    path = canvas.beginPath()
    for along, across, wide, high in rects:
        if upright:  # ticks point away from the board, to the left
            path.rect((x - across - high) * PT, (y + along) * PT, high * PT, wide * PT)
        else:
            path.rect((x + along) * PT, (y + across) * PT, wide * PT, high * PT)
    with canvas.marked("Figure", f"Check bar, {_size_words(length)} long"):
        canvas.setFillGray(0)
        canvas.drawPath(path, stroke=0, fill=1, fillMode=1)


def _write(
    canvas: TaggedCanvas,
    x: float,
    y: float,
    lines: list[str],
    size: float,
    *,
    leading: float = 0.0,
    bold: bool = False,
) -> None:
    canvas.setFillGray(0)
    canvas.setFont("Helvetica-Bold" if bold else "Helvetica", size)
    for i, line in enumerate(lines):
        with canvas.marked("H1" if bold else "P"):
            canvas.drawString(x * PT, (y - i * leading) * PT, line)


def _size_words(mm: float) -> str:
    """Inches where the size is a whole fraction of one, millimetres always."""
    steps = mm / INCH * FRACTIONS[1]
    exact = abs(steps - round(steps)) < 1e-6
    return f"{format_length(mm)} ({mm:.1f} mm)" if exact else f"{mm:g} mm"


def _page_size(paper: str) -> tuple[float, float]:
    if paper.lower() not in PAPERS_MM:
        raise BlockcheckError(f'There is no paper "{paper}" here.', "Use letter or a4.")
    return PAPERS_MM[paper.lower()]


@contextmanager
def _pages(path: str | Path, page: tuple[float, float], title: str) -> Iterator[TaggedCanvas]:
    """Pages that no viewer scales when it prints them."""
    with pages(path, page[0] * PT, page[1] * PT, f"blockcheck: {title}") as canvas:
        canvas.setViewerPreference("PrintScaling", "None")
        yield canvas
