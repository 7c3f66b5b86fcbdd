"""Files read whole, if they are plain files of a size that makes sense; written whole or not at all.

Both raise `OSError`, with a ``strerror`` that can stand in a sentence.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import stat
import tempfile
from pathlib import Path

MAX_PHOTO = 200_000_000  # bytes: 50 megapixels, uncompressed, with room
MAX_TEXT = 64_000_000


def read_whole(path: Path, most: int) -> bytes:
    """A plain file's bytes.

    Parameters
    ----------
    path : Path
    most : int
        Bytes that it may have.

    Raises
    ------
    OSError
        If it is missing, unreadable, too large, or a folder, device or pipe: those are told before
        a byte is read, because a pipe would be waited for and a device never ends.
    """
    try:
        found = path.stat()
    except ValueError as e:  # a zero byte in the name
        raise OSError(errno.EINVAL, "that cannot be a file's name", str(path)) from e
    if stat.S_ISDIR(found.st_mode):
        raise OSError(errno.EISDIR, "it is a folder", str(path))
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.EINVAL, "it is not an ordinary file", str(path))
    if found.st_size > most:
        size = f"it has {found.st_size / 1e6:.0f} MB, more than {most / 1e6:.0f}"
        raise OSError(errno.EFBIG, size, str(path))
    with path.open("rb") as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise OSError(errno.EFBIG, "it is still being written", str(path))
    return data


def sha256_of(path: Path) -> str | None:
    """The checksum of a photo's file; None where there is none that can be read."""
    try:
        return hashlib.sha256(read_whole(path, MAX_PHOTO)).hexdigest()
    except OSError:
        return None


def write_whole(path: Path, data: bytes) -> None:
    """Write a file, or leave what was there: a full disk or a kill leaves no half of it.

    Raises
    ------
    OSError
        If it cannot be written, or there is something that is no plain file.
    """
    if path.exists() and not path.is_file():
        raise OSError(errno.EINVAL, "something there is not an ordinary file", str(path))
    place, name = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(place, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask())
        os.replace(name, path)
    except BaseException:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise


def _umask() -> int:
    mask = os.umask(0o022)  # it can be read by setting it only
    os.umask(mask)
    return mask
