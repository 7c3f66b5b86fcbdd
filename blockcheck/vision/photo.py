"""Decode a photo: upright pixels, focal length from EXIF, checksum."""

from __future__ import annotations

import hashlib
import io
import warnings
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError
from pillow_heif import register_heif_opener

from ..errors import PhotoError

SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif")
MIN_PIXELS = 1_900_000
MAX_PIXELS = 52_000_000
_END_OF_IMAGE = b"\xff\xd9"  # ITU-T T.81, B.1.1.3; stuffed bytes keep it out of a scan
_HINT = "Take the photo again, or choose another file (JPEG, PNG, TIFF, WebP or HEIC)."
_ORIENTATION = ExifTags.Base.Orientation
_QUARTER_TURNS: dict[object, int] = {6: 1, 3: 2, 8: 3}  # mirrored ones are no phone's

register_heif_opener()


@dataclass(frozen=True)
class Photo:
    """An upright photo.

    Attributes
    ----------
    path : Path
    gray : (H, W) uint8 array
        Luma (ITU-R BT.601), EXIF orientation applied.
    decoding : Future
        What gives `rgb`.
    sha256 : str
        Of the file as it lies on disk.
    focal_35mm : float or None
        The focal length that EXIF gives as for 35 mm film, by the picture's diagonal
        (CIPA DCG-001): ``f_px = focal_35mm * diagonal_px / 43.27``.
    camera : str or None
        Maker and model, as EXIF gives them.
    quarter_turns : int
        How often the sensor's picture was turned clockwise by 90° to stand upright.
    """

    path: Path
    gray: np.ndarray
    decoding: Future[np.ndarray]
    sha256: str
    focal_35mm: float | None
    camera: str | None
    quarter_turns: int = 0

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.gray.shape[1], self.gray.shape[0]

    @property
    def lens_key(self) -> tuple[str | None, int, int, float | None]:
        """Camera, the sensor's width and height, focal length: what tells one lens from others."""
        width, height = self.size if self.quarter_turns % 2 == 0 else self.size[::-1]
        return self.camera, width, height, self.focal_35mm

    @property
    def rgb(self) -> np.ndarray:
        """(H, W, 3) uint8 colours, upright; waits until they are decoded."""
        return self.decoding.result()


def read_photo(path: str | Path) -> Photo:
    """Read and decode one photo.

    Raises
    ------
    PhotoError
        If the file is missing, empty, truncated, no picture, or too small or large.
    """
    path = Path(path)
    try:
        data = path.read_bytes()
    except OSError as e:
        raise PhotoError(
            f"{path.name} cannot be opened ({e.strerror}).", "Check its name and place."
        ) from e
    if not data:
        raise PhotoError(f"{path.name} is empty.", _HINT)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # odd EXIF and large pictures are judged below
            with Image.open(io.BytesIO(data)) as opened:
                _check_size(opened, path)
                exif = opened.getexif()
                focal = exif.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.FocalLengthIn35mmFilm)
                # pillow-heif has turned the picture already and keeps here by how much
                turned = opened.info.get("original_orientation") or exif.get(_ORIENTATION)
                camera = _words(exif.get(ExifTags.Base.Make)), _words(exif.get(ExifTags.Base.Model))
                if opened.format in ("JPEG", "MPO") and opened.mode in ("RGB", "L"):
                    gray, decoding = _jpeg(data, opened.fp.tell() if opened.fp else 0)
                else:
                    gray, decoding = _other(opened, exif)
    except UnidentifiedImageError as e:
        hint = _HINT
        if path.suffix == ".blockcheck":
            hint = "It is a project file: name photos here, or see its blocks with: blockcheck list"
        raise PhotoError(f"{path.name} is not a photo that can be read.", hint) from e
    except Image.DecompressionBombError as e:
        raise PhotoError(
            f"{path.name} has too many pixels.", "Use a photo of 2 to 50 megapixels."
        ) from e
    except (OSError, ValueError, SyntaxError, EOFError, RuntimeError, MemoryError) as e:
        raise PhotoError(f"{path.name} is damaged or cut short.", _HINT) from e
    return Photo(
        path=path,
        gray=gray,
        decoding=decoding,
        sha256=hashlib.sha256(data).hexdigest(),
        focal_35mm=_positive(focal),
        camera=" ".join(filter(None, camera)) or None,
        quarter_turns=_QUARTER_TURNS.get(turned, 0),
    )


def coarse(pixels: np.ndarray, step: int) -> np.ndarray:
    """Pixels `step` times larger, each the mean of those it covers."""
    while step % 2 == 0:  # OpenCV halves several times faster than it takes other means
        pixels = cv2.resize(pixels, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        step //= 2
    if step == 1:
        return pixels
    return cv2.resize(pixels, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA)


def _jpeg(data: bytes, scans_at: int) -> tuple[np.ndarray, Future[np.ndarray]]:
    """Upright pixels by OpenCV, which passes over a missing end.

    A JPEG holds its luma by itself, decoded in half the time of its colours: the references are
    looked for in the one while a thread decodes the others.
    """
    if data.find(_END_OF_IMAGE, scans_at) < 0:
        raise OSError("no end of image")
    stored = np.frombuffer(data, np.uint8)
    aside = ThreadPoolExecutor(1)
    decoding = aside.submit(lambda: np.asarray(cv2.imdecode(stored, cv2.IMREAD_COLOR_RGB)))
    aside.shutdown(wait=False)
    gray = cv2.imdecode(stored, cv2.IMREAD_GRAYSCALE)
    if gray is None:
        raise OSError("no picture")
    return gray, decoding


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
    if width * height < MIN_PIXELS:
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
    return str(value).replace("\0", " ").strip() if value else ""


def _positive(value: object) -> float | None:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return None
    return number if 5 < number < 500 else None
