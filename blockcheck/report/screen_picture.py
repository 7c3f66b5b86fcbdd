"""A photo for the screen, and places on it: pixels to block coordinates and back."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from ..errors import PhotoError

QUALITY = 85
LOOK = 12  # places across in a block's look


def screen_jpeg(rgb: np.ndarray, long_side: int) -> bytes:
    """Return an upright photo as JPEG, no longer than `long_side` pixels.

    A pixel (x, y) of the photo lies at ((x + 0.5) k − 0.5, ...) in the picture, k being the ratio
    of the sizes.
    """
    return screen_jpegs(rgb, (long_side,))[long_side]


def screen_jpegs(rgb: np.ndarray, long_sides: Sequence[int]) -> dict[int, bytes]:
    """Return a photo as JPEG in several sizes, the largest first: each is made from the last."""
    found = {}
    for long_side in long_sides:
        rgb = _smaller(rgb, long_side)
        done, data = cv2.imencode(
            ".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, QUALITY]
        )
        if not done:
            raise PhotoError("The photo could not be made a picture for the screen.")
        found[long_side] = data.tobytes()
    return found


def _smaller(rgb: np.ndarray, long_side: int) -> np.ndarray:
    """Halve as often as goes, which is fast, then take the rest of the way."""
    while max(rgb.shape[:2]) >= 2 * long_side:
        half = (rgb.shape[1] // 2, rgb.shape[0] // 2)
        rgb = cv2.resize(rgb, half, interpolation=cv2.INTER_AREA)
    k = long_side / max(rgb.shape[:2])
    if k < 1:
        size = (round(rgb.shape[1] * k), round(rgb.shape[0] * k))
        rgb = cv2.resize(rgb, size, interpolation=cv2.INTER_LINEAR)
    return rgb


def on_photo(points_mm: np.ndarray, corners_mm: np.ndarray, corners_px: np.ndarray) -> np.ndarray:
    """Return where places on a block lie in its photo.

    By the homography through the four corners. It leaves the lens's distortion between them out,
    a pixel or so: near enough to draw, and to take a place that a finger points at.

    Parameters
    ----------
    points_mm : (N, 2) array
        In block coordinates.
    corners_mm, corners_px : (4, 2) arrays
        The corners in block coordinates and in the photo.
    """
    return _through(points_mm, corners_mm, corners_px)


def on_block(points_px: np.ndarray, corners_px: np.ndarray, corners_mm: np.ndarray) -> np.ndarray:
    """Return the block coordinates of places in its photo; the way back of `on_photo`."""
    return _through(points_px, corners_px, corners_mm)


def _through(points: np.ndarray, from_: np.ndarray, to: np.ndarray) -> np.ndarray:
    H = cv2.getPerspectiveTransform(from_.astype(np.float32), to.astype(np.float32))
    places = np.asarray(points, float).reshape(-1, 1, 2)
    return (
        np.asarray(cv2.perspectiveTransform(places, H)).reshape(-1, 2)
        if len(places)
        else places.reshape(-1, 2)
    )


def look(rgb: np.ndarray, corners_px: np.ndarray) -> np.ndarray:
    """Return how a block looks, coarsely: its colours on a grid, freed of the light.

    Returns
    -------
    (LOOK, LOOK, 3) array
        CIELAB, of mean 0 and length 1, so that the product of two looks is their correlation.
    """
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32) * (4 * LOOK) - 0.5
    H = cv2.getPerspectiveTransform(corners_px.astype(np.float32), square.astype(np.float32))
    k = max(1, int(max(rgb.shape[:2]) // 800))  # coarse enough for so small a picture
    flat = cv2.warpPerspective(
        rgb[::k, ::k], H @ np.diag([k, k, 1.0]), (4 * LOOK, 4 * LOOK), flags=cv2.INTER_LINEAR
    )
    small = cv2.resize(flat, (LOOK, LOOK), interpolation=cv2.INTER_AREA)
    lab = cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    lab -= lab.mean(axis=(0, 1))
    return np.asarray(lab / max(float(np.linalg.norm(lab)), 1e-9))
