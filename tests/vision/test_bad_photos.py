"""Files that are no photo, or a spoiled one: each is told in one sentence, with its name."""

import os
import zlib
from pathlib import Path

import pytest

import blockcheck
from blockcheck.errors import PhotoError
from blockcheck.files import sha256_of
from blockcheck.vision.photo import read_photo

ROOT = Path(__file__).resolve().parents[2]
SAILBOAT = ROOT / "blockcheck" / "demo_photos" / "sailboat-1.jpg"


def png_header(width, height):
    """Return a PNG whose header claims a size, with next to no pixels behind it."""

    def chunk(kind, data):
        body = kind + data
        return len(data).to_bytes(4, "big") + body + zlib.crc32(body).to_bytes(4, "big")

    size = width.to_bytes(4, "big") + height.to_bytes(4, "big")
    ihdr, idat = chunk(b"IHDR", size + b"\x08\x02\0\0\0"), chunk(b"IDAT", zlib.compress(b"\0" * 9))
    return b"\x89PNG\r\n\x1a\n" + ihdr + idat + chunk(b"IEND", b"")


WHOLE = SAILBOAT.read_bytes()
BAD = {
    "empty.jpg": (b"", "is empty"),
    "words.jpg": (b"Dear diary, today I sewed.", "is not a photo"),
    "page.heic": (b"%PDF-1.7\n", "is not a photo"),
    "head.jpg": (WHOLE[:300], "photo|damaged"),
    "half.jpg": (WHOLE[: len(WHOLE) // 2], "damaged or cut short"),
    "nearly.jpg": (WHOLE[:-2000], "damaged or cut short"),
    "bomb.png": (png_header(60_000, 60_000), "too many pixels"),
    "large.png": (png_header(9000, 6000), "54 megapixels"),
    "preview.png": (png_header(640, 480), "only 640 × 480"),
    "hollow.png": (png_header(2000, 1500), "damaged or cut short"),
    "strip.png": (png_header(1_000_000, 2), "only 1000000 × 2"),
    # kinds that Pillow would read, some with another program's help
    "drawing.heic": (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 2000 1500\n%%EndComments\n"
                     b"(%pipe%touch ran) (w) file\nshowpage\n", "is not a photo"),
    "icon.jpg": (b"P6 2000 1500 255 " + bytes(9_000_000), "is not a photo"),
    "film.jpg": (b"GIF89a" + bytes(2000), "is not a photo"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_what_is_wrong_is_said_with_the_files_name(name, tmp_path):
    content, words = BAD[name]
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(PhotoError, match=words) as failure:
        read_photo(path)
    assert name in failure.value.message
    assert failure.value.hint
    assert failure.value.code == "unreadable_photo"


def test_missing_folder_and_forbidden(tmp_path, monkeypatch):
    with pytest.raises(PhotoError, match=r"gone.jpg cannot be opened"):
        read_photo(tmp_path / "gone.jpg")
    (tmp_path / "folder.jpg").mkdir()
    with pytest.raises(PhotoError, match=r"folder.jpg cannot be opened"):
        read_photo(tmp_path / "folder.jpg")

    def forbidden(self, *_):
        raise PermissionError(13, os.strerror(13))

    monkeypatch.setattr(Path, "open", forbidden)
    with pytest.raises(PhotoError, match=r"sailboat-1.jpg cannot be opened \(Permission denied\)"):
        read_photo(SAILBOAT)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes and devices as on Unix")
@pytest.mark.parametrize("kind", ["pipe.jpg", "zero.jpg", "folder.jpg", "huge.jpg", "nul\0.jpg"])
def test_only_plain_files_of_a_photos_size_are_opened(kind, tmp_path):
    """A pipe would be waited for, a device never ends: told before a byte is read."""
    path = tmp_path / kind
    if kind == "pipe.jpg":
        os.mkfifo(path)
    elif kind == "zero.jpg":
        path.symlink_to("/dev/zero")
    elif kind == "folder.jpg":
        path.mkdir()
    elif kind == "huge.jpg":
        with path.open("wb") as file:
            file.truncate(6 << 30)
    with pytest.raises(PhotoError, match="cannot be opened"):
        read_photo(path)
    assert sha256_of(path) is None


def test_a_damaged_photo_is_measured_with_a_warning_and_no_noise(tmp_path, capfd):
    """Entropy-coded bytes taken out of the lower mat: the decoder goes on with what follows."""
    torn = bytearray(WHOLE)
    del torn[-9000:-5000]
    path = tmp_path / "torn.jpg"
    path.write_bytes(torn)
    photo = read_photo(path)
    assert photo.damaged
    assert photo.rgb.shape[:2] == photo.gray.shape
    result = blockcheck.measure_photo(path, card_side="4in")
    codes = [p.code for p in result.problems]
    assert ("photo_damaged" in codes) == result.ok
    assert not read_photo(SAILBOAT).damaged
    assert capfd.readouterr().err == ""


def test_a_photo_of_thousands_of_scans_is_refused_at_once(tmp_path):
    """Each scan is a pass over the whole picture: some kilobytes could take a day."""
    scan = WHOLE.index(b"\xff\xda")
    path = tmp_path / "scans.jpg"
    path.write_bytes(WHOLE[:scan] + b"\xff\xda\0\x08\1\1\0\0\x3f\0" * 5000 + WHOLE[scan:])
    with pytest.raises(PhotoError, match="damaged"):
        read_photo(path)
