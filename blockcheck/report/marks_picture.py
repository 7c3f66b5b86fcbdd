"""A block's photo with the suggested points and centre line, numbered, to look at and choose from."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from PIL import ImageFont

from ..vision.seams.points import Suggested
from .image_file import write_image
from .picture import _Drawing
from .trim_picture import FlatPhoto

_WIDE_PX = 1200
_RING_MM = 3.0


def marks_picture(flat: FlatPhoto, suggested: Suggested, title: str) -> np.ndarray:
    """Draw numbered rings around the points, then the centre line with the last number.

    Parameters
    ----------
    flat : FlatPhoto
        The block seen from above.
    suggested : Suggested
    title : str
        Written below.

    Returns
    -------
    (H, W, 3) uint8 array
    """
    seen = cv2.cvtColor(
        cv2.imdecode(np.frombuffer(flat.jpeg, np.uint8), cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB
    )
    size = _WIDE_PX, round(_WIDE_PX * flat.height_mm / flat.width_mm)
    drawing = _Drawing(cv2.resize(seen, size, interpolation=cv2.INTER_CUBIC))
    drawing.text = _WIDE_PX // 20  # the numbers must be read at arm's length
    drawing.font = ImageFont.load_default(drawing.text)
    k, low = _WIDE_PX / flat.width_mm, np.array([flat.x_mm, flat.y_mm])

    def px(xy: tuple[float, float]) -> np.ndarray:
        return np.asarray((np.array(xy) - low) * k - 0.5)

    middle = np.array(size) / 2
    turn = np.linspace(0, 2 * np.pi, 49)
    if suggested.axis is not None:
        a, b = (px(end) for end in suggested.axis.ends_mm)
        at = (np.arange(24)[:, None] + np.array([0.15, 0.85])) / 24
        drawing.stroke(list(a + at[..., None] * (b - a)))
    for number, point in enumerate(suggested.points, start=1):
        at = px((point.x_mm, point.y_mm))
        ring = max(_RING_MM, point.u95_mm) * k
        drawing.stroke([at + ring * np.column_stack([np.cos(turn), np.sin(turn)])])
        drawing.label(str(number), _beside(at, ring, middle))
    if suggested.axis is not None:
        drawing.label(
            str(len(suggested.points) + 1), lambda _: [b + t * (a - b) for t in (0.15, 0.3, 0.5)]
        )
    return drawing.with_band([title])


def write_marks_picture(
    path: str | Path, flat: FlatPhoto, suggested: Suggested, title: str
) -> None:
    """Write the picture that `marks_picture` draws; the name's ending says JPEG or PNG."""
    write_image(path, marks_picture(flat, suggested, title))


def _beside(
    at: np.ndarray, ring: float, middle: np.ndarray
) -> Callable[[np.ndarray], list[np.ndarray]]:
    """Places for a ring's number: level with it towards the middle, then above and below."""

    def places(extent: np.ndarray) -> list[np.ndarray]:
        way = np.sign(middle - at) + (middle == at)
        off = ring * 1.3 + extent / 2
        return [
            at + step
            for step in (
                np.array([way[0] * off[0], 0]),
                np.array([0, way[1] * off[1]]),
                np.array([-way[0] * off[0], 0]),
                np.array([0, -way[1] * off[1]]),
            )
        ]

    return places
