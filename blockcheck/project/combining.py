"""What is known of one block from all its readings: photos and rulers, before and after trimming."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..planning.plan import BlockRecord
from ..uncertainty import Estimate, weighted_mean
from .records import Kept


@dataclass(frozen=True, eq=False)
class Reading:
    """One kept measurement: what was done, and where it stands among the block's events."""

    kept: Kept
    what: str
    event: int


def record_of(
    name: str, state: str, note: str, readings: Sequence[Reading], trimmed_at: int | None
) -> BlockRecord:
    """Put a block's readings together.

    Of a photo that was read again, by itself or among several together, and of a ruler, only the
    last reading counts. Those that agree with the last one of all are combined by their
    uncertainties; one that differs from it by more than both U95 allow does not count and is told.
    The outline is the last photo's, stretched to the combined size. Of a trimmed block only what was measured since counts, if anything was.

    Parameters
    ----------
    name, state, note : str
    readings : sequence of Reading
        The oldest first, one at least.
    trimmed_at : int or None
        The event from which on the block is trimmed, where that was said without measuring.
    """
    # what was undone counts no more: undoing brought back the reading that had counted till then
    starts = [i for i, r in enumerate(readings) if r.what.startswith(("undone", "redone"))]
    readings = readings[max(starts, default=0) :]
    since: Sequence[Reading] = readings
    before: Sequence[Reading] = ()
    if state == "trimmed":
        first = next(
            (
                i
                for i, r in enumerate(readings)
                if r.what.startswith("trimmed") or (trimmed_at or math.inf) < r.event
            ),
            len(readings),
        )
        before, since = readings[:first], readings[first:]
    sizes = _sizes(since or before)
    points = next((r.kept.points_mm for r in sizes.from_base[::-1] if r.kept.points_mm), {})
    lines = (r.kept.centre_line_mm for r in sizes.from_base[::-1])
    line = next((one for one in lines if one is not None), None)
    base = sizes.base.kept
    stretch = np.array(
        [sizes.width.value / base.width_mm.value, sizes.height.value / base.height_mm.value]
    )
    measured = base.measurement
    return BlockRecord(
        name=name,
        state=state,
        width_mm=sizes.width,
        height_mm=sizes.height,
        outline_mm=base.outline_mm * stretch,
        guard_mm=max(sizes.width.u95, sizes.height.u95) / 2,
        points_mm=points,
        centre_line_mm=line,
        note=note,
        source=base.source,
        corners_px=None if measured is None else measured.corners_px,
        corners_mm=base.corners_mm * stretch,
        out_of_square_mm=None if measured is None else measured.out_of_square_mm,
        bow_mm=None if measured is None else max(measured.bow_mm, key=lambda e: e.value),
        other_sizes_mm=sizes.others,
        before_mm=(b.width, b.height) if before and since and (b := _sizes(before)) else None,
        checked=state != "trimmed" or bool(since),
    )


@dataclass(frozen=True, eq=False)
class _Sizes:
    """Combined width and height, the reading that gives the shape and those since, and the sizes
    of the readings that disagree.
    """

    width: Estimate
    height: Estimate
    base: Reading
    from_base: Sequence[Reading]
    others: tuple[tuple[Estimate, Estimate], ...]


def _sizes(readings: Sequence[Reading]) -> _Sizes:
    counted: list[Reading] = []
    for r in readings:
        counted = [*(c for c in counted if not c.kept.seen_in & r.kept.seen_in), r]
    last = counted[-1]
    agree = [r for r in counted if _agree(r.kept, last.kept)]
    photos = [r for r in agree if r.kept.measurement is not None]
    base = photos[-1] if photos else last
    width = weighted_mean([r.kept.width_mm for r in agree])
    height = weighted_mean([r.kept.height_mm for r in agree])
    others = tuple((r.kept.width_mm, r.kept.height_mm) for r in counted if r not in agree)
    return _Sizes(width, height, base, readings[readings.index(base) :], others)


def _agree(a: Kept, b: Kept) -> bool:
    """Whether two readings' sizes differ by no more than their U95 in quadrature."""
    pairs = ((a.width_mm, b.width_mm), (a.height_mm, b.height_mm))
    return a is b or all(abs(x.value - y.value) <= math.hypot(x.u95, y.u95) for x, y in pairs)
