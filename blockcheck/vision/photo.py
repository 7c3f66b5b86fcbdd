"""Decode a photo: upright pixels, focal length from EXIF, checksum."""

from __future__ import annotations

import hashlib
import io
import math
import warnings
from collections.abc import Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import simplejpeg
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError
from pillow_heif import register_heif_opener

from ..errors import PhotoError, Problem
from ..files import MAX_PHOTO, read_whole

SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif")
MIN_PIXELS = 1_900_000
MAX_PIXELS = 52_000_000
MIN_SIDE = 700  # narrower ones are strips and panoramas
COARSE_PX = 504  # long side of the small picture: an eighth of 12 megapixels
# No other kind is tried: some start another program to read them (EPS, for one).
_FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "HEIF", "AVIF")
# second bytes of markers (ITU-T T.81, B.1.1.3); stuffed bytes keep them out of a scan
_MARKER, _END_OF_IMAGE, _START_OF_SCAN = 0xFF, 0xD9, 0xDA
_MAX_SCANS = 100  # a progressive photo has about ten; thousands would keep a decoder busy for hours
_HINT = "Take the photo again, or choose another file (JPEG, PNG, TIFF, WebP or HEIC)."
_UNITS_MM: dict[object, float] = {2: 25.4, 3: 10.0, 4: 1.0}  # of the focal plane's resolution
_ORIENTATION = ExifTags.Base.Orientation
_QUARTER_TURNS: dict[object, int] = {6: 1, 3: 2, 8: 3}  # mirrored ones are no phone's

# EXIF 2.32, table 6: what turns the stored picture upright
_UPRIGHT: dict[object, tuple[int | None, int | None]] = {  # rotate, then flip (0 down, 1 across)
    2: (None, 1),
    3: (cv2.ROTATE_180, None),
    4: (None, 0),
    5: (cv2.ROTATE_90_CLOCKWISE, 1),
    6: (cv2.ROTATE_90_CLOCKWISE, None),
    7: (cv2.ROTATE_90_CLOCKWISE, 0),
    8: (cv2.ROTATE_90_COUNTERCLOCKWISE, None),
}

register_heif_opener()


@dataclass(frozen=True)
class Optics:
    """What EXIF gives of the lens and of the picture as the camera wrote it.

    Attributes
    ----------
    focal_35mm, focal_mm : float or None
        Focal length as for 35 mm film, and the lens's own.
    px_per_mm : float or None
        Pixels to a millimetre of the sensor.
    zoom : float or None
        Digital zoom.
    written : (width, height) or None
        Pixels of the picture as the camera wrote it.
    """

    focal_35mm: float | None = None
    focal_mm: float | None = None
    px_per_mm: float | None = None
    zoom: float | None = None
    written: tuple[int, int] | None = None

    @classmethod
    def of_exif(cls, tags: Mapping[int, object]) -> Optics:
        """Read the EXIF directory's fields; what is no sensible number is left out."""

        def number(tag: int, low: float, high: float) -> float | None:
            try:
                value = float(tags.get(tag))  # type: ignore[arg-type]
            except (TypeError, ValueError, ZeroDivisionError):
                return None
            return value if low < value < high else None

        base = ExifTags.Base
        per_unit = number(base.FocalPlaneXResolution, 0, math.inf)
        unit_mm = _UNITS_MM.get(tags.get(base.FocalPlaneResolutionUnit), 25.4)
        width, height = (
            number(tag, 99, 1e5) for tag in (base.ExifImageWidth, base.ExifImageHeight)
        )
        return cls(
            focal_35mm=number(base.FocalLengthIn35mmFilm, 5, 500),
            focal_mm=number(base.FocalLength, 0.5, 500),
            px_per_mm=per_unit / unit_mm if per_unit else None,
            zoom=number(base.DigitalZoomRatio, 0.5, 100),
            written=(int(width), int(height)) if width and height else None,
        )


@dataclass(frozen=True)
class Photo:
    """An upright photo.

    Attributes
    ----------
    path : Path
    gray : (H, W) uint8 array
        Luma (ITU-R BT.601), EXIF orientation applied.
    decoding, shrinking, summing : Future
        What gives `rgb`, `small_rgb` and `sha256`.
    optics : Optics
    camera : str or None
        Maker and model, as EXIF gives them.
    quarter_turns : int
        How often the sensor's picture was turned clockwise by 90° to stand upright.
    damaged : bool
        Whether the decoder had to pass over bytes that make no sense.
    """

    path: Path
    gray: np.ndarray
    decoding: Future[np.ndarray]
    shrinking: Future[np.ndarray]
    summing: Future[str]
    optics: Optics
    camera: str | None
    quarter_turns: int = 0
    damaged: bool = False

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What is to be told of the file itself."""
        if not self.damaged:
            return ()
        return (
            Problem(
                "photo_damaged",
                "warning",
                f"{self.path.name} is damaged: part of its data makes no sense.",
                "Copy it from the phone again, or take it again; do not cut on these numbers.",
            ),
        )

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.gray.shape[1], self.gray.shape[0]

    @property
    def focal_35mm(self) -> float | None:
        """The focal length that EXIF gives as for 35 mm film (CIPA DCG-001)."""
        return self.optics.focal_35mm

    @property
    def lens_key(self) -> tuple[str | None, int, int, float | None]:
        """Camera, the sensor's width and height, focal length: what tells one lens from others."""
        width, height = self.size if self.quarter_turns % 2 == 0 else self.size[::-1]
        return self.camera, width, height, self.focal_35mm

    @property
    def rgb(self) -> np.ndarray:
        """(H, W, 3) uint8 colours, upright; waits until they are decoded."""
        return self.decoding.result()

    @property
    def small_rgb(self) -> np.ndarray:
        """(h, w, 3) colours as of `shrunk`."""
        return self.shrinking.result()

    @property
    def sha256(self) -> str:
        """Of the file as it lies on disk."""
        return self.summing.result()


def read_photo(path: str | Path) -> Photo:
    """Read and decode one photo.

    Raises
    ------
    PhotoError
        If the file is missing, empty, truncated, no picture, or too small or large.
    """
    path = Path(path)
    try:
        data = read_whole(path, MAX_PHOTO)
    except OSError as e:
        raise PhotoError(
            f"{path.name} cannot be opened ({e.strerror}).", "Check its name and place."
        ) from e
    if not data:
        raise PhotoError(f"{path.name} is empty.", _HINT)
    try:
        return _decoded(path, data)
    except PhotoError:
        raise
    except UnidentifiedImageError as e:
        hint = _HINT
        if path.suffix == ".blockcheck":
            hint = "It is a project file: name photos here, or see its blocks with: blockcheck list"
        raise PhotoError(f"{path.name} is not a photo that can be read.", hint) from e
    except Image.DecompressionBombError as e:
        raise PhotoError(
            f"{path.name} has too many pixels.", "Use a photo of 2 to 50 megapixels."
        ) from e
    except Exception as e:  # a spoiled file can make a decoder raise anything
        raise PhotoError(f"{path.name} is damaged or cut short.", _HINT) from e


def _decoded(path: Path, data: bytes) -> Photo:
    with warnings.catch_warnings(), _thread_aside() as aside:
        warnings.simplefilter("ignore")  # odd EXIF and large pictures are judged below
        Image.init()
        formats = [name for name in _FORMATS if name in Image.OPEN]
        with Image.open(io.BytesIO(data), formats=formats) as opened:
            _check_size(opened, path)
            exif = opened.getexif()
            optics = Optics.of_exif(exif.get_ifd(ExifTags.IFD.Exif))
            stored = exif.get(_ORIENTATION)
            # pillow-heif has turned the picture already and keeps here by how much
            turned = opened.info.get("original_orientation") or stored
            camera = _words(exif.get(ExifTags.Base.Make)), _words(exif.get(ExifTags.Base.Model))
            decoded = None
            if opened.format in ("JPEG", "MPO") and opened.mode in ("RGB", "L"):
                scans_at = opened.fp.tell() if opened.fp else 0
                decoded = _jpeg(data, scans_at, stored, path, aside)
            gray, decoding, damaged = decoded or (*_other(opened, exif), False)
        shrinking = aside.submit(lambda: shrunk(decoding.result()))
        summing = aside.submit(lambda: hashlib.sha256(data).hexdigest())
    return Photo(
        path=path,
        gray=gray,
        decoding=decoding,
        shrinking=shrinking,
        summing=summing,
        optics=optics,
        camera=" ".join(filter(None, camera)) or None,
        quarter_turns=_QUARTER_TURNS.get(turned, 0),
        damaged=damaged,
    )


@contextmanager
def _thread_aside() -> Iterator[ThreadPoolExecutor]:
    """One thread, which finishes by itself what it was given."""
    aside = ThreadPoolExecutor(1)
    try:
        yield aside
    finally:
        aside.shutdown(wait=False)


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what OpenCV and NumPy raise on pixels that nobody foresaw into a `PhotoError`."""
    try:
        yield
    except (cv2.error, np.linalg.LinAlgError, ArithmeticError, MemoryError, RecursionError) as e:
        raise PhotoError(
            f"{path.name} cannot be worked on ({type(e).__name__}).",
            "Take the photo again; if that does not help, report it with the photo.",
        ) from e


def coarse(pixels: np.ndarray, step: int) -> np.ndarray:
    """Pixels `step` times larger, each the mean of those it covers."""
    while step % 2 == 0:  # OpenCV halves several times faster than it takes other means
        pixels = cv2.resize(pixels, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        step //= 2
    if step == 1:
        return pixels
    return cv2.resize(pixels, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA)


def shrunk(rgb: np.ndarray) -> np.ndarray:
    """The small picture in which blocks are looked for, at about an eighth of a photo's scale."""
    return coarse(rgb, max(1, round(max(rgb.shape) / COARSE_PX)))


def _jpeg(
    data: bytes, scans_at: int, orientation: object, path: Path, aside: ThreadPoolExecutor
) -> tuple[np.ndarray, Future[np.ndarray], bool] | None:
    """Upright pixels, and whether the decoder complained; None for a kind that it does not know.

    A JPEG holds its luma by itself, decoded in half the time of its colours: the references are
    looked for in the one while a thread, `aside`, decodes the others.
    """
    found = np.frombuffer(data, np.uint8)[scans_at:]
    # many times faster than to search for two bytes
    markers = found[1:][found[:-1] == _MARKER]
    ends = np.flatnonzero(markers == _END_OF_IMAGE)
    if not len(ends):
        raise OSError("no end of image")
    if np.count_nonzero(markers[: ends[0]] == _START_OF_SCAN) > _MAX_SCANS:
        raise OSError("more scans than a photo has")

    def decode(space: str, strict: bool = False) -> np.ndarray:
        pixels = simplejpeg.decode_jpeg(data, colorspace=space, strict=strict)
        return _upright(pixels[..., 0] if space == "GRAY" else pixels, orientation)

    def colours() -> np.ndarray:
        try:
            return decode("RGB")
        except (ValueError, MemoryError) as e:
            raise PhotoError(f"{path.name} is damaged or cut short.", _HINT) from e

    decoding = aside.submit(colours)
    try:
        return decode("GRAY", strict=True), decoding, False
    except ValueError:  # bytes that make no sense
        pass
    try:
        return decode("GRAY"), decoding, True
    except ValueError:
        return None


def _upright(pixels: np.ndarray, orientation: object) -> np.ndarray:
    turn, flip = _UPRIGHT.get(orientation, (None, None))
    if turn is not None:
        pixels = cv2.rotate(pixels, turn)
    if flip is not None:
        pixels = cv2.flip(pixels, flip)
    return np.ascontiguousarray(pixels)


def _other(image: Image.Image, exif: Image.Exif) -> tuple[np.ndarray, Future[np.ndarray]]:
    """Upright pixels by Pillow."""
    if image.mode.startswith("I"):  # 16-bit grey would be clipped by a plain conversion
        image = Image.fromarray((np.asarray(image) >> 8).astype(np.uint8))
        image.info["exif"] = exif.tobytes()
    elif image.mode in ("RGBA", "LA", "PA", "P"):
        image = _on_white(image, exif)
    ImageOps.exif_transpose(image, in_place=True)
    decoded: Future[np.ndarray] = Future()
    decoded.set_result(np.array(image if image.mode == "RGB" else image.convert("RGB")))
    return cv2.cvtColor(decoded.result(), cv2.COLOR_RGB2GRAY), decoded


def _check_size(image: Image.Image, path: Path) -> None:
    width, height = image.size
    mp = width * height / 1e6
    if width * height > MAX_PIXELS:
        raise PhotoError(
            f"{path.name} has {mp:.0f} megapixels.", "Use a photo of 2 to 50 megapixels."
        )
    if width * height < MIN_PIXELS or min(width, height) < MIN_SIDE:
        raise PhotoError(
            f"{path.name} has only {width} × {height} pixels.",
            "Use the photo as the phone made it, 2 megapixels or more, not a preview or a screenshot.",
        )


def _on_white(image: Image.Image, exif: Image.Exif) -> Image.Image:
    flat = Image.new("RGBA", image.size, "white")
    flat.alpha_composite(image.convert("RGBA"))
    flat.info["exif"] = exif.tobytes()
    return flat


def _words(value: object) -> str:
    return "".join(c if c.isprintable() else " " for c in str(value or "")).strip()
