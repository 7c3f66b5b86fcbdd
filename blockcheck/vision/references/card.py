"""The printed reference card and sheet: ChArUco boards found and their saddle points refined.

Markers are found at quarter scale; only the saddle points between the squares are used,
each refined in the photo's own pixels (marker corners are pulled inwards by blur).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from ..photo import coarse
from ..plane.reference import Reference

CARD_MM = 101.6
SHEET_MM = 228.6
MEASURED_SCALE = 0.001  # 1 sigma, "I measured it with a ruler"
UNMEASURED_SCALE = 0.003  # 1 sigma, as a home printer leaves it
# 1 sigma of half of what across and along differ by: paper is moved one way, ink the other
PRINT_STRETCH = 0.0005
MARGIN_MM = 6.35
_FAMILY = cv2.aruco.DICT_4X4_100  # its first fifty markers are those of DICT_4X4_50
_SMALLEST_RIM = 0.04  # of the long side: below 2 small pixels a cell a marker is rarely read


@dataclass(frozen=True)
class Board:
    """One printed board: `columns` x `rows` squares, markers `marker` of a square wide."""

    name: str
    kind: str
    columns: int
    rows: int
    first_id: int
    n_markers: int
    marker: float = 0.75
    family: int = _FAMILY

    def charuco(self, square_mm: float) -> cv2.aruco.CharucoBoard:
        """Return OpenCV's board, in millimetres."""
        ids = np.arange(self.first_id, self.first_id + self.n_markers)
        dictionary = cv2.aruco.getPredefinedDictionary(self.family)
        size = (self.columns, self.rows)
        return cv2.aruco.CharucoBoard(size, square_mm, self.marker * square_mm, dictionary, ids)


CARDS = tuple(Board(f"card {c}", "card", 5, 5, 12 * i, 12) for i, c in enumerate("ABCD"))
SHEET = Board("sheet", "sheet", 7, 9, 50, 31)


def find_boards(
    gray: np.ndarray,
    markers: tuple[np.ndarray, np.ndarray],
    card_side: float | None = None,
    sheet_side: float | None = None,
) -> list[Reference]:
    """Find cards A to D and the sheet.

    Parameters
    ----------
    gray : (H, W) uint8 array
    markers : (N, 4, 2) and (N,) arrays
        As of `find_markers`.
    card_side, sheet_side : float, optional
        The printed size as measured, in mm; without it the nominal size with a wider
        uncertainty.

    Returns
    -------
    list of Reference
        Boards with four or more saddle points in view, those with most points first.
    """
    corners, ids = markers
    found = []
    for board in (*CARDS, SHEET):
        own = (ids >= board.first_id) & (ids < board.first_id + board.n_markers)
        measured = card_side if board.kind == "card" else sheet_side
        side = measured or (CARD_MM if board.kind == "card" else SHEET_MM)
        if own.any():
            scale = MEASURED_SCALE if measured else UNMEASURED_SCALE
            reference = refine_board(gray, board, side / board.rows, corners[own], ids[own], scale)
            if reference is not None:
                found.append(reference)
    return one_printer(sorted(found, key=lambda r: -len(r.points_px)))


def one_printer(references: list[Reference]) -> list[Reference]:
    """Return prints whose errors of scale are one and the same: printer and ruler are.

    The adjustment takes each scale's error for its own, so that n prints would seem √n times
    as sure as one; each is made √n times less sure, and together they are as sure as one.
    """
    n = len(references)
    return [replace(r, scale_sigma=float(np.sqrt(n)) * r.scale_sigma) for r in references]


def find_markers(gray: np.ndarray, family: int = _FAMILY) -> tuple[np.ndarray, np.ndarray]:
    """Return (N, 4, 2) marker corners in photo pixels and (N,) ids, found at quarter scale."""
    step = max(1, round(max(gray.shape) / 1000))
    small = coarse(gray, step)
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = 23
    parameters.minMarkerPerimeterRate = _SMALLEST_RIM
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(family), parameters)
    corners, ids, _ = detector.detectMarkers(small)
    if ids is None or len(ids) == 0:
        return np.zeros((0, 4, 2)), np.zeros(0, int)
    px = (np.array(corners, float).reshape(-1, 4, 2) + 0.5) * step - 0.5
    return px, np.ravel(ids)


def refine_board(
    gray: np.ndarray,
    board: Board,
    square_mm: float,
    corners_px: np.ndarray,
    ids: np.ndarray,
    scale_sigma: float,
) -> Reference | None:
    """Refine a board's saddle points in the photo's own pixels.

    Parameters
    ----------
    gray : (H, W) uint8 array
    board : Board
    square_mm : float
        One chess square as printed.
    corners_px, ids : (N, 4, 2) and (N,) arrays
        The board's markers as of `find_markers`.
    scale_sigma : float
        1 sigma of the print's size, relative.

    Returns
    -------
    Reference or None
        None where fewer than four saddle points are seen.
    """
    charuco = board.charuco(square_mm)
    marker_mm = np.array(charuco.getObjPoints())[ids - board.first_id, :, :2].reshape(-1, 2)
    H, _ = cv2.findHomography(
        marker_mm, corners_px.reshape(-1, 2), cv2.RANSAC, 0.05 * np.ptp(corners_px)
    )
    if H is None:
        return None
    saddle_mm = np.array(charuco.getChessboardCorners(), float)[:, :2]
    guess = _apply(H, saddle_mm)
    # the window stays inside the white ring around a marker
    pitch_px = float(
        np.median(np.linalg.norm(_apply(H, saddle_mm + np.array([square_mm, 0])) - guess, axis=1))
    )
    half = int(np.clip(0.4 * (1 - board.marker) * pitch_px, 2, 12))
    height, width = gray.shape
    inside = np.all((guess > half + 3) & (guess < np.array([width, height]) - half - 4), axis=1)
    inside &= _is_saddle(gray, guess, _apply(H, saddle_mm + np.array([0.1 * square_mm, 0])) - guess)
    if inside.sum() < 4:
        return None
    start = np.ascontiguousarray(guess[inside], np.float32).reshape(-1, 1, 2)
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 40, 0.002)
    refined = (
        cv2.cornerSubPix(gray, start, (half, half), (-1, -1), criteria).reshape(-1, 2).astype(float)
    )
    mm = saddle_mm[inside]
    kept = np.linalg.norm(refined - guess[inside], axis=1) < 0.06 * pitch_px + 1.5
    if kept.sum() < 4 or np.linalg.matrix_rank(mm[kept] - mm[kept].mean(0), tol=1.0) < 2:
        return None
    size = np.array([board.columns, board.rows]) * square_mm
    m = MARGIN_MM
    outline = np.array([[-m, -m], [size[0] + m, -m], [size[0] + m, size[1] + m], [-m, size[1] + m]])
    return Reference(
        name=board.name,
        kind=board.kind,
        points_mm=mm[kept],
        points_px=refined[kept],
        normals_px=None,
        sigma_px=0.06,
        scale_sigma=scale_sigma,
        stretch_sigma=PRINT_STRETCH,
        height_mm=0.2,
        height_sigma=0.1,
        outline_mm=outline,
    )


def _is_saddle(gray: np.ndarray, guess: np.ndarray, along: np.ndarray) -> np.ndarray:
    """Whether two dark and two light quarters meet at each place, as far apart as elsewhere."""
    across = np.column_stack([-along[:, 1], along[:, 0]])
    quarters = (
        np.stack([along + across, along - across, -along - across, -along + across], axis=1) * 0.7
    )
    at = (guess[:, None] + quarters).astype(np.float32)
    soft = cv2.remap(gray, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(
        float
    )
    contrast = np.abs(soft[:, 0] + soft[:, 2] - soft[:, 1] - soft[:, 3]) / 2
    uneven = np.maximum(np.abs(soft[:, 0] - soft[:, 2]), np.abs(soft[:, 1] - soft[:, 3]))
    return (contrast > 0.5 * np.percentile(contrast, 75)) & (uneven < 0.5 * contrast)


def _apply(H: np.ndarray, points: np.ndarray) -> np.ndarray:
    return cv2.perspectiveTransform(points[None].astype(float), H)[0]
