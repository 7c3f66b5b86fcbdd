"""Seconds for sizes, trim lines and rows of many stored blocks, and how they grow.

Blocks as measuring stores them: 32 points (corner and seven points of each side), bowed by about
0.6 mm and wavy by 0.2 mm, each turned by up to a degree; one decision of all of them.
"""

import math
import time

import numpy as np

from blockcheck.planning.plan import BlockRecord, Plan
from blockcheck.planning.quilt import work_out
from blockcheck.planning.rows.order import arrange
from blockcheck.planning.trimming.block import Block
from blockcheck.planning.trimming.common_size import common_size
from blockcheck.planning.trimming.shortage import below_size
from blockcheck.planning.trimming.trim_lines import trim_all
from blockcheck.uncertainty import Estimate, Term
from blockcheck.units import INCH

PLANNED = np.array([6.5, 9.5]) * INCH


def outline(rng: np.random.Generator) -> np.ndarray:
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * PLANNED + rng.normal(0, 1, (4, 2))
    t = np.arange(8) / 8
    sides = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        out = np.array([end[1] - start[1], start[0] - end[0]]) / np.hypot(*(end - start))
        off = 4 * rng.normal(0, 0.6) * t * (1 - t) + np.where(t > 0, rng.normal(0, 0.2, 8), 0)
        sides.append(start + t[:, None] * (end - start) + off[:, None] * out)
    turn = math.radians(rng.uniform(-1, 1))
    c, s = math.cos(turn), math.sin(turn)
    return np.vstack(sides) @ np.array([[c, s], [-s, c]])


def run(count: int) -> list[float]:
    """Seconds for size table and what is below the plan, for trim lines, and for rows."""
    rng = np.random.default_rng(5)
    shapes = [outline(rng) for _ in range(count)]
    clock = [time.perf_counter()]
    blocks = [Block(f"{i}", shape, 0.3) for i, shape in enumerate(shapes)]
    size = common_size(blocks)
    below_size(blocks[:20], *PLANNED)
    clock.append(time.perf_counter())
    plans = trim_all(blocks, size.width_mm, size.height_mm)
    clock.append(time.perf_counter())
    assert all(p.fits for p in plans)
    widths = {b.name: float(np.ptp(b.outline_mm[:, 0])) for b in blocks}
    arrange(widths, 10, u_mm=dict.fromkeys(widths, 0.2))
    clock.append(time.perf_counter())
    return list(np.diff(clock))


def whole(count: int, planned: tuple[float, float]) -> float:
    """Seconds of processor time for everything that is worked out: sizes, trim, rows, cuts."""
    rng = np.random.default_rng(5)
    terms = (Term("mat scale", 0.05), Term("edge fit", 0.08))
    blocks = []
    for i in range(count):
        shape = outline(rng)
        wide, high = (Estimate(float(mm), terms) for mm in np.ptp(shape, axis=0))
        blocks.append(BlockRecord(f"b{i}", "measured", wide, high, shape, 0.1))
    clock = time.process_time()
    work_out(Plan(planned_mm=planned, seams_across=2), blocks)
    return time.process_time() - clock


def main() -> None:
    run(50)  # libraries loaded
    print("blocks   sizes    trim    rows   total  per block")
    for count in (50, 100, 200, 400):
        parts = np.min([run(count) for _ in range(3)], axis=0)
        print(
            f"{count:6d}" + "".join(f"{s:7.2f}s" for s in (*parts, parts.sum())),
            f"{parts.sum() / count * 1000:6.2f} ms",
        )

    for inches, words in (((6.25, 9.25), "reached by all"), ((6.5, 9.5), "not reached by all")):
        planned = (inches[0] * INCH, inches[1] * INCH)
        whole(20, planned)
        few, many = (min(whole(n, planned) for _ in range(3)) for n in (100, 400))
        print(f"work_out, plan {words}: 100 blocks {few:.2f} s, 400 blocks {many:.2f} s,", end="")
        print(f" {many / few:.1f} times as long")


if __name__ == "__main__":
    main()
