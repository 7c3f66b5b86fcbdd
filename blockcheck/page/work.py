"""What runs in other processes, so that the page answers all the while."""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import signal
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from multiprocessing import resource_tracker
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from ..errors import BlockcheckError, ProjectError

if TYPE_CHECKING:
    import numpy as np

    from ..measuring.measure import OpenPhoto
    from ..measuring.results import PhotoResult
    from ..planning.cutting.pieces import CutPiece
    from ..planning.plan import BlockRecord, Plan
    from ..planning.quilt import QuiltPlan
    from ..planning.trimming.trim_lines import TrimPlan
    from ..project import PhotoFile
    from ..settings import Settings
    from ..vision.seams.points import Suggested

T = TypeVar("T")
Corners = Sequence[tuple[float, float]]
SMALL, SCREEN, FULL = 480, 1600, 4096  # long sides of the pictures that are sent
PLANNING = 2  # processes that plan: what is looked at does not wait while a report is drawn


class Workers:
    """Processes for measuring photos (on all cores), for what is edited now, and for planning."""

    def __init__(self) -> None:
        self.cores = (
            len(os.sched_getaffinity(0))
            if hasattr(os, "sched_getaffinity")
            else os.cpu_count() or 1
        )
        self._size = {"measure": self.cores, "edit": 1, "plan": PLANNING}
        self._pools: dict[str, ProcessPoolExecutor] = {}
        self._ended = False

    async def run(self, pool: str, job: Callable[..., T], *given: Any) -> T:
        """Do a job in the pool "measure", "edit" or "plan".

        Raises
        ------
        ProjectError
            If its process died twice (out of memory, most likely).
        """
        for _ in range(2):
            if self._ended:
                break
            try:
                return await asyncio.wrap_future(self._submit(pool, job, *given))
            except BrokenProcessPool:
                self._pools.pop(pool, None)
        raise ProjectError(
            "The computer stopped this work, probably because it ran short of memory.",
            "Close other programs, then try again.",
        )

    def begin(self) -> None:
        """Start all processes now, so that the first photo does not wait for them."""
        resource_tracker.ensure_running()  # it would undo what `_submit` does for the first process
        for pool, size in self._size.items():
            for _ in range(size):
                self._submit(pool, _warm, pool)

    def _submit(self, pool: str, job: Callable[..., T], *given: Any) -> Future[T]:
        """Hand a job over; a process that this begins leaves Ctrl-C to the server from the first."""
        if not hasattr(signal, "pthread_sigmask"):
            return self._pool(pool).submit(job, *given)
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            return self._pool(pool).submit(job, *given)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)

    def end(self) -> None:
        """Stop at once; what was not reported as kept is simply not kept."""
        self._ended = True
        answers = [pool._result_queue for pool in self._pools.values()]
        for pool in self._pools.values():
            pool.shutdown(wait=False, cancel_futures=True)
        for process in multiprocessing.active_children():
            process.terminate()
        for queue in answers:  # else the rest of a half-sent answer is waited for, for ever
            queue._writer.close()  # type: ignore[attr-defined]

    def _pool(self, name: str) -> ProcessPoolExecutor:
        if name not in self._pools:
            self._pools[name] = ProcessPoolExecutor(
                self._size[name],
                mp_context=multiprocessing.get_context("spawn"),
                initializer=_begin,
                initargs=(5 if name == "measure" else 0,),
            )
        return self._pools[name]


def _begin(nice: int) -> None:
    """Leave Ctrl-C to the server, and the processor to what somebody waits for."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if nice:  # a photo on each core: threads that share one photo out take more time in all
        os.environ["OPENCV_FOR_THREADS_NUM"] = "1"
    if nice and hasattr(os, "nice"):
        os.nice(nice)


def _warm(pool: str) -> None:
    if pool == "plan":
        from scipy import optimize, sparse  # noqa: F401  # else the first size waits for them

        from ..planning.quilt import work_out as _plan  # noqa: F401
    else:
        from ..measuring.measure import open_photo as _open  # noqa: F401
        from ..report.screen_picture import screen_jpeg as _picture  # noqa: F401


@dataclass(frozen=True)
class Measured:
    """A photo measured, with its pictures for the screen by their long side.

    `look` is how its block looks, where it shows one.
    """

    result: PhotoResult
    settings: Settings
    pictures: Mapping[int, bytes]
    look: np.ndarray | None = None


def measure(path: Path, given: Mapping[str, Any]) -> Measured:
    """Measure a photo and make the pictures that are shown of it first."""
    from ..measuring.measure import OpenPhoto, open_photo
    from ..report.screen_picture import look, screen_jpegs
    from ..settings import Settings

    settings = Settings.of(**given)
    opened = open_photo(path, settings)
    if not isinstance(opened, OpenPhoto):
        return Measured(opened, settings, _pictures(path))
    result = opened.measure()
    rgb = opened.photo.rgb
    alone = look(rgb, result.blocks[0].corners_px) if len(result.blocks) == 1 else None
    pictures = screen_jpegs(rgb, (SCREEN, SMALL))
    return Measured(replace(result, plane=None), settings, pictures, alone)


def together(paths: Sequence[Path], given: Mapping[str, Any]) -> Measured:
    """Measure one block in several photos together."""
    from ..measuring.together import measure_together
    from ..settings import Settings

    result = measure_together(paths, **given)
    return Measured(replace(result, plane=None), Settings.of(**given), {})


def _pictures(path: Path) -> dict[int, bytes]:
    """Pictures of a photo without a reference; none of a file that is no photo."""
    try:
        return {side: picture(path, side) for side in (SMALL, SCREEN)}
    except BlockcheckError:
        return {}


def look_of(path: Path, corners_px: np.ndarray) -> np.ndarray:
    """How a block looks in its photo."""
    from ..report.screen_picture import look
    from ..vision.photo import read_photo

    return look(read_photo(path).rgb, corners_px)


def picture(path: Path, side: int) -> bytes:
    """A photo as an upright JPEG for the screen."""
    from ..report.screen_picture import screen_jpeg
    from ..vision.photo import read_photo

    return screen_jpeg(read_photo(path).rgb, side)


_OPEN: dict[tuple[str, str, str], OpenPhoto] = {}  # in the process for editing: the latest two


def _opened(path: Path, sha256: str, settings: Settings) -> OpenPhoto:
    from ..measuring.measure import OpenPhoto, open_photo

    key = (str(path), sha256, repr(settings))
    if key in _OPEN:
        return _OPEN[key]
    opened = open_photo(path, settings)
    if not isinstance(opened, OpenPhoto):
        problem = opened.problems[0]
        raise ProjectError(problem.message, problem.hint)
    if opened.photo.sha256 != sha256:
        raise ProjectError(
            f"{path.name} has changed since it was measured.", "Add it again as a new photo."
        )
    _ = opened.photo.rgb
    while len(_OPEN) > 1:
        del _OPEN[next(iter(_OPEN))]
    _OPEN[key] = opened
    return opened


def ready(path: Path, sha256: str, settings: Settings) -> tuple[int, int]:
    """Have a photo ready for editing; its width and height in pixels."""
    return _opened(path, sha256, settings).photo.size


def edges(
    path: Path, sha256: str, settings: Settings, corners: Corners, held: Collection[int]
) -> PhotoResult:
    """Measure the block near corners set by hand."""
    return replace(_opened(path, sha256, settings).measure(corners, held), plane=None)


def suggestions(
    path: Path, sha256: str, settings: Settings, block: BlockRecord, seam_mm: float
) -> Suggested:
    """What may be marked on a block."""
    from ..vision.seams.points import suggest_marks

    opened = _opened(path, sha256, settings)
    assert block.corners_px is not None
    assert block.corners_mm is not None
    return suggest_marks(
        opened.photo.rgb,
        opened.plane,
        block.corners_px,
        block.corners_mm,
        block.outline_mm,
        settings.cloth_height,
        seam_mm,
    )


def plan(the_plan: Plan, blocks: Sequence[BlockRecord]) -> QuiltPlan:
    """Work a quilt out."""
    from ..planning.quilt import work_out

    return work_out(the_plan, blocks)


def trims_at(
    the_plan: Plan, blocks: Sequence[BlockRecord], size_mm: tuple[float, float]
) -> tuple[TrimPlan, ...]:
    """Lay a size that is only looked at on every block."""
    from ..planning.quilt import trims_at

    return trims_at(the_plan, blocks, size_mm)


def trim_drawing(
    the_plan: Plan, block: BlockRecord, trim: TrimPlan, photo: PhotoFile | None
) -> str:
    """A block with its trim lines, as SVG."""
    from ..report.trim_picture import flat_photo, trim_picture

    return trim_picture(the_plan, block, trim, flat_photo(photo, block))


def paper(kind: str, target: Path, given: Mapping[str, Any]) -> None:
    """Write what is downloaded or printed: "report", "trim-sheet", "labels", "card", "cards" or "sheet"."""
    if kind == "report":
        from ..report.html import write_report

        write_report(target, **given)
    elif kind == "trim-sheet":
        from ..report.trim_sheet import write_trim_sheet

        write_trim_sheet(target, **given)
    elif kind == "labels":
        from ..report.labels import write_labels

        write_labels(target, **given)
    else:
        from ..report.card_sheet import write_card, write_sheet

        (write_sheet if kind == "sheet" else write_card)(target, **given)


@dataclass(frozen=True)
class CutFabric:
    """One fabric: its pieces, the cloth in sentences, the layouts drawn.

    Each piece is what its tick is kept under, what is said of it, and its working.
    """

    name: str
    pieces: tuple[tuple[str, str, str], ...]
    cloth: tuple[str, ...]
    layouts: tuple[tuple[str, tuple[str, ...], str], ...]


@dataclass(frozen=True)
class Cutting:
    """What else is cut, and the whole quilt drawn to scale (SVG) with its key."""

    fabrics: tuple[CutFabric, ...]
    drawing: str
    key: tuple[tuple[str, str], ...]


def piece_key(fabric: str, piece: CutPiece) -> str:
    """What a piece's tick is kept under: what is cut, not how it is said."""
    size = f"{piece.width_mm:.1f}x{piece.height_mm:.1f}"
    return f"cut {piece.count} {size} {piece.name} of {fabric}"


def cutting(quilt: QuiltPlan) -> Cutting:
    """Lay the pieces out on their cloth, and draw the layouts and the quilt."""
    from ..report import cutting_words, words
    from ..report.quilt_picture import cloth_picture, key_of_quilt, quilt_picture

    plan, fabrics = quilt.plan, []
    for n, fabric in enumerate(quilt.fabrics):
        laid = fabric.cloth
        cloths = (*laid.in_hand, *((laid.bolt,) if laid.bolt is not None else ()))
        layouts = tuple(
            (name, tuple(strips), cloth_picture(one, laid.pieces, plan, name=f"c{n}-{k}"))
            for k, ((name, strips), one) in enumerate(
                zip(cutting_words.order(plan, fabric, lettered=True), cloths, strict=True)
            )
        )
        pieces = tuple(
            (
                piece_key(fabric.name, p),
                cutting_words.piece(plan, p),
                words.working(p.working, plan.unit),
            )
            for p in fabric.pieces
        )
        said = tuple(cutting_words.cloth(plan, fabric))
        fabrics.append(CutFabric(fabric.name, pieces, said, layouts))
    layout = quilt.layout
    if layout is None:
        return Cutting(tuple(fabrics), "", ())
    drawing = quilt_picture(layout, plan, key=False)
    return Cutting(tuple(fabrics), drawing, tuple(key_of_quilt(layout, plan)))
