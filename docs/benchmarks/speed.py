"""Ratio of the whole measure call to Pillow's decode of the same photo, from one run."""

import resource
import statistics
import sys
import time
from pathlib import Path

from PIL import Image

import blockcheck


def seconds(call) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def decode(path: Path) -> None:
    with Image.open(path) as image:
        image.load()


photo = Path(sys.argv[1])
blockcheck.measure_photo(photo, card_side="4in")  # libraries loaded, file cached
pairs = [
    (
        seconds(lambda: blockcheck.measure_photo(photo, card_side="4in")),
        seconds(lambda: decode(photo)),
    )
    for _ in range(7)
]
whole, alone = (statistics.median(column) for column in zip(*pairs, strict=True))
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(
    f"measure / decode = {whole / alone:.2f} ({whole * 1000:.0f} ms / {alone * 1000:.0f} ms), peak {peak:.0f} MB"
)
