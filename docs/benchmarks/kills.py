"""Kill a process again and again while it adds photos to a project; look whether anything is lost.

    python docs/benchmarks/kills.py [KILLS]

The photos are made up, so that nearly all of the time goes into writing. Also: eight processes
that add to one file at once, and a disk that is full at each of fifty places, where the system
stops a write in the middle of a page. Ends with status 1 if anything is missing. (Linux, macOS.)
"""

import hashlib
import multiprocessing
import os
import random
import resource
import sqlite3
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from blockcheck.errors import ProjectError
from blockcheck.measuring.results import Measurement, PhotoResult
from blockcheck.project import Project
from blockcheck.uncertainty import Estimate, Term

BLOCKS = 12  # in a photo: enough that writing them takes a while
WRITERS = 8  # to one file at once
PLACES = 50  # where the disk is full


def made_up(name: str, folder: Path, blocks: int = 1, width: float = 152.4) -> PhotoResult:
    """A photo's result as measuring would give it, without a photo."""

    def e(value: float) -> Estimate:
        return Estimate(value, (Term("adjustment", 0.1), Term("edge fit", 0.05, 12.0)))

    w, h = width, 228.6
    corners = np.array([[0.0, 0], [w, 0], [w, h], [0, h]]) + 10
    block = Measurement(
        corners_px=corners * 6,
        corners_mm=corners,
        width_mm=e(w),
        height_mm=e(h),
        sides_mm=(e(w), e(h), e(w), e(h)),
        diagonals_mm=(e(np.hypot(w, h)), e(np.hypot(w, h))),
        angles_deg=(e(90.0),) * 4,
        bow_mm=(e(0.3),) * 4,
        outline_mm=np.repeat(corners, 8, axis=0),
        corners_cov_mm2=np.eye(8) / 100,
    )
    sha256 = hashlib.sha256(name.encode()).hexdigest()
    return PhotoResult(folder / name, sha256, (block,) * blocks, (), None)


def add_photos(project: Path, batch: int, count: int, told: Path) -> None:
    """Add made-up photos; write each one's sha256 to `told` once the project says it is kept."""
    report = os.open(told, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    try:
        opened = Project.create(project)
    except ProjectError:
        opened = Project.open(project)
    with opened as quilt:
        for i in range(count):
            result = made_up(f"{batch}-{i}.jpg", project.parent, BLOCKS)
            quilt.add_result(result)
            os.write(report, f"{result.sha256}\n".encode())
    os.close(report)


def workers() -> multiprocessing.context.ForkServerContext:
    """Processes that start quickly, because the libraries are loaded once."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["blockcheck.project"])
    return context


def told_and_there(project: Path, told: Path) -> tuple[set[str], set[str]]:
    """Photos reported as kept, and photos of which the file holds every block."""
    said = told.read_text() if told.exists() else ""
    with Project.open(project) as quilt:
        whole = {p.sha256 for p in quilt.photos() if len(quilt.names_in(p.sha256)) == BLOCKS}
        if len(quilt.blocks()) != BLOCKS * len(quilt.photos()):
            whole = set()  # a step was kept in part
    return set(said.splitlines()), whole


def kill_while_adding(kills: int, folder: Path) -> dict[str, int]:
    """Kill one process after another, each at a random moment of its adding."""
    project, told = folder / "kills.blockcheck", folder / "kept.txt"
    figures = dict.fromkeys(("opened", "sound", "half-written"), 0)
    moments = random.Random(4)
    context = workers()
    for batch in range(kills):
        before = told.stat().st_size if told.exists() else 0
        process = context.Process(target=add_photos, args=(project, batch, 10_000, told))
        process.start()
        while process.is_alive() and (not told.exists() or told.stat().st_size == before):
            time.sleep(0.001)  # until it adds
        time.sleep(moments.uniform(0, 0.15))
        process.kill()
        process.join()
        figures["half-written"] += Path(f"{project}-journal").exists()
        said, there = told_and_there(project, told)
        figures["opened"] += 1
        db = sqlite3.connect(project)
        sound = db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        figures["sound"] += sound and not db.execute("PRAGMA foreign_key_check").fetchall()
        db.close()
        if said - there:
            break
    figures |= {"kept": len(said), "missing": len(said - there)}
    return figures


def add_from_many(each: int, folder: Path) -> tuple[int, int]:
    """Photos that processes add to one file at once: reported as kept, and there."""
    project, told = folder / "many.blockcheck", folder / "many.txt"
    Project.create(project).close()
    context = workers()
    many = [
        context.Process(target=add_photos, args=(project, k, each, told)) for k in range(WRITERS)
    ]
    for process in many:
        process.start()
    for process in many:
        process.join()
    said, there = told_and_there(project, told)
    return len(said), len(said & there)


def add_until_full(project: Path, limit: int, told: Path) -> None:
    """Add photos to a file that the system lets grow to `limit` bytes; end with 3 if in words."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    try:
        add_photos(project, limit, 10_000, told)
    except ProjectError:
        sys.exit(3)


def fill_disks(places: int, folder: Path) -> dict[str, int]:
    """Add photos until the disk is full, each time at another place."""
    figures = dict.fromkeys(("in words", "added after", "kept", "missing"), 0)
    context = workers()
    chance = random.Random(5)
    for place in range(places):
        project, told = folder / f"full-{place}.blockcheck", folder / f"full-{place}.txt"
        Project.create(project).close()
        limit = project.stat().st_size + chance.randrange(1, 400_000)
        process = context.Process(target=add_until_full, args=(project, limit, told))
        process.start()
        process.join()
        figures["in words"] += process.exitcode == 3
        said, there = told_and_there(project, told)
        figures["kept"] += len(said)
        figures["missing"] += len(said - there)
        with Project.open(project) as quilt:  # there is room again
            figures["added after"] += bool(quilt.add_result(made_up("after.jpg", folder, BLOCKS)))
    return figures


if __name__ == "__main__":
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    with tempfile.TemporaryDirectory() as name:
        got = kill_while_adding(kills, Path(name))
        print(
            f"{kills} kills while adding photos: {got['opened']} files open, "
            f"integrity_check ok in {got['sound']}, half-written step met in {got['half-written']}; "
            f"{got['kept']} photos reported as kept, {got['missing']} of them missing"
        )
        kept, there = add_from_many(25, Path(name))
        print(f"{WRITERS} processes adding 25 photos each to one file: {kept} kept, {there} there")
        full = fill_disks(PLACES, Path(name))
        print(
            f"a disk full at {PLACES} places: told in words {full['in words']}, {full['kept']} photos "
            f"reported as kept, {full['missing']} of them missing, gone on {full['added after']}"
        )
    sys.exit(
        got["opened"] + got["sound"] < 2 * kills
        or got["missing"] + full["missing"] > 0
        or there < WRITERS * 25
        or full["in words"] + full["added after"] < 2 * PLACES
    )
