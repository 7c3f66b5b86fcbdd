"""Seconds for the report of a quilt with three kinds of blocks and 120 blocks in all.

Sailboats and lighthouses of 6 × 9 in, and gulls sewn in mirrored halves; sashing both ways with
cornerstones, two borders, cloth in hand. Outlines as measuring stores them, without photos.
"""

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from blockcheck.planning.plan import BlockRecord, Kind, Plan
from blockcheck.planning.quilt import work_out
from blockcheck.report.html import report_html
from blockcheck.uncertainty import Estimate, Term
from blockcheck.units import INCH

PLAN = Plan(
    planned_mm=(6 * INCH, 9 * INCH),
    kind="sailboat",
    kinds=(
        Kind("lighthouse", (6 * INCH, 9 * INCH)),
        Kind("gull", (3.25 * INCH, 9 * INCH), halves=True),
    ),
    sashing_cut_mm=1.5 * INCH,
    sashing_between="both",
    cornerstones=True,
    borders_mm=(2 * INCH, 4 * INCH),
    in_hand=(("border 2", "1 1/4yd"), ("sashing", "2 fat quarters")),
)


def block(name: str, wide: float, high: float, kind: str, rng: np.random.Generator) -> BlockRecord:
    """Return a block of 32 outline points, off its size by about 1 mm."""
    size = np.array([wide, high]) * INCH + rng.normal(0.5, 0.7, 2)
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * size + rng.normal(0, 0.3, (4, 2))
    t = np.linspace(0, 1, 8, endpoint=False)[:, None]
    outline = np.concatenate(
        [a + t * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    )
    terms = (Term("card scale", 0.05), Term("edge fit", 0.08))
    sizes = [Estimate(float(mm), terms) for mm in size]
    return BlockRecord(name, "measured", *sizes, outline, 0.2, corners_mm=corners, kind=kind)


def quilt(seed: int = 1) -> list[BlockRecord]:
    """Return forty of each kind, gulls as twenty pairs."""
    rng = np.random.default_rng(seed)
    blocks = [block(f"S{i}", 6, 9, "", rng) for i in range(40)]
    blocks += [block(f"L{i}", 6, 9, "lighthouse", rng) for i in range(40)]
    for i in range(20):
        blocks += [block(f"{i} {side}", 3.25, 9, "gull", rng) for side in ("left", "right")]
    return blocks


if __name__ == "__main__":
    blocks = quilt()
    work_out(replace(PLAN, borders_mm=()), blocks)  # loads what is loaded once
    start = time.process_time()
    found = work_out(PLAN, blocks)
    middle = time.process_time()
    page = report_html(found, blocks, title="sailboats")
    end = time.process_time()
    kinds = ", ".join(f"{len(q.names)} {q.kind}" for q in found.each)
    print(
        f"{kinds}: worked out in {middle - start:.2f} s, written in {end - middle:.2f} s "
        f"of processor time, {len(page) / 1e6:.1f} MB; {found.gaps or 'nothing missing'}"
    )
    if len(sys.argv) > 1:
        Path(sys.argv[1]).write_text(page, encoding="utf-8")
