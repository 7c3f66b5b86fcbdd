"""How fast the page answers: python docs/benchmarks/page.py PHOTO [PHOTOS AT ONCE]

PHOTO is of 12 MP, with a block and a 4 in card. Prints: from the end of an upload to the drawn
result, beside the measure call; many photos at once, beside the measure calls shared over the
cores (one call after the other in one process, with all of OpenCV's threads) and beside the bare
calls in the page's own processes, with the page's answers meanwhile; a dragged corner; a project
of 200 blocks, each size of its table asked for as soon as the last is there.
"""

import asyncio
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[2]))
sys.path.append(str(Path(__file__).resolve().parents[2] / "tests" / "page"))
import numpy as np
from serving import serving, until

from blockcheck.measuring.measure import measure_photo
from blockcheck.measuring.results import Measurement, PhotoResult
from blockcheck.page.work import Workers
from blockcheck.planning.plan import Plan
from blockcheck.project import Project
from blockcheck.uncertainty import Estimate, Term
from blockcheck.units import INCH

SIZE = np.array([6.5, 9.5]) * INCH


def other(photo: bytes, number: int) -> bytes:
    """The same picture as another file: with a comment after the JPEG's first marker."""
    return photo[:2] + b"\xff\xfe\x00\x08" + b"%06d" % number + photo[2:]


def took(work) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def measure_call(photo: Path) -> float:
    """Seconds of the whole measure call, in a process that has begun."""
    return min(took(lambda: measure_photo(photo, card_side="4in")) for _ in range(5))


def call(photo: Path) -> bool:
    return measure_photo(photo, card_side="4in").ok


def bare(photo: Path, count: int) -> float:
    """Seconds of as many measure calls in the processes that the page has, and nothing else."""

    async def run() -> float:
        workers = Workers()
        try:
            await asyncio.gather(*(workers.run("measure", call, photo) for _ in range(4)))
            start = time.perf_counter()
            await asyncio.gather(*(workers.run("measure", call, photo) for _ in range(count)))
            return time.perf_counter() - start
        finally:
            workers.end()

    return asyncio.run(run())


def upload(client, path: str, body: bytes, number: int) -> tuple[float, float]:
    """Seconds of the upload, and from its end until the block is kept and its picture is there."""
    start = time.perf_counter()
    answer = client.post(f"{path}/photos?name={number}.jpg", content=other(body, number))
    sent = time.perf_counter()
    item = answer.json()

    def state():
        items = client.get(f"{path}/photos.json").json()["items"]
        return next(i for i in items if i["id"] == item["id"])["state"]

    until(state, lambda s: s == "kept", 120)
    assert client.get(f"{path}/picture/{item['sha256']}").status_code == 200
    return sent - start, time.perf_counter() - sent


def crowd(served, path: str, body: bytes, count: int) -> tuple[float, list[float]]:
    """Seconds until all are kept, and those of the page's answers meanwhile."""
    answers, done = [], threading.Event()

    def ask():
        with served.client() as client:
            while not done.is_set():
                answers.append(took(lambda: client.get(f"{path}/photos")))
                time.sleep(0.2)  # its answers take the processor's time too

    asking = threading.Thread(target=ask)
    with served.client() as client:
        asking.start()
        start = time.perf_counter()
        for n in range(count):
            client.post(f"{path}/photos?name=many-{n}.jpg", content=other(body, 1000 + n))
        until(
            lambda: client.get(f"{path}/photos.json").json()["items"],
            lambda items: sum(i["state"] == "kept" for i in items) > count,
            600,
        )
        seconds = time.perf_counter() - start
    done.set()
    asking.join()
    return seconds, answers


def many(folder: Path, count: int = 200) -> None:
    """A project of many blocks, each bowed and a little off its size."""
    rng = np.random.default_rng(5)
    with Project.create(folder / "many", Plan(planned_mm=tuple(SIZE), card_side=4 * INCH)) as quilt:
        for n in range(count):
            corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * SIZE + rng.normal(0, 1, (4, 2))
            t = np.arange(8)[:, None] / 8
            sides = []
            for a, b in zip(corners, np.roll(corners, -1, 0), strict=True):
                out = np.array([b[1] - a[1], a[0] - b[0]]) / np.hypot(*(b - a))
                off = 4 * rng.normal(0, 0.6) * t * (1 - t) + (t > 0) * rng.normal(0, 0.1, (8, 1))
                sides.append(a + t * (b - a) + off * out)
            w, h = (Estimate(float(v), (Term("edge fit", 0.15),)) for v in np.ptp(corners, axis=0))
            measured = Measurement(
                corners * 8 + 200, corners, w, h, (w, h, w, h), (h, h), (w,) * 4, (w,) * 4,
                np.vstack(sides), np.eye(8) / 100,
            )  # fmt: skip
            quilt.add_result(PhotoResult(folder / f"{n}.jpg", f"{n:064x}", (measured,), (), None))


def main(photo: Path, count: int) -> None:
    body, one, cores = photo.read_bytes(), measure_call(photo), Workers().cores
    print(f"measure call: {one:.2f} s; cores: {cores}")
    folder = Path(tempfile.mkdtemp(prefix="page-"))
    many(folder)
    with serving(folder) as served, served.client() as client:
        client.post("/new", json={"name": "speed"})
        path = "/p/speed"
        entries = {"card_side": "4 in"}
        client.post(f"{path}/do/plan", json={"entries": entries})
        upload(client, path, body, 0)
        times = [upload(client, path, body, n)[1] for n in range(1, 6)]
        middle = statistics.median(times)
        print(
            f"end of upload to drawn: {middle:.2f} s, the measure call + {middle - one:.2f} s "
            "(wanted: + 0.5 s)"
        )
        client.post(f"{path}/do/ready", json={"name": "1"})
        corners = client.get(f"{path}/block.json?name=1").json()["corners"]
        drags = []
        for n in range(20):
            moved = [[x + 3 * (-1) ** n, y] for x, y in corners]
            given = {"name": "1", "corners": moved, "held": [], "show": "block?name=1"}
            drags.append(took(lambda given=given: client.post(f"{path}/do/edges", json=given)))
        print(
            f"dragged corner: {statistics.median(drags) * 1000:.0f} ms, at worst "
            f"{max(drags) * 1000:.0f} ms (wanted: 300 ms)"
        )
        seconds, answers = crowd(served, path, body, count)
        share, calls = count * one / cores, bare(photo, count)
        print(
            f"{count} photos at once: {seconds:.1f} s, {seconds / share:.2f} × ({count} measure "
            f"calls ÷ {cores} cores) (wanted: 1.3), {seconds / calls:.2f} × the bare calls in "
            f"{cores} processes; page meanwhile: "
            f"{statistics.median(answers) * 1000:.0f} ms, at worst {max(answers) * 1000:.0f} ms "
            "(wanted: 200 ms)"
        )
        first = took(lambda: client.get("/p/many/blocks"))
        table = took(lambda: client.get("/p/many/sizes.json"))
        rows = client.get("/p/many/sizes.json").json()["rows"]
        steps = [
            took(lambda n=n: client.get(f"/p/many/sizes.json?row={n}")) for n in range(len(rows))
        ]
        print(
            f"200 blocks: first view {first:.2f} s (wanted: 1 s), size table {table:.2f} s after "
            f"it, a step of the slider {statistics.median(steps) * 1000:.0f} ms, at worst "
            f"{max(steps) * 1000:.0f} ms (wanted: 300 ms)"
        )


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 30)
