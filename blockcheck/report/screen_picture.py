"""A photo for the screen, and places on it: pixels to block coordinates and back."""

from __future__ import annotations

import cv2
import numpy as np

from ..errors import PhotoError

QUALITY = 85


def screen_jpeg(rgb: np.ndarray, long_side: int) -> bytes:
    """Return an upright photo as JPEG, no longer than `long_side` pixels.

    A pixel (x, y) of the photo lies at ((x + 0.5) k − 0.5, ...) in the picture, k being the ratio
    of the sizes.
    """
    k = long_side / max(rgb.shape[:2])
    if k < 1:
        size = (round(rgb.shape[1] * k), round(rgb.shape[0] * k))
        rgb = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    done, data = cv2.imencode(
        ".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, QUALITY]
    )
    if not done:
        raise PhotoError("The photo could not be made a picture for the screen.")
    return data.tobytes()


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
