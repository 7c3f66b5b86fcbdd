"""Ratio of the whole measure call, and of its stages, to Pillow's decode of the same photo."""

import resource
import statistics
import sys
import time
from collections import defaultdict
from pathlib import Path

from PIL import Image

import blockcheck
from blockcheck.measuring import measure
from blockcheck.vision import finding as plane
from blockcheck.vision.cloth import outline
from blockcheck.vision.references import mat_lines as grid

RUNS = 7
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
    (outline, "follow_sides", "  following sides"),
    (measure, "measure_outline", "sizes and uncertainties"),
)
spent: dict[str, float] = defaultdict(float)


def seconds(call) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def decode(path: Path) -> None:
    with Image.open(path) as image:
        image.load()


def timed(call, name):
    def wrapper(*args, **kwargs):
        start = time.perf_counter()
        try:
            return call(*args, **kwargs)
        finally:
            spent[name] += time.perf_counter() - start

    return wrapper


photo = Path(sys.argv[1])
blockcheck.measure_photo(photo, card_side="4in")  # libraries loaded, file cached
pairs = [
    (
        seconds(lambda: blockcheck.measure_photo(photo, card_side="4in")),
        seconds(lambda: decode(photo)),
    )
    for _ in range(RUNS)
]
whole, alone = (statistics.median(column) for column in zip(*pairs, strict=True))
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(
    f"measure / decode = {whole / alone:.2f} ({whole * 1000:.0f} ms / {alone * 1000:.0f} ms), peak {peak:.0f} MB"
)

for module, function, name in STAGES:
    setattr(module, function, timed(getattr(module, function), name))
for _ in range(RUNS):
    blockcheck.measure_photo(photo, card_side="4in")
for _, _, name in STAGES:
    print(f"{name:44s} {spent[name] / RUNS / alone:5.2f}")
