"""What a photo's EXIF says of its focal length, and how far to believe it.

Fields and units: CIPA DC-008 (Exif 3.0), 4.6.6; 35 mm equivalents are by the picture's diagonal
(CIPA DCG-001). How far apart what is written and what is true lie was seen on the photos that
this project was made with, and on what phones and cameras are commonly sold with.
"""

from __future__ import annotations

import math

from ..photo import Optics

DIAGONAL_35MM = math.hypot(36.0, 24.0)
USUAL_35MM = 26.0  # a phone's main camera
_WIDE_35MM = 14.0  # its other one, whose focal length in mm is less than 3
NOTED_U = 0.04  # 1 sigma, relative: whole millimetres, focusing near, straightening
_SENSOR_U, _PHONE_U, _CAMERA_U, _NOTHING_U = 0.2, 0.25, 0.4, 0.35
_CAMERA_CROP = 1.5  # of cameras with lenses of 9 mm and more, between 1 and 2


def focal_of(optics: Optics, size: tuple[int, int]) -> tuple[float, float]:
    """Likeliest 35 mm equivalent by this picture's diagonal, and its relative 1 sigma.

    Parameters
    ----------
    optics : Optics
    size : (width, height)
        Of the picture as it is now.
    """
    zoom = max(1.0, optics.zoom or 1.0)
    known = optics.focal_35mm
    ratio, ratio_u = _cropped(optics.written, size)
    if known is not None:
        # some phones count digital zoom in, others do not
        focal, u = known * math.sqrt(zoom), math.hypot(NOTED_U, math.log(zoom) / 2)
        return focal * ratio, math.hypot(u, ratio_u)
    if optics.focal_mm is None:
        return USUAL_35MM * zoom * ratio, math.hypot(_NOTHING_U, ratio_u)
    if optics.px_per_mm is not None:
        sensor_px = max(optics.written or size)
        diagonal_mm = math.hypot(*size) * sensor_px / max(size) / optics.px_per_mm
        if 3 < diagonal_mm < 60:
            return optics.focal_mm * zoom * DIAGONAL_35MM / diagonal_mm, _SENSOR_U
    if optics.focal_mm >= 9:
        return optics.focal_mm * _CAMERA_CROP * zoom, _CAMERA_U
    usual = USUAL_35MM if optics.focal_mm >= 3 else _WIDE_35MM
    return usual * zoom * ratio, math.hypot(_PHONE_U, ratio_u)


def _cropped(written: tuple[int, int] | None, size: tuple[int, int]) -> tuple[float, float]:
    """By how much a crop lengthens the focal length by the diagonal, and its 1 sigma."""
    longer, shorter = max(size), min(size)
    shape = longer / shorter
    if written is not None:
        before, after = max(written), min(written)
        if abs(math.log(shape * after / before)) > 0.01 and before >= longer and after >= shorter:
            return math.hypot(*written) / math.hypot(*size), 0.0
    if min(abs(shape - 4 / 3), abs(shape - 3 / 2)) < 0.02:
        return 1.0, 0.0
    # the sensor's 4:3 cut to a square or to a wide picture; what is written may be of either
    sensor = 5 / 3 * shorter if shape < 4 / 3 else 5 / 4 * longer
    ratio = sensor / math.hypot(*size)
    return math.sqrt(ratio), math.log(ratio) / 2
