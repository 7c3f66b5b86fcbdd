"""One block with its trim lines: on its photo where there is one, else on its measured outline."""

from __future__ import annotations

import base64
from dataclasses import dataclass

import cv2
import numpy as np

from ..errors import PhotoError
from ..planning.plan import BlockRecord, Plan, called
from ..planning.trimming.offcuts import Offcut
from ..planning.trimming.trim_lines import TrimPlan
from ..project.records import PhotoFile
from ..vision.photo import read_photo
from . import trim_words, words
from .drawing import Svg, hatch, put

LONG_SIDE_PX = 1000
_AROUND = 0.02  # of the block's size, mat that is shown around it


@dataclass(frozen=True)
class FlatPhoto:
    """A block's photo seen from straight above, in block coordinates.

    Attributes
    ----------
    jpeg : bytes
    x_mm, y_mm, width_mm, height_mm : float
        Where the picture lies.
    """

    jpeg: bytes
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


def flat_photo(photo: PhotoFile | None, record: BlockRecord) -> FlatPhoto | None:
    """Lay a block's photo flat.

    By the homography through the block's four corners, which leaves the lens's distortion in:
    near enough to draw on, not to measure.

    Returns
    -------
    FlatPhoto or None
        None where the corners or the photo are missing, or the photo is not the one measured.
    """
    if photo is None or record.corners_px is None or record.corners_mm is None:
        return None
    try:
        found = read_photo(photo.path)
    except PhotoError:
        return None
    if found.sha256 != photo.sha256:
        return None
    rgb = found.rgb
    low, high = record.outline_mm.min(axis=0), record.outline_mm.max(axis=0)
    edge = _AROUND * float((high - low).max())
    low, size = low - edge, high - low + 2 * edge
    k = LONG_SIDE_PX / float(size.max())
    wide, tall = (round(float(s) * k) for s in size)
    flat = (record.corners_mm - low) * k - 0.5
    H_flat_px = cv2.getPerspectiveTransform(
        record.corners_px.astype(np.float32), flat.astype(np.float32)
    )
    # halve first where the photo is much finer than the picture, so that nothing flickers
    fine = float(np.sqrt(cv2.contourArea(record.corners_px.astype(np.float32)) / (wide * tall)))
    if fine > 2:
        rgb = cv2.GaussianBlur(rgb, (0, 0), fine / 3)
    picture = cv2.warpPerspective(
        rgb, H_flat_px, (wide, tall), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    done, data = cv2.imencode(
        ".jpg", cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, 82]
    )
    if not done:
        return None
    return FlatPhoto(data.tobytes(), *map(float, low), *map(float, size))


def trim_picture(
    plan: Plan, record: BlockRecord, trim: TrimPlan, photo: FlatPhoto | None = None, key: str = "b"
) -> str:
    """Draw a block's cloth, its trim lines and what falls away (hatched), as SVG.

    Parameters
    ----------
    plan : Plan
        For the unit.
    record, trim
        The block and where to trim it.
    photo : FlatPhoto, optional
    key : str
        Distinguishes the pictures of one page.
    """
    laid = trim.placement
    corners = laid.corners_mm
    shown = np.vstack([record.outline_mm, corners])
    if photo is not None:
        x, y = photo.x_mm, photo.y_mm
        shown = np.vstack([shown, (x, y), (x + photo.width_mm, y + photo.height_mm)])
    low, high = shown.min(axis=0), shown.max(axis=0)
    # letters of the same size on the page for any block: about 380 px wide, 640 px high at most
    em = 15 * max((high - low)[0] / 225, (high - low)[1] / 540)
    room = np.array([4.3 * em, 2.6 * em])
    x, y = low - room
    width, height = high - low + 2 * room
    svg = Svg(x, y, width, height, _alternative(plan, record, trim))
    falls = hatch(svg, f"{key}-falls", em / 2)
    lacks = hatch(svg, f"{key}-lacks", em / 2, crossed=True)
    cloth, kept = _points(record.outline_mm), _points(corners)
    put(svg.add("clipPath", id=f"{key}-cloth"), "polygon", points=cloth)
    put(svg.add("clipPath", id=f"{key}-kept"), "polygon", points=kept)
    if photo is not None:
        data = base64.b64encode(photo.jpeg).decode("ascii")
        svg.add(
            "image", href=f"data:image/jpeg;base64,{data}", x=photo.x_mm, y=photo.y_mm,
            width=photo.width_mm, height=photo.height_mm, preserveAspectRatio="none",
        )  # fmt: skip
    else:
        svg.add("polygon", points=cloth, fill="#eee")
    both = f"M{cloth} Z M{kept} Z"
    for where, fill in ((f"{key}-cloth", falls), (f"{key}-kept", lacks)):
        svg.add("path", d=both, fill=fill, fill_rule="evenodd", clip_path=f"url(#{where})")
    svg.add("polygon", points=cloth, fill="none", stroke="black", stroke_width=em / 12)
    svg.add("polygon", points=kept, fill="none", stroke="white", stroke_width=em / 3)
    svg.add("polygon", points=kept, fill="none", stroke="black", stroke_width=em / 6)
    _marks(svg, record, em)
    for cut in trim.offcuts:
        _amounts(svg, plan, cut, low, high, em)
    return str(svg)


def _alternative(plan: Plan, record: BlockRecord, trim: TrimPlan) -> str:
    """What the picture shows, for who does not see it."""
    now = words.size(plan, record.width_mm.value, record.height_mm.value)
    then = words.size(plan, trim.placement.width_mm, trim.placement.height_mm)
    who = words.sentence(called(record.name))
    return f"{who} with its trim lines: {now} as measured, to be trimmed to {then}"


def _points(corners: np.ndarray) -> str:
    return " ".join(f"{x:.2f},{y:.2f}" for x, y in corners)


def _marks(svg: Svg, record: BlockRecord, em: float) -> None:
    """Draw the marked points as rings with a dot and the centre line dash-dotted."""
    if record.centre_line_mm is not None:
        a, b = record.centre_line_mm
        svg.line(a, b, stroke="white", stroke_width=em / 4)
        svg.line(a, b, stroke_width=em / 8, stroke_dasharray=f"{em:.1f} {em / 3:.1f} {em / 8:.1f} {em / 3:.1f}")  # fmt: skip
    for name, (x, y) in record.points_mm.items():
        for r, color, width in ((em / 2, "white", em / 3), (em / 2, "black", em / 8)):
            svg.add("circle", cx=float(x), cy=float(y), r=r, fill="none", stroke=color, stroke_width=width)  # fmt: skip
        svg.add("circle", cx=float(x), cy=float(y), r=em / 8)
        way = -1 if x > float(record.outline_mm[:, 0].mean()) else 1
        anchor = "end" if way < 0 else "start"
        svg.text(x + way * 0.7 * em, y + em / 3, name, 0.8 * em, text_anchor=anchor)


def _amounts(
    svg: Svg, plan: Plan, cut: Offcut, low: np.ndarray, high: np.ndarray, em: float
) -> None:
    """Write what falls off one side along it, outside the picture from `low` to `high`."""
    for text, end in zip(trim_words.places(plan, cut), (0.18, 0.82, 0.5), strict=True):
        lines = text.replace(" missing", "\nmissing").split("\n")
        x, y = low + end * (high - low)
        anchor = "middle"
        if cut.side == "top":
            y = low[1] - (len(lines) - 0.6) * em
        elif cut.side == "bottom":
            y = high[1] + 1.1 * em
        elif cut.side == "left":
            x, y, anchor = low[0] - 0.4 * em, y + em / 3, "end"
        else:
            x, y, anchor = high[0] + 0.4 * em, y + em / 3, "start"
        for i, line in enumerate(lines):
            svg.text(float(x), float(y) + i * em, line, em, text_anchor=anchor)
