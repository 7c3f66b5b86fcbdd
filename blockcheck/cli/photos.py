"""Photos named on the command line, and measuring many of them at once."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import partial
from multiprocessing import active_children, get_context, resource_tracker
from pathlib import Path
from typing import Any

from ..errors import MeasureError
from ..measuring.measure import measure_photo
from ..measuring.results import PhotoResult
from ..vision.photo import SUFFIXES
from .voice import Status, in_words, progress, refuse, stop

Corners = list[tuple[float, float]]


def files(photos: Sequence[Path]) -> tuple[list[Path], int]:
    """The photos named, folders opened; and how many folders hold none, which is said."""
    found: list[Path] = []
    empty = 0
    for p in photos:
        inside = [p]
        if p.is_dir():
            inside = sorted(q for q in p.iterdir() if q.suffix.lower() in SUFFIXES)
        if not inside:
            refuse(f"The folder {p} holds no photo.")
            empty += 1
        found += inside
    if not found:
        stop(Status.USAGE, "There is nothing to measure: name photos, or folders that hold some.")
    return found, empty


def corners_of(text: str | None) -> Corners | None:
    """Read four corners given by hand."""
    if text is None:
        return None
    try:
        pairs = [tuple(float(v) for v in pair.split(",")) for pair in text.split()]
    except ValueError:
        pairs = []
    if len(pairs) != 4 or any(len(p) != 2 for p in pairs):
        stop(
            Status.USAGE,
            'Write four corners in pixels of the photo, like "100,80 900,90 890,700 95,690".',
        )
    return [(p[0], p[1]) for p in pairs]


def measure_all(
    paths: Sequence[Path], jobs: int, corners: Corners | None, settings: dict[str, Any]
) -> Iterator[PhotoResult]:
    """Measure photos, several at a time; the results come in the photos' order."""
    jobs = min(jobs, len(paths), os.cpu_count() or 1)
    work = partial(_measure, corners=corners, settings=settings)
    if len(paths) > 1:
        progress(f"Measuring {len(paths)} photos, {jobs} at a time.")
    if jobs <= 1:
        yield from map(work, paths)
        return
    with _workers(jobs) as pool:
        try:
            with _begun_without_stopping():
                coming = [pool.submit(work, path) for path in paths]
        except BrokenProcessPool:
            ended = "A process that was measuring was ended from outside. Try again with --jobs 1."
            stop(Status.PHOTO, ended)
        for path, result in zip(paths, coming, strict=True):
            try:
                yield result.result()
            except BrokenProcessPool:  # one was killed, and took those of the others with it
                yield _alone(work, path)


def one_of_all(paths: Sequence[Path], settings: dict[str, Any]) -> Iterator[PhotoResult]:
    """Measure one block in several photos together: one result."""
    from ..measuring.together import measure_together  # loads what single photos do not need

    if len(paths) < 2:
        stop(Status.USAGE, "--together needs two or more photos of one block.")
    progress(f"Measuring one block in {len(paths)} photos together.")
    with in_words():
        found = measure_together(paths, **settings)
    yield found


def _alone(work: Callable[[Path], PhotoResult], path: Path) -> PhotoResult:
    """Measure one photo in a process of its own, and say so if that is killed too."""
    try:
        with _workers(1) as pool:
            with _begun_without_stopping():
                coming = pool.submit(work, path)
            return coming.result()
    except BrokenProcessPool:
        ended = MeasureError(
            f"{path.name} could not be measured: the computer stopped the process that measured it.",
            "It may have run short of memory; try again with --jobs 1.",
        )
        return PhotoResult(path, None, (), (ended.problem(),), None)


@contextmanager
def _workers(count: int) -> Iterator[ProcessPoolExecutor]:
    """Fresh processes (one forked beside OpenCV's threads can hang), ended with the program.

    Ctrl-C reaches every process of a terminal: they leave it to this one.
    """
    pool = ProcessPoolExecutor(count, get_context("spawn"), _leave_stopping)
    try:
        yield pool
    except BaseException:
        for process in active_children():
            process.terminate()
        pool.shutdown(cancel_futures=True)
        raise
    pool.shutdown()


@contextmanager
def _begun_without_stopping() -> Iterator[None]:
    """Processes that are begun meanwhile leave Ctrl-C to this one from their first moment.

    This one answers it when they have begun: half begun, they would miss what it was to send them.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # beginning it would let Ctrl-C through again
    came: list[int] = []
    # a library's thread may take the signal, whatever this one blocks
    answer = signal.signal(signal.SIGINT, lambda number, _: came.append(number))
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
        signal.signal(signal.SIGINT, answer)
    if came:
        raise KeyboardInterrupt


def _leave_stopping() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _measure(path: Path, corners: Corners | None, settings: dict[str, Any]) -> PhotoResult:
    return measure_photo(path, corners=corners, **settings)
