"""Frontiers and common sizes held against brute force: how many agree, and by how much not.

    PYTHONPATH=. python docs/benchmarks/brute.py 1000 300

Outlines as in `fixtures/brute.py`: leaning, wavy, each edge bowed once and twice, in or out.
Widths from 1 to 10 mm below the widest; rectangles of half the block's height or more. For the
common sizes every width on the ruler lines that could have a larger area is tried, block by block.
"""

import sys
import time

import numpy as np

from blockcheck.planning.trimming.block import Block
from blockcheck.planning.trimming.common_size import common_size
from blockcheck.planning.trimming.rectangles import axes, frontier
from fixtures.brute import INCH, bowed, heights, tallest

STEP = INCH / 8


def frontiers_agree(count: int) -> None:
    """Tallest rectangles, one random width for each outline."""
    off, done, seed = [], 0, 0
    while done < count:
        rng = np.random.default_rng(10_000 + seed)
        seed += 1
        block = Block("b", bowed(rng, bow=rng.choice([0.3, 1.0, 2.0])))
        width = np.ptp(block.outline_mm @ axes(block.turn)[0]) - rng.uniform(1, 10)
        found = frontier(block, width)[0]
        tried = tallest(block.outline_mm, width, own=block.turn)
        if max(found, tried) < 0.5 * block.reach_mm:
            continue
        off.append(found - tried)
        done += 1
    off_mm = np.array(off)
    print(f"{count} frontiers: {(np.abs(off_mm) <= 0.05).sum()} within 0.05 mm,")
    print(f"  lower by {-off_mm.min():.4f} mm at most, higher by {off_mm.max():.4f} mm at most")


def reach(outline: np.ndarray, width: float, own: float) -> float:
    """Height for a width on the ruler lines; refined where it is close to a line."""
    turns, net = np.linspace(own - 0.06, own + 0.06, 241), np.linspace(0, 1, 21)
    high = float(heights(outline, width, turns, net).max())
    up = high % STEP
    if up > STEP - 0.6 or up < 0.05:
        high = max(high, tallest(outline, width, own=own))
    return np.floor(high / STEP + 1e-6) * STEP


def common_sizes_agree(count: int) -> None:
    """Largest areas for all blocks of small sets."""
    same = 0
    for seed in range(count):
        rng = np.random.default_rng(50_000 + seed)
        blocks = [Block(str(i), bowed(rng, bow=0.6)) for i in range(rng.integers(2, 6))]
        found = common_size(blocks, step_mm=STEP)
        area = found.width_mm * found.height_mm
        tall = min(b.reach_mm for b in blocks) + 3
        wide = min(np.ptp(b.outline_mm @ axes(b.turn)[0]) for b in blocks) + 3
        best = 0.0
        for k in range(int(area / tall / STEP), int(wide / STEP) + 1):
            high = np.inf
            for b in blocks:
                high = min(high, reach(b.outline_mm, k * STEP, b.turn))
                if high * k * STEP < area - 1:
                    break
            best = max(best, high * k * STEP)
        same += abs(best - area) < 1
    print(f"{count} common sizes: {same} equal")


clock = time.process_time()
for check, count in zip((frontiers_agree, common_sizes_agree), map(int, sys.argv[1:]), strict=True):
    if count:
        check(count)
print(f"{time.process_time() - clock:.0f} s of processor time")
