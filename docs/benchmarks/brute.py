"""Frontiers, common sizes and seam matches held against brute force: how many agree.

    PYTHONPATH=. python docs/benchmarks/brute.py 1000 300 1000

Outlines as in `fixtures/brute.py`: leaning, wavy, each edge bowed once and twice, in or out.
Widths from 1 to 10 mm below the widest; rectangles of half the block's height or more. For the
common sizes every width on the ruler lines that could have a larger area is tried, block by block. Where
rows meet is added up in fractions of an inch, every mark of a row against every one of the next.

Brute force tries turns and places on a net and can only be too low. What comes out larger than it
found agrees only if shapely says of a rectangle of that size, laid on the block, that it fits.
A number followed by ``+n`` begins after the first n outlines, sets or quilts: ``100+200``.
"""

import sys
import time
from collections import Counter

import numpy as np
from shapely import Polygon

from blockcheck.planning.rows.seam_matches import Piece, check_rows
from blockcheck.planning.trimming.block import Block
from blockcheck.planning.trimming.common_size import common_size
from blockcheck.planning.trimming.rectangles import axes, frontier
from blockcheck.planning.trimming.trim_lines import trim
from fixtures.brute import INCH, bowed, heights, joints, rows_of_a_quilt, tallest

STEP = INCH / 8
NEAR_MM = 0.05


def fits(block: Block, width: float, height: float) -> bool:
    """Whether shapely finds a rectangle that is laid on the block inside its outline."""
    laid = Polygon(trim(block, width, height).placement.corners_mm)
    return bool(Polygon(block.outline_mm).buffer(1e-3, join_style="mitre").contains(laid))


def frontiers_agree(count: int, first: int) -> None:
    """Tallest rectangles, one random width for each outline."""
    off, done, seed, certified = [], 0, first, 0
    while done < count:
        rng = np.random.default_rng(10_000 + seed)
        block = Block("b", bowed(rng, bow=rng.choice([0.3, 1.0, 2.0])))
        width = np.ptp(block.outline_mm @ axes(block.turn)[0]) - rng.uniform(1, 10)
        found = frontier(block, width)[0]
        tried = tallest(block.outline_mm, width, own=block.turn)
        seed += 1
        if max(found, tried) < 0.5 * block.reach_mm:
            continue
        off.append(found - tried)
        done += 1
        if abs(found - tried) > NEAR_MM:
            larger = found > tried and fits(block, width, found - NEAR_MM / 5)
            certified += larger
            word = "which fits" if larger else "NOT CONFIRMED"
            print(f"  outline {seed - 1}: {found:.3f}, brute force {tried:.3f} mm, {word}")
    off_mm = np.array(off)
    near = int((np.abs(off_mm) <= NEAR_MM).sum())
    print(f"{count} frontiers, seeds to {seed}: {near + certified} agree, {near} of them within")
    print(f"  {NEAR_MM} mm and {certified} taller than brute force found, which fit by shapely;")
    print(
        f"  lower by {-off_mm.min():.4f} mm at most, higher by {off_mm.max():.4f} mm at most",
        flush=True,
    )


def reach(outline: np.ndarray, width: float, own: float) -> float:
    """Height for a width on the ruler lines; refined where it is close to a line."""
    turns, net = np.linspace(own - 0.06, own + 0.06, 241), np.linspace(0, 1, 21)
    high = float(heights(outline, width, turns, net).max())
    up = high % STEP
    if up > STEP - 0.6 or up < 0.05:
        high = max(high, tallest(outline, width, own=own))
    return np.floor(high / STEP + 1e-6) * STEP


def common_sizes_agree(count: int, first: int) -> None:
    """Largest areas for all blocks of small sets."""
    same = certified = 0
    for seed in range(first, first + count):
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
        if abs(best - area) < 1:
            same += 1
            continue
        larger = area > best and all(fits(b, found.width_mm, found.height_mm) for b in blocks)
        certified += larger
        word = "which fits" if larger else "NOT CONFIRMED"
        print(f"  set {seed}: {area:.0f}, brute force {best:.0f} sq mm, {word}", flush=True)
    print(f"{count} common sizes: {same + certified} agree, {same} of them equal and {certified}")
    print("  larger than brute force found, which fit by shapely", flush=True)


def joints_agree(count: int, first: int) -> None:
    """Where seams should meet, how far apart they do, and how far corners are apart across."""
    done, same, seed = 0, 0, first
    while done < count:
        rows, seam = rows_of_a_quilt(np.random.default_rng(90_000 + seed))
        seed += 1
        pieces = [
            [
                Piece(name, float(a) * INCH, float(p) * INCH, 0, float(h) * INCH)
                for name, a, p, h in row
            ]
            for row in rows
        ]
        found = check_rows(pieces, seam_mm=float(seam) * INCH)
        # all of it is a whole number of 64ths of an inch
        ours = np.array([(m.planned_mm, m.total_mm, m.down_mm) for m in found.matches]) / INCH * 64
        theirs = Counter(tuple(64 * part for part in one) for one in joints(rows, seam))
        exact = (np.abs(ours - ours.round()) < 1e-6).all(axis=1)
        done += theirs.total()
        same += (theirs & Counter(map(tuple, ours[exact].round().astype(int).tolist()))).total()
    print(f"{done} joints of {seed - first} quilts: {same} equal", flush=True)


clock = time.process_time()
for check, wanted in zip(
    (frontiers_agree, common_sizes_agree, joints_agree), sys.argv[1:], strict=False
):
    count, _, first = wanted.partition("+")
    if int(count):
        check(int(count), int(first or 0))
print(f"{time.process_time() - clock:.0f} s of processor time")
