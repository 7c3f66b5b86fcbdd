"""Photos on their way in: to the disk as they come, judged by what they are."""

from __future__ import annotations

import asyncio
import hashlib
import os
import re
import shutil
import time
import unicodedata
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from ..errors import UploadError

MOST_BYTES = 80 * 2**20  # of one photo; a 50 MP JPEG has 25 MB
SPARE_BYTES = 300 * 2**20  # left free on the disk, for the project and everything else
SILENCE_S = 20.0  # without a byte
SLOWEST = 20_000  # bytes a second on average, after the first half minute
_HEAD = 32
_PIECE = 2**20  # written at once
_PART = ".part"
KINDS = (".jpg", ".png", ".webp", ".tif", ".heic", ".avif")
_HEIF = {b"heic": ".heic", b"heix": ".heic", b"mif1": ".heic", b"msf1": ".heic", b"avif": ".avif"}


@dataclass(frozen=True)
class Received:
    """A photo that lies whole on the disk."""

    path: Path
    sha256: str


def kind_of(head: bytes) -> str | None:
    """The suffix for what a file begins with; None if it is no kind of photo."""
    if head[:3] == b"\xff\xd8\xff":
        return ".jpg"
    if head[:8] == b"\x89PNG\r\n\x1a\n":
        return ".png"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return ".webp"
    if head[:4] in (b"II*\x00", b"MM\x00*"):
        return ".tif"
    return _HEIF.get(head[8:12]) if head[4:8] == b"ftyp" else None


def plain_name(name: str) -> str:
    """A file's name without folders, suffix and odd characters; never empty, never hidden."""
    last = re.split(r"[/\\]", name)[-1]
    text = unicodedata.normalize("NFKD", Path(last).stem)
    text = re.sub(r"[^A-Za-z0-9_-]+", "-", text).strip("-_")[:60]
    return text or "photo"


async def receive(
    chunks: AsyncIterator[bytes], name: str, length: int | None, folder: Path
) -> Received:
    """Write a photo into a folder as it arrives.

    Parameters
    ----------
    chunks : async iterator of bytes
        The body.
    name : str
        What the sender calls it; only letters and digits of it are used.
    length : int or None
        What the sender says that it will send.
    folder : Path

    Raises
    ------
    UploadError
        If it is too large, too slow, no photo, or the disk is nearly full. Nothing of it is left.
    """
    if length is not None and length > MOST_BYTES:
        raise _too_large()
    folder.mkdir(parents=True, exist_ok=True)
    _need_room(folder, length or 0)
    stem = plain_name(name)
    part = folder / f".{stem}-{os.urandom(6).hex()}{_PART}"
    try:
        with part.open("xb") as file:
            digest, kind = await _write(chunks, file, folder)
            await asyncio.to_thread(_settle, file)
        return Received(await asyncio.to_thread(_name, part, folder, stem, kind), digest)
    except OSError as e:
        raise UploadError(
            f"The photo could not be written ({e.strerror}).", "Make room on the disk.", 507
        ) from e
    finally:
        part.unlink(missing_ok=True)


async def _write(chunks: AsyncIterator[bytes], file: BinaryIO, folder: Path) -> tuple[str, str]:
    """Copy the body; returns its sha256 and its kind."""
    digest, size, head, began = hashlib.sha256(), 0, b"", time.monotonic()
    kind: str | None = None
    iterator, checked, held = aiter(chunks), 0, bytearray()
    while True:
        try:
            chunk = await asyncio.wait_for(anext(iterator), SILENCE_S)
        except StopAsyncIteration:
            break
        except TimeoutError as e:
            raise _too_slow() from e
        took = time.monotonic() - began
        size += len(chunk)
        if took > 30 and size < SLOWEST * took:
            raise _too_slow()
        if size > MOST_BYTES:
            raise _too_large()
        if len(head) < _HEAD:
            head += chunk[:_HEAD]
            if len(head) >= 12:
                kind = kind_of(head)
                if kind is None:
                    raise _no_photo()
        if size - checked > 4 * 2**20:
            _need_room(folder, 0)
            checked = size
        digest.update(chunk)
        held += chunk
        if len(held) >= _PIECE:
            await asyncio.to_thread(file.write, held)
            held = bytearray()
    await asyncio.to_thread(file.write, held)
    if kind is None:
        raise _no_photo()
    return digest.hexdigest(), kind


def _settle(file: BinaryIO) -> None:
    """Have it lie on the disk, whatever happens next."""
    file.flush()
    os.fsync(file.fileno())


def _name(part: Path, folder: Path, stem: str, kind: str) -> Path:
    """Give the whole file its name, never another's, and make the name outlive a power cut."""
    for n in range(1, 100_000):
        target = folder / f"{stem}{'' if n == 1 else f'-{n}'}{kind}"
        try:
            os.link(part, target)
        except FileExistsError:
            continue
        except OSError:  # a file system without links
            if target.exists():
                continue
            os.replace(part, target)
        if os.name == "posix":
            handle = os.open(folder, os.O_RDONLY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)
        return target
    raise UploadError("There are too many photos of this name.", "Give it another name.", 409)


def _need_room(folder: Path, size: int) -> None:
    if shutil.disk_usage(folder).free < size + SPARE_BYTES:
        raise UploadError(
            "The computer's disk is nearly full, so the photo was not taken in.",
            "Make room on the disk, then send it again.",
            507,
        )


def _too_large() -> UploadError:
    most = MOST_BYTES // 2**20
    return UploadError(
        f"The file is larger than {most} MB.", "Send the photo as the phone took it.", 413
    )


def _too_slow() -> UploadError:
    return UploadError(
        "The photo did not arrive.", "Come nearer to the router, and send it again.", 408
    )


def _no_photo() -> UploadError:
    return UploadError(
        "The file is not a photo.", "Send a JPEG, HEIC, PNG, WebP or TIFF picture.", 415
    )
