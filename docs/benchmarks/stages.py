"""Where a measure call spends its time: each stage as a ratio to Pillow's decode, from one run."""

import statistics
import sys
import time
from collections import defaultdict
from pathlib import Path

from PIL import Image

import blockcheck
from blockcheck import measure
from blockcheck.vision import grid, outline, plane

STAGES = (  # where the name is looked up when it is called; what is indented is a part
    (measure, "read_photo", "luma decoded (colours go on in a thread)"),
    (measure, "plane_of", "plane"),
    (plane, "find_markers", "  markers"),
    (plane, "find_boards", "  saddle points"),
    (plane, "adjust", "  adjustment of cards or square"),
    (plane, "find_lines", "  mat lines"),
    (grid, "segments_of", "    segments"),
    (grid, "look_across", "    looking across lines"),
    (grid, "adjust", "    adjustment as they are followed"),
    (measure, "find_outlines", "outlines"),
    (outline, "candidates_on", "  candidates"),
    (outline, "trace", "  following sides"),
    (measure, "_measure", "sizes and uncertainties"),
)
RUNS = 9
spent: dict[str, float] = defaultdict(float)


def timed(call, name):
    def wrapper(*args, **kwargs):
        start = time.perf_counter()
        try:
            return call(*args, **kwargs)
        finally:
            spent[name] += time.perf_counter() - start

    return wrapper


def seconds(call) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def decode(path: Path) -> None:
    with Image.open(path) as image:
        image.load()


photo = Path(sys.argv[1])
blockcheck.measure_photo(photo, card_side="4in")  # libraries loaded, file cached
for module, function, name in STAGES:
    setattr(module, function, timed(getattr(module, function), name))
whole, alone = [], []
for _ in range(RUNS):
    whole.append(seconds(lambda: blockcheck.measure_photo(photo, card_side="4in")))
    alone.append(seconds(lambda: decode(photo)))
unit = statistics.median(alone)
print(f"{'whole':44s} {statistics.median(whole) / unit:5.2f}")
for _, _, name in STAGES:
    print(f"{name:44s} {spent[name] / RUNS / unit:5.2f}")
