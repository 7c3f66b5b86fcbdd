"""The printed card and sheet: rasterised, detected and measured."""

import shutil
import subprocess

import cv2
import numpy as np
import pytest

from blockcheck.errors import BlockcheckError, LengthError
from blockcheck.report.card_sheet import MARGIN_MM, board_cells, write_card, write_sheet
from blockcheck.vision.references.card import CARDS, SHEET

DPI = 200
MM_PER_PX = 25.4 / DPI
needs_poppler = pytest.mark.skipif(
    shutil.which("pdftoppm") is None, reason="pdftoppm (poppler-utils) is not installed"
)


def raster(pdf, tmp_path):
    """Return the PDF's pages as grey images at 200 px per inch."""
    stem = tmp_path / pdf.stem
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", str(pdf), str(stem)], check=True)
    files = sorted(tmp_path.glob(f"{pdf.stem}-*.pgm"))
    return [cv2.imread(str(f), cv2.IMREAD_GRAYSCALE) for f in files]


def detect(gray, columns, rows, family, ids):
    """Find a board with OpenCV's own detector, the design's layout written out anew.

    Returns the saddle points in px and, from the same board, in squares.
    """
    dictionary = cv2.aruco.getPredefinedDictionary(family)
    board = cv2.aruco.CharucoBoard((columns, rows), 1.0, 0.75, dictionary, np.array(ids))
    points, found, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(gray)
    assert points is not None
    found = np.ravel(found)
    return np.reshape(points, (-1, 2)), board.getChessboardCorners()[found, :2]


def square_mm(points, squares):
    """Fit px = scale * squares + shift and return mm per square in x and y (no mirror, no turn)."""
    design = np.column_stack([squares, np.ones(len(squares))])
    fit, *_ = np.linalg.lstsq(design, points, rcond=None)
    assert np.abs(design @ fit - points).max() < 0.5
    assert abs(fit[0, 1]) < 0.01
    assert abs(fit[1, 0]) < 0.01
    return fit[0, 0] * MM_PER_PX, fit[1, 1] * MM_PER_PX, fit[2]


def dark_span(line):
    """Return the length in px of the dark part of a profile, edges to a fraction of a pixel."""
    ink = 1 - np.asarray(line, float) / 255
    inside = np.flatnonzero(ink > 0.5)
    first, last = inside[0], inside[-1]
    return last - first - 1 + ink[first - 1 : first + 1].sum() + ink[last : last + 2].sum()


@needs_poppler
@pytest.mark.parametrize(
    ("paper", "inches"), [("letter", (8.5, 11)), ("a4", (210 / 25.4, 297 / 25.4))]
)
def test_cards(tmp_path, paper, inches):
    """Page size: ISO 216 for A4, 8.5 x 11 in for letter; the board's side is 4 in."""
    pdf = tmp_path / "card.pdf"
    write_card(pdf, "ABCD", paper)
    pages = raster(pdf, tmp_path)
    assert len(pages) == 4
    for i, gray in enumerate(pages):
        assert gray.shape[1] == pytest.approx(inches[0] * DPI, abs=1)
        assert gray.shape[0] == pytest.approx(inches[1] * DPI, abs=1)
        ids = range(12 * i, 12 * i + 12)
        points, squares = detect(gray, 5, 5, cv2.aruco.DICT_4X4_50, ids)
        assert len(points) == 16
        wide, high, origin = square_mm(points, squares)
        assert 5 * wide == pytest.approx(101.6, abs=0.1)
        assert 5 * high == pytest.approx(101.6, abs=0.1)

        # the white margin: nothing printed within 1/4 in of the board
        x0, y0 = np.round(origin).astype(int)
        side, margin = round(4 * DPI), round(0.25 * DPI)
        around = gray[y0 - margin : y0 + side + margin, x0 - margin : x0 + side + margin].copy()
        around[margin - 2 : -margin + 2, margin - 2 : -margin + 2] = 255
        assert around.min() == 255
        assert around.shape[0] * MM_PER_PX < 101.6 + 2 * MARGIN_MM

        # the check bar: the longest dark row below the card
        below = gray[y0 + side + margin :] < 128
        row = y0 + side + margin + below.sum(axis=1).argmax()
        assert dark_span(gray[row]) * MM_PER_PX == pytest.approx(101.6, abs=0.2)


@needs_poppler
@pytest.mark.parametrize(
    ("paper", "inches"), [("letter", (8.5, 11)), ("a4", (210 / 25.4, 297 / 25.4))]
)
def test_sheet(tmp_path, paper, inches):
    pdf = tmp_path / "sheet.pdf"
    write_sheet(pdf, paper)
    (gray,) = raster(pdf, tmp_path)
    assert gray.shape[1] == pytest.approx(inches[0] * DPI, abs=1)
    assert gray.shape[0] == pytest.approx(inches[1] * DPI, abs=1)
    points, squares = detect(gray, 7, 9, cv2.aruco.DICT_4X4_100, range(50, 81))
    assert len(points) == 48
    wide, high, origin = square_mm(points, squares)
    assert 7 * wide == pytest.approx(7 * 25.4, abs=0.1)
    assert 9 * high == pytest.approx(9 * 25.4, abs=0.1)
    beside = gray[:, : int(origin[0] - 0.25 * DPI)]
    column = (beside < 128).sum(axis=0).argmax()
    assert dark_span(beside[:, column]) * MM_PER_PX == pytest.approx(228.6, abs=0.2)
    quiet = gray[:, int(origin[0] - 0.25 * DPI) : int(origin[0]) - 1]
    height = int(origin[1]), int(origin[1] + 9 * DPI)
    assert quiet[height[0] : height[1]].min() == 255


@needs_poppler
def test_another_side(tmp_path):
    pdf = tmp_path / "card.pdf"
    write_card(pdf, "b", "a4", side_mm=120.0)
    (gray,) = raster(pdf, tmp_path)
    wide, high, _ = square_mm(*detect(gray, 5, 5, cv2.aruco.DICT_4X4_50, range(12, 24)))
    assert 5 * wide == pytest.approx(120, abs=0.1)
    assert 5 * high == pytest.approx(120, abs=0.1)


@pytest.mark.parametrize("board", [*CARDS, SHEET], ids=lambda b: b.name)
def test_markers_are_where_the_board_says(board):
    """Each marker's cells are the dictionary's own bits at the board's own place."""
    cells, charuco = board_cells(board), board.charuco(8.0)
    for marker, corners in zip(charuco.getIds(), charuco.getObjPoints(), strict=True):
        x, y = np.round(corners[0, :2]).astype(int)
        bits = charuco.getDictionary().generateImageMarker(int(marker), 6, borderBits=1)
        assert np.array_equal(cells[y : y + 6, x : x + 6], bits == 0)


def test_what_cannot_be_printed(tmp_path):
    pdf = tmp_path / "card.pdf"
    with pytest.raises(BlockcheckError, match="no card"):
        write_card(pdf, "E")
    with pytest.raises(BlockcheckError, match="no card"):
        write_card(pdf, "")
    with pytest.raises(BlockcheckError, match="no paper"):
        write_sheet(pdf, "legal")
    with pytest.raises(LengthError, match="cannot be"):
        write_card(pdf, side_mm=200)
    assert not pdf.exists()
