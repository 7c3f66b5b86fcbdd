"""Open damaged and hostile photos; count what ends in anything but a number or one sentence.

    python docs/benchmarks/hostile.py [COUNT]

The files are made from the demo's photos, seeded: COUNT gives the same ones each time. Each is
measured in a process that is watched: tracebacks, hangs (a minute), noise on stderr, refusals that
do not name their file, wrong sizes without a warning, and the peak memory. Ends with status 1 if
there is any, or if memory passes its limit. (Linux.)
"""

import contextlib
import io
import json
import multiprocessing
import os
import random
import sys
import tempfile
import time
import zlib
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from PIL import Image
from pillow_heif import register_heif_opener

from blockcheck.cli.screen import shown
from blockcheck.measuring.measure import measure_photo

ROOT = Path(__file__).resolve().parents[2]
DEMO = sorted((ROOT / "blockcheck" / "demo_photos").glob("*.jpg"))
TRUTH = json.loads((ROOT / "fixtures" / "photos" / "truth.json").read_text())
HANG_S = 60.0
MOST_MB, MOST_12_MB = 1000, 600
SIXTEENTH_MM = 25.4 / 16
SAME = ("jpg", "png", "tif", "webp", "heic")  # kinds that a phone or a program may write

register_heif_opener()
Made = tuple[str, str | None]  # a file's name, and the demo photo whose sizes it still has


class Corpus:
    """Makes one file after another in a folder."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder, self.chance = folder, random.Random(seed)
        self._as: dict[tuple[str, str], bytes] = {}
        self.kinds: tuple[Callable[[int], Made], ...] = (
            self.scan_damaged, self.scan_damaged, self.header_damaged, self.cut, self.other_format,
            self.other_format, self.not_a_photo, self.lying_header, self.odd_exif, self.special,
            self.odd_pixels, self.large, self.segment_moved, self.odd_name,
        )  # fmt: skip

    def make(self, number: int) -> Made:
        """The file of a number."""
        return self.kinds[number % len(self.kinds)](number)

    def stored(self, photo: Path, kind: str) -> bytes:
        """A demo photo as another kind of file."""
        if (photo.stem, kind) not in self._as:
            if kind == "jpg":
                data = photo.read_bytes()
            else:
                file = io.BytesIO()
                with Image.open(photo) as image:
                    options = {"png": {"compress_level": 1}, "webp": {"quality": 90, "method": 0},
                               "heic": {"quality": 90, "enc_params": {"preset": "ultrafast"}}}  # fmt: skip
                    form = {"tif": "TIFF", "heic": "HEIF"}.get(kind, kind.upper())
                    image.save(file, form, exif=image.info["exif"], **options.get(kind, {}))
                data = file.getvalue()
            self._as[photo.stem, kind] = data
        return self._as[photo.stem, kind]

    def write(self, number: int, data: bytes, suffix: str = "jpg") -> str:
        name = f"{number:04}.{suffix}"
        (self.folder / name).write_bytes(data)
        return name

    def scan_damaged(self, number: int) -> Made:
        photo = self.chance.choice(DEMO)
        data = bytearray(photo.read_bytes())
        start = data.index(b"\xff\xda") + 20
        for _ in range(self.chance.choice([1, 1, 3, 30])):
            at = self.chance.randrange(start, len(data) - 2)
            how = self.chance.randrange(4)
            if how == 0:
                data[at] ^= 1 << self.chance.randrange(8)
            elif how == 1:
                del data[at : at + self.chance.randrange(1, 3000)]
                data += b"\xff\xd9"
            elif how == 2:
                data[at:at] = self.chance.randbytes(50)
            else:
                data[at : at + 2] = bytes([0xFF, self.chance.randrange(0xC0, 0xFF)])
        return self.write(number, bytes(data)), photo.stem

    def header_damaged(self, number: int) -> Made:
        photo, kind = self.chance.choice(DEMO), self.chance.choice(SAME)
        data = bytearray(self.stored(photo, kind))
        for _ in range(self.chance.choice([1, 4, 20])):
            data[self.chance.randrange(3, 700)] = self.chance.randrange(256)
        return self.write(number, bytes(data), kind), None

    def cut(self, number: int) -> Made:
        photo, kind = self.chance.choice(DEMO), self.chance.choice(SAME)
        data = self.stored(photo, kind)
        keep = self.chance.choice(
            [0, 1, 3, 20, 200, len(data) - 1, self.chance.randrange(len(data))]
        )
        end = b"\xff\xd9" if kind == "jpg" and self.chance.random() < 0.5 else b""
        return self.write(number, data[:keep] + end, kind), photo.stem

    def other_format(self, number: int) -> Made:
        """Damage anywhere, under any name."""
        photo, kind = self.chance.choice(DEMO), self.chance.choice(SAME)
        data = bytearray(self.stored(photo, kind))
        for _ in range(self.chance.choice([0, 1, 10])):
            data[self.chance.randrange(len(data))] ^= 1 << self.chance.randrange(8)
        return self.write(number, bytes(data), self.chance.choice(SAME)), photo.stem

    def not_a_photo(self, number: int) -> Made:
        drawing = (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 2000 1500\n%%EndComments\n"
                   b"(%pipe%touch ghost) (w) file closefile\nshowpage\n%%EOF")  # fmt: skip
        data = self.chance.choice([
            drawing, b"%PDF-1.7\n", b"<svg xmlns='http://www.w3.org/2000/svg' width='2000'/>",
            b"GIF89a" + self.chance.randbytes(3000), b"BM" + self.chance.randbytes(3000),
            b"8BPS" + self.chance.randbytes(3000), b"PK\3\4" + self.chance.randbytes(300),
            b"P6 2000 1500 255 " + bytes(9_000_000), b"\xff\xd8\xff" + self.chance.randbytes(5000),
            b"II*\0\x08\0\0\0" + self.chance.randbytes(500), b"SQLite format 3\0" + bytes(84),
            b"\0\0\0\x18ftypheic" + self.chance.randbytes(900), b"a letter", b"[[" * 9000,
            b"RIFF\xff\xff\xff\x7fWEBPVP8 " + self.chance.randbytes(900),
        ])  # fmt: skip
        return self.write(number, data, self.chance.choice(SAME)), None

    def lying_header(self, number: int) -> Made:
        width, height = self.chance.choice(
            [(60_000, 60_000), (1_000_000, 2), (2, 1_000_000), (7000, 7000), (1, 1), (2400, 1800),
             (65_535, 65_535), (0, 0), (2**31 - 1, 2**31 - 1), (50_000_000, 1)]
        )  # fmt: skip
        if self.chance.random() < 0.5:
            body = zlib.compress(bytes(10_000_000)) if self.chance.random() < 0.5 else b"x"
            parts = ((b"IHDR", width.to_bytes(4, "big") + height.to_bytes(4, "big") + b"\x08\2\0\0\0"),
                     (b"IDAT", body), (b"IEND", b""))  # fmt: skip
            chunks = (len(d).to_bytes(4, "big") + k + d + zlib.crc32(k + d).to_bytes(4, "big")
                      for k, d in parts)  # fmt: skip
            return self.write(number, b"\x89PNG\r\n\x1a\n" + b"".join(chunks), "png"), None
        data = bytearray(DEMO[0].read_bytes())
        frame = data.index(b"\xff\xc0") + 5
        data[frame : frame + 4] = (height % 65536).to_bytes(2, "big") + (width % 65536).to_bytes(
            2, "big"
        )
        scan = data.index(b"\xff\xda")
        if self.chance.random() < 0.3:  # a pass over the picture for each
            data[scan:scan] = b"\xff\xda\0\x08\1\1\0\0\x3f\0" * 20_000
        return self.write(number, bytes(data)), None

    def odd_exif(self, number: int) -> Made:
        photo = self.chance.choice(DEMO)
        with Image.open(photo) as image:
            tags = image.getexif()
            tags[0x0112] = self.chance.choice([0, 1, 9, 65535, 1])
            tags[0x010F] = self.chance.choice(["\x1b[2J", "x" * 60_000, "\u202ereversed", "A\0B"])
            tags.get_ifd(0x8769)[0xA405] = self.chance.choice([0, 65535, 26, 1])
            file = io.BytesIO()
            image.save(file, "JPEG", quality=90, exif=tags)
        data = bytearray(file.getvalue())
        if self.chance.random() < 0.6:  # directories that point at themselves, counts without end
            for _ in range(6):
                data[self.chance.randrange(24, 300)] = self.chance.choice([0, 8, 0x7F, 0xFF])
        return self.write(number, bytes(data)), None

    def special(self, number: int) -> Made:
        name = f"{number:04}.jpg"
        path = self.folder / name
        kind = self.chance.choice(
            ["pipe", "zero", "random", "folder", "huge", "nowhere", "loop", "locked"]
        )
        if kind == "pipe":
            os.mkfifo(path)
        elif kind in ("zero", "random"):
            path.symlink_to(f"/dev/{kind}")
        elif kind == "folder":
            path.mkdir()
        elif kind == "huge":
            with path.open("wb") as file:
                file.truncate(6 << 30)
        elif kind == "nowhere":
            path.symlink_to("gone.jpg")
        elif kind == "loop":
            path.symlink_to(name)
        else:
            path.write_bytes(b"")
            path.chmod(0)
        return name, None

    def odd_pixels(self, number: int) -> Made:
        dots = np.random.default_rng(number)
        size = self.chance.choice(
            [(2000, 1500), (1500, 2000), (7200, 7200), (20_000, 701), (1700, 1200)]
        )
        pixels = np.zeros((*size[::-1], 3), np.uint8)
        how = self.chance.randrange(6)
        if how == 1:
            pixels += 255
        elif how == 2:
            pixels = dots.integers(0, 256, pixels.shape, np.uint8)
        elif how == 3:
            pixels[:, :: self.chance.choice([2, 3, 40])] = 255
        elif how == 4:
            pixels[::40], pixels[:, ::40] = 255, 255
        elif how == 5:
            pixels[(np.indices(pixels.shape[:2]) // 97).sum(0) % 2 == 0] = 255
        mode = self.chance.choice(["RGB", "L", "CMYK", "RGBA", "P", "1", "I;16", "F", "LAB"])
        suffix = (
            "jpg"
            if mode in ("RGB", "L", "CMYK")
            else "png"
            if mode in ("RGBA", "P", "1", "I;16")
            else "tif"
        )
        image = Image.fromarray(pixels)
        if mode == "I;16":
            image = Image.fromarray(pixels[..., 0].astype(np.uint16) * 257)
        elif mode != "RGB":
            image = image.convert("L").convert(mode) if mode in ("1", "F") else image.convert(mode)
        options = {"compress_level": 0} if suffix == "png" else {}
        image.save(self.folder / f"{number:04}.{suffix}", **options)
        return f"{number:04}.{suffix}", None

    def large(self, number: int) -> Made:
        """The photo of a 12 or 50 megapixel phone, as each kind of file."""
        photo = self.chance.choice(DEMO)
        size = (4032, 3024) if self.chance.random() < 0.8 else (8160, 6120)
        kind = self.chance.choice(("jpg", "jpg", "png", "tif", "webp"))
        with Image.open(photo) as image:
            options = {"png": {"compress_level": 0}, "webp": {"quality": 80, "method": 0}}.get(
                kind, {}
            )
            image.resize(size, Image.Resampling.BILINEAR).save(
                self.folder / f"{number:04}.{kind}", exif=image.info["exif"], **options
            )
        return f"{number:04}.{kind}", photo.stem

    def segment_moved(self, number: int) -> Made:
        """A JPEG's segments taken out, doubled or in another order."""
        data = self.chance.choice(DEMO).read_bytes()
        scan, at, parts = data.index(b"\xff\xda"), 2, []
        while at < scan:
            length = 2 + int.from_bytes(data[at + 2 : at + 4])
            parts.append(data[at : at + length])
            at += length
        how = self.chance.randrange(3)
        if how == 0:
            parts.pop(self.chance.randrange(len(parts)))
        elif how == 1:
            parts.insert(0, self.chance.choice(parts))
        else:
            self.chance.shuffle(parts)
        return self.write(number, b"\xff\xd8" + b"".join(parts) + data[scan:]), None

    def odd_name(self, number: int) -> Made:
        photo = self.chance.choice(DEMO)
        name = self.chance.choice([b"\xff\xfe%d.jpg", b"\x1b[31m%d.jpg", b"-rf %d.jpg", b"$(x) %d.jpg",
                                   "\u202egpj.%d.jpg".encode()]) % number  # fmt: skip
        text = os.fsdecode(name)
        (self.folder / text).write_bytes(photo.read_bytes()[: self.chance.choice([40_000, None])])
        return text, photo.stem


def judged(path: Path, was: str | None) -> tuple[str, str]:
    """What measuring one file came to: "measured", "refused", or what should not be."""
    try:
        result = measure_photo(path, card_side="4in")
    except BaseException as e:
        return "traceback", f"{type(e).__name__}: {e}"
    if not result.ok:
        (problem,) = (p for p in result.problems if p.level == "error")
        said = shown(f"{problem.message} {problem.hint}")
        named = shown(path.name) in problem.message or problem.code not in ("unreadable_photo",)
        return ("refused" if named and "\n" not in said else "badly said"), said
    warned = {p.code for p in result.problems} - {"print_not_measured", "one_reference"}
    if was is not None and not warned and len(result.blocks) == 1:
        block, truth = result.blocks[0], TRUTH[f"demo/{was}"]["blocks"][0]
        for e, side in ((block.width_mm, "width_mm"), (block.height_mm, "height_mm")):
            if abs(e.value - truth[side]) > e.u95 + SIXTEENTH_MM:
                return "wrong", f"{side} {e.value:.2f} ± {e.u95:.2f}, true {truth[side]:.2f}"
    return "measured", " ".join(sorted(p.code for p in result.problems))


def work(orders: multiprocessing.Queue, answers: multiprocessing.Queue) -> None:
    """Measure what comes, with this process's own peak of memory and noise."""
    noise = tempfile.TemporaryFile()  # noqa: SIM115 (as long as the process)
    os.dup2(noise.fileno(), 2)
    while True:
        folder, name, was = orders.get()
        with contextlib.suppress(OSError):
            Path("/proc/self/clear_refs").write_text("5")  # proc(5): forget the peak
        verdict, said = judged(Path(folder) / name, was)
        status = Path("/proc/self/status").read_text()
        peak = int(status.split("VmHWM:")[1].split()[0]) // 1024
        noise.seek(0)
        if heard := noise.read():
            verdict, said = "noise", shown(heard.decode(errors="replace"))[:200]
            noise.truncate(0)
        answers.put((name, verdict, said, peak))


class Worker:
    """A process that measures, ended and begun anew where it hangs or dies."""

    def __init__(self) -> None:
        self._context = multiprocessing.get_context("spawn")
        self._start()

    def _start(self) -> None:
        self.orders, self.answers = self._context.Queue(), self._context.Queue()
        self.process = self._context.Process(
            target=work, args=(self.orders, self.answers), daemon=True
        )
        self.process.start()

    def measure(self, folder: Path, name: str, was: str | None) -> tuple[str, str, int]:
        self.orders.put((str(folder), name, was))
        began = time.monotonic()
        while True:
            with contextlib.suppress(Exception):
                _, verdict, said, peak = self.answers.get(timeout=0.5)
                return verdict, said, peak
            if not self.process.is_alive():
                self._start()
                return "died", "", 0
            if time.monotonic() - began > HANG_S:
                self.process.kill()
                self._start()
                return "hang", "", 0


def try_all(count: int, folder: Path, seed: int = 13) -> Iterator[tuple[str, str, str, int]]:
    """Make and measure `count` files; yields name, verdict, words and peak memory in MB."""
    corpus, worker = Corpus(folder, seed), Worker()
    worker.measure(folder, "nothing.jpg", None)  # what loading takes is not the photo's
    for number in range(count):
        name, was = corpus.make(number)
        verdict, said, peak = worker.measure(folder, name, was)
        path = folder / name
        large = path.is_file() and path.stat().st_size < 1e9 and _megapixels(path) > 13
        if peak > (MOST_MB if large else MOST_12_MB):
            verdict, said = "memory", f"{peak} MB"
        yield f"{corpus.kinds[number % len(corpus.kinds)].__name__} {name}", verdict, said, peak
        if path.is_dir():
            path.rmdir()
        else:
            path.unlink(missing_ok=True)
    worker.process.kill()


def _megapixels(path: Path) -> float:
    try:
        with Image.open(path) as image:
            return image.width * image.height / 1e6
    except Exception:
        return 0.0


BAD = ("traceback", "hang", "died", "noise", "badly said", "wrong", "memory")

if __name__ == "__main__":
    figures: Counter[str] = Counter()
    highest = 0
    with tempfile.TemporaryDirectory() as place:
        for what, verdict, said, peak in try_all(
            int(sys.argv[1]) if len(sys.argv) > 1 else 500, Path(place)
        ):
            figures[verdict] += 1
            highest = max(highest, peak)
            if verdict in BAD:
                print(f"{verdict.upper()} {shown(what)}: {shown(said)}", flush=True)
    print(", ".join(f"{verdict} {n}" for verdict, n in sorted(figures.items())), end="; ")
    print(f"peak memory {highest} MB")
    sys.exit(any(figures[verdict] for verdict in BAD))
