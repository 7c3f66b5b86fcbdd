"""The photo with what was measured drawn on it, legible on a phone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Protocol

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from ..errors import Doubtful, Problem
from ..uncertainty import Estimate
from ..units import INCH, format_length, format_uncertainty
from .image_file import write_image

LONG_SIDE_PX = 2000
_WHITE, _DARK = (255, 255, 255), (20, 20, 20)
_LETTERS = str.maketrans({"−": "-", "×": "x", "’": "'", "“": '"', "”": '"', "–": "-", "…": "..."})


class MeasuredBlock(Protocol):
    """What is drawn of one block."""

    @property
    def corners_px(self) -> Any:
        """(4, 2), clockwise from the top left."""

    @property
    def sides_mm(self) -> Sequence[Estimate]:
        """Top, right, bottom, left."""

    @property
    def angles_deg(self) -> Sequence[Estimate]:
        """At corners 0 to 3."""

    @property
    def width_mm(self) -> Estimate:
        """Between the midpoints of left and right."""

    @property
    def height_mm(self) -> Estimate:
        """Between the midpoints of top and bottom."""


class SeenReference(Protocol):
    """A reference that was used."""

    @property
    def name(self) -> str:
        """For people: "card A"."""

    @property
    def outline_px(self) -> np.ndarray | None:
        """(4, 2), or None for one that has no outline."""


class DrawnPlane(Protocol):
    """The plane of the photo, as far as it is drawn."""

    @property
    def references(self) -> Sequence[SeenReference]:
        """The references that were used."""

    def px_from_mm(self, points_mm: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
        """Return photo pixels of points on the plane."""


def annotate(
    rgb: np.ndarray,
    blocks: Sequence[MeasuredBlock],
    plane: DrawnPlane | None,
    *,
    unit: str = "in",
    fraction: int = 16,
    problems: Sequence[Problem] = (),
    doubtful: Doubtful | None = None,
) -> np.ndarray:
    """Draw blocks, references and warnings on a photo.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array
        The upright photo.
    blocks : sequence of MeasuredBlock
    plane : DrawnPlane or None
        None where no reference was found.
    unit, fraction
        How lengths are written; see `units.format_length`.
    problems : sequence of Problem
        Written in a band below the photo, after the sizes and the references; what ended the
        measuring comes first.
    doubtful : Doubtful or None
        An outline that was not believed: drawn dashed, its doubtful sides heavy and named, its
        corners with their photo pixels, so that they can be set by hand.

    Returns
    -------
    (H', W', 3) uint8 array
        The photo at 2000 px or less on its long side, with the band below it.
    """
    k = min(1.0, LONG_SIDE_PX / max(rgb.shape[:2]))
    size = (max(1, round(rgb.shape[1] * k)), max(1, round(rgb.shape[0] * k)))
    image = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA) if k < 1 else rgb.copy()
    stretch = np.array(size) / (rgb.shape[1], rgb.shape[0])
    drawing = _Drawing(image)

    def px(points: Any) -> np.ndarray:
        return (np.asarray(points, float) + 0.5) * stretch - 0.5

    references = plane.references if plane is not None else ()
    outlines = [(r.name, px(r.outline_px)) for r in references if r.outline_px is not None]
    for _, outline in outlines:
        drawing.polygon(outline, dashed=True)
    for block in blocks:
        drawing.polygon(px(block.corners_px))
    if doubtful is not None:
        _draw_doubtful(drawing, doubtful, px(doubtful.corners_px))

    def length(mm: float) -> str:
        return format_length(mm, unit=unit, fraction=fraction)

    lines = []
    for number, block in enumerate(blocks, start=1):
        title = f"block {number}" if len(blocks) > 1 else "block"
        sizes = [
            (f"{name} {length(size.value)}", f"± {format_uncertainty(size.u95, unit=unit)}")
            for name, size in (("width", block.width_mm), ("height", block.height_mm))
        ]
        _label_size(drawing, px(block.corners_px), title if len(blocks) > 1 else "", sizes)
        lines.append(f"{title.capitalize()}: {', '.join(' '.join(s) for s in sizes)}")
    for block in blocks:
        _label_corners(drawing, px(block.corners_px), block)
        _label_sides(drawing, px(block.corners_px), [length(s.value) for s in block.sides_mm])
    for name, outline in outlines:
        drawing.label(name, _around(outline), light=True)
    if plane is not None:
        mm, words = (2 * INCH, "2 in") if unit == "in" else (50.0, "5 cm")
        _scale_bar(drawing, lambda points: px(plane.px_from_mm(points)), mm, words)

    lines = [f"Not measured: {p.message} {p.hint}" for p in problems if p.level == "error"] + lines
    if references:
        used = "Measured with" if blocks else "Found"
        lines.append(f"{used}: {', '.join(r.name for r in references)}")
    lines += [f"Note: {p.message} {p.hint}".strip() for p in problems if p.level != "error"]
    return drawing.with_band(lines)


def write_picture(
    path: str | Path,
    rgb: np.ndarray,
    blocks: Sequence[MeasuredBlock],
    plane: DrawnPlane | None,
    *,
    unit: str = "in",
    fraction: int = 16,
    problems: Sequence[Problem] = (),
    doubtful: Doubtful | None = None,
) -> None:
    """Write the picture that `annotate` draws; the name's ending says JPEG or PNG."""
    drawn = annotate(
        rgb, blocks, plane, unit=unit, fraction=fraction, problems=problems, doubtful=doubtful
    )
    write_image(path, drawn)


class _Drawing:
    """Lines and labels on one picture; labels keep clear of each other and of its edge."""

    def __init__(self, image: np.ndarray) -> None:
        self.lines = np.ascontiguousarray(image)
        self.height, self.width = image.shape[:2]
        self.thin = max(2, round(self.width / 330))
        self.thick = max(self.thin + 3, round(self.width / 140))
        self.text = max(8, round(self.width / 34))
        self.font = ImageFont.load_default(self.text)
        self.labels: list[tuple[str, np.ndarray, np.ndarray, bool]] = []

    def stroke(self, pieces: Sequence[np.ndarray]) -> None:
        """Draw open lines, dark on a wider white."""
        whole = [np.round(p * 8).astype(np.int32) for p in pieces]
        for color, width in ((_WHITE, self.thick), (_DARK, self.thin)):
            cv2.polylines(self.lines, whole, False, color, width, cv2.LINE_AA, shift=3)

    def heavy(self, a: np.ndarray, b: np.ndarray) -> None:
        """Draw a line in long bars, dark and white in turn, that nothing in a photo looks like."""
        n = 2 * max(1, round(float(np.hypot(*(b - a))) / (6 * self.thick))) + 1
        at = np.round(8 * (a + np.arange(n + 1)[:, None] / n * (b - a))).astype(np.int32)
        bars = list(np.stack([at[:-1:2], at[1::2]], axis=1))
        for whole, color, wider in (([at], _WHITE, 2), (bars, _DARK, 1)):
            cv2.polylines(self.lines, whole, False, color, wider * self.thick, cv2.LINE_AA, shift=3)

    def polygon(self, corners: np.ndarray, *, dashed: bool = False) -> None:
        """Draw a closed outline."""
        ends = np.roll(corners, -1, axis=0)
        if not dashed:
            self.stroke([np.vstack([corners, corners[:1]])])
            return
        pieces = []
        for a, b in zip(corners, ends, strict=True):
            n = max(1, round(float(np.hypot(*(b - a))) / (8 * self.thin)))
            at = (np.arange(n)[:, None] + np.array([0.2, 0.8])) / n
            pieces += list(a + at[..., None] * (b - a))
        self.stroke(pieces)

    def extent(self, text: str) -> np.ndarray:
        """Width and height in px of a label, its box included."""
        lines = text.split("\n")
        wide = max(self.font.getlength(line.translate(_LETTERS)) for line in lines)
        return np.array([wide + 0.6 * self.text, 1.2 * self.text * len(lines) + 0.2 * self.text])

    def fits(self, centre: np.ndarray, extent: np.ndarray) -> bool:
        """Tell whether a box lies in the picture and covers no label."""
        low, high = centre - extent / 2, centre + extent / 2
        inside = (low >= 0).all() and (high <= (self.width, self.height)).all()
        return bool(inside) and not any(
            (np.abs(centre - c) < (extent + e) / 2).all() for _, c, e, _ in self.labels
        )

    def label(
        self, text: str, places: Callable[[np.ndarray], list[np.ndarray]], *, light: bool = False
    ) -> None:
        """Write `text` at the first of its places that is free, else at the first."""
        extent = self.extent(text)
        centres = places(extent)
        centre = next((c for c in centres if self.fits(c, extent)), centres[0])
        room = np.maximum([self.width, self.height] - extent / 2, extent / 2)
        self.labels.append((text, np.clip(centre, extent / 2, room), extent, light))

    def with_band(self, lines: Sequence[str]) -> np.ndarray:
        """Return the picture with its labels, and `lines` in a dark band below."""
        wrapped = [part for line in lines for part in self._wrapped(line)]
        pad = self.text // 2
        band = round(len(wrapped) * 1.3 * self.text) + 2 * pad if wrapped else 0
        image = Image.new("RGB", (self.width, self.height + band), _DARK)
        image.paste(Image.fromarray(self.lines), (0, 0))
        draw = ImageDraw.Draw(image)
        for text, centre, extent, light in self.labels:
            paper, ink = (_WHITE, _DARK) if light else (_DARK, _WHITE)
            low, high = centre - extent / 2, centre + extent / 2
            box = (*low.tolist(), *high.tolist())
            draw.rounded_rectangle(box, self.text / 4, fill=paper, outline=ink, width=self.thin)
            self._lines(draw, text.split("\n"), centre, ink)
        y = float(self.height + pad)
        for line in wrapped:
            draw.text((pad, y), line, fill=_WHITE, font=self.font)
            y += 1.3 * self.text
        return np.asarray(image)

    def _lines(
        self, draw: ImageDraw.ImageDraw, lines: Sequence[str], centre: np.ndarray, ink: Any
    ) -> None:
        for i, line in enumerate(lines):
            y = centre[1] + (i - (len(lines) - 1) / 2) * 1.2 * self.text
            words = line.translate(_LETTERS)
            draw.text((float(centre[0]), float(y)), words, fill=ink, font=self.font, anchor="mm")

    def _wrapped(self, line: str) -> list[str]:
        room, rows = self.width - self.text, [""]
        for word in line.translate(_LETTERS).split():
            longer = f"{rows[-1]} {word}".strip()
            if self.font.getlength(longer) <= room or not rows[-1]:
                rows[-1] = longer
            else:
                rows.append(word)
        return rows


def _draw_doubtful(drawing: _Drawing, doubtful: Doubtful, corners: np.ndarray) -> None:
    """Draw an outline that was not believed, and name its doubtful sides and its corners."""
    drawing.polygon(corners, dashed=True)
    normals, ends = _normals(corners), np.roll(corners, -1, axis=0)
    for i in doubtful.sides:
        drawing.heavy(corners[i], ends[i])
    for i in doubtful.sides:
        name = ("top", "right", "bottom", "left")[i]
        drawing.label(f"{name} edge?", _beside(corners[i], ends[i], normals[i], 2 * drawing.thick))
    for i, (x, y) in enumerate(doubtful.corners_px):
        out = normals[i] + normals[i - 1]
        places = _beside(corners[i], corners[i], out / np.hypot(*out), drawing.thick)
        drawing.label(f"{x:.0f},{y:.0f}", places, light=True)


def _label_size(
    drawing: _Drawing, corners: np.ndarray, title: str, sizes: Sequence[tuple[str, str]]
) -> None:
    """Write in the middle the block's title or, where it has none, its size if that fits."""
    wide = "\n".join(" ".join(size) for size in sizes)
    tall = "\n".join(line for size in sizes for line in size)
    room = 0.9 * (corners.max(axis=0) - corners.min(axis=0)) - drawing.text
    fitting = (text for text in (wide, tall) if (drawing.extent(text) <= room).all())
    text = title or next(fitting, "")
    if text:
        drawing.label(text, lambda _: [corners.mean(axis=0)])


def _label_sides(drawing: _Drawing, corners: np.ndarray, texts: Sequence[str]) -> None:
    """Write each side's length beside it, outside the block where there is room."""
    normals = _normals(corners)
    ends = np.roll(corners, -1, axis=0)
    for a, b, n, text in zip(corners, ends, normals, texts, strict=True):
        drawing.label(text, _beside(a, b, n, drawing.thick))


def _label_corners(drawing: _Drawing, corners: np.ndarray, block: MeasuredBlock) -> None:
    """Write each corner's angle, off the corner outwards."""
    normals = _normals(corners)
    for i, (corner, angle) in enumerate(zip(corners, block.angles_deg, strict=True)):
        out = normals[i] + normals[i - 1]
        text = f"{angle.value:.1f}°"
        drawing.label(text, _beside(corner, corner, out / np.hypot(*out), drawing.thick))


def _beside(
    a: np.ndarray, b: np.ndarray, normal: np.ndarray, gap: float
) -> Callable[[np.ndarray], list[np.ndarray]]:
    """Places along a side: outside near it, outside farther off, then inside."""

    def places(extent: np.ndarray) -> list[np.ndarray]:
        reach = np.abs(normal) @ extent / 2 + gap
        return [
            a + t * (b - a) + normal * (way * reach)
            for way in (1.0, 1.7, -1.0, -1.7)
            for t in (0.5, 0.35, 0.65)
        ]

    return places


def _around(outline: np.ndarray) -> Callable[[np.ndarray], list[np.ndarray]]:
    """Places for a reference's name: above it, below it, in it."""
    centre, low, high = outline.mean(axis=0), outline.min(axis=0), outline.max(axis=0)

    def places(extent: np.ndarray) -> list[np.ndarray]:
        off = 0.65 * extent
        return [
            np.array([centre[0], low[1] - off[1]]),
            np.array([centre[0], high[1] + off[1]]),
            np.array([low[0] - off[0], centre[1]]),
            np.array([high[0] + off[0], centre[1]]),
            centre,
        ]

    return places


def _normals(corners: np.ndarray) -> np.ndarray:
    """Outward unit normals of the sides of a quadrilateral that runs clockwise as seen."""
    along = np.roll(corners, -1, axis=0) - corners
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    return np.column_stack([along[:, 1], -along[:, 0]])


def _scale_bar(
    drawing: _Drawing, px_from_mm: Callable[[np.ndarray], np.ndarray], mm: float, words: str
) -> None:
    """Draw a bar of `mm` as it looks at its own place on the plane, low where it covers no label."""
    extent = drawing.extent(words)
    tick = np.array([0.0, drawing.text / 3])
    bars = []
    for part in (0.0, 0.3, 0.6, 0.8):
        start = np.array([drawing.text + part * drawing.width, drawing.height - drawing.text])
        bar = _bar_from(start, px_from_mm, mm)
        if bar is not None:
            a, b = bar
            middle = max((a + b)[0] / 2, extent[0] / 2)
            above = np.array([middle, a[1] - tick[1] - 0.6 * extent[1]])
            span = np.array([abs(b - a)[0] + drawing.thick, 3 * tick[1]])
            free = drawing.fits(above, extent) and drawing.fits((a + b) / 2, span)
            bars.append((not free, part, a, b, above))
    if not bars:
        return
    _, _, a, b, above = min(bars, key=lambda bar: bar[:2])
    drawing.stroke([np.array([a - tick, a + tick]), np.array([b - tick, b + tick])])
    drawing.stroke([np.array([a, b])])
    beside = np.array([b[0] + 0.6 * extent[0], a[1]])
    drawing.label(words, lambda _: [above, beside], light=True)


def _bar_from(
    start: np.ndarray, px_from_mm: Callable[[np.ndarray], np.ndarray], mm: float
) -> tuple[np.ndarray, np.ndarray] | None:
    """Ends in the picture of `mm` on the plane, level from `start`; None where there is no plane."""
    point, step = np.zeros(2), np.eye(2)
    for _ in range(20):  # the plane's point that is seen at `start`, by Newton's method
        seen = px_from_mm(np.vstack([point, point + step]))
        slope = (seen[1:] - seen[0]).T
        if not np.isfinite(slope).all() or abs(np.linalg.det(slope)) < 1e-9:
            return None
        point = point + np.linalg.solve(slope, start - seen[0])
    way = np.linalg.solve(slope, [1.0, 0.0])
    a, b = px_from_mm(np.vstack([point, point + mm * way / np.hypot(*way)]))
    if np.abs(a - start).max() > 1 or not np.isfinite(b).all():
        return None
    return a, b
