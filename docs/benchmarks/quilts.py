"""Whole quilts and cutting layouts by the thousand: are they filled, and how much cloth is lost?

A thousand random quilts of all settings are checked by shapely: the pieces' finished areas add up
to the quilt's, nothing overlaps, every seam is equally long on both sides, every piece is cut with
its seam allowances. A hundred random cutting lists are laid on cloth of 40 or 42 in, against the
bound that no layout can beat: the pieces' area over the width, or the longest piece.
"""

import random
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from blockcheck.planning.cutting.cloth import lay_on_cloth
from blockcheck.planning.layouts.layout import lay_out
from fixtures.quilts import (
    INCH,
    check_cuts,
    check_on_cloth,
    check_quilt,
    random_design,
    random_pieces,
)


def quilts(count: int) -> None:
    """Check random quilts and print how many of each setting there were."""
    settings: Counter[str] = Counter()
    pieces = seams = 0
    for seed in range(count):
        laid = lay_out(random_design(random.Random(seed)))
        check_quilt(laid)
        check_cuts(laid)
        settings[laid.design.setting] += 1
        pieces, seams = pieces + len(laid.patches), seams + len(laid.seams)
    each = ", ".join(f"{n} {setting}" for setting, n in settings.items())
    print(f"{count} quilts ({each}): {pieces} pieces and {seams} seams, all of them filled")


def layouts(count: int) -> None:
    """Print how far random cutting lists stay from the bound, and how long each takes."""
    over, seconds = [], []
    for seed in range(count):
        rng = random.Random(seed)
        pieces, width = random_pieces(rng), rng.choice((40, 42)) * INCH
        start = time.perf_counter()
        laid = lay_on_cloth(pieces, usable_mm=width)
        seconds.append(time.perf_counter() - start)
        check_on_cloth(laid.pieces, laid.bolt.strips, width, laid.need_mm)
        over.append(100 * (laid.need_mm / laid.bound_mm - 1))
    over.sort()
    print(
        f"{count} cutting lists: {sum(over) / count:.1f} % over the bound on average, "
        f"{over[count // 2]:.1f} % in the middle, {over[-1]:.1f} % at worst; "
        f"{sum(seconds) / count:.2f} s on average, {max(seconds):.2f} s at most"
    )


if __name__ == "__main__":
    quilts(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
    layouts(100)
