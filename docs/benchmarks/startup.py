"""How long the program takes to begin, as multiples of starting Python on the same machine.

Run from the repository: ``python docs/benchmarks/startup.py [PHOTO]``. With a photo of a block, the
suggestions for its marks are timed too (``mark --suggest``). Each line is the fastest of several
starts, because other programs only ever make a start slower: the processor's time, and the clock's.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
STARTS = 9
SIZES = "name,width,height\n" + "".join(f"SB-{i},6 1/8,9\n" for i in range(1, 13))


def used() -> float:
    """Seconds of processor that finished child processes have taken."""
    spent = resource.getrusage(resource.RUSAGE_CHILDREN)
    return spent.ru_utime + spent.ru_stime


def fastest(*words: str, starts: int = STARTS) -> tuple[float, float]:
    """Seconds of processor, and of the clock, that the fastest of several starts takes."""
    times, clocks = [], []
    for _ in range(starts):
        begin, before = time.perf_counter(), used()
        subprocess.run([sys.executable, *words], cwd=ROOT, check=True, capture_output=True)
        times.append(used() - before)
        clocks.append(time.perf_counter() - begin)
    return min(times), min(clocks)


def main() -> None:
    """Time what a person waits for before anything happens."""
    with tempfile.TemporaryDirectory() as folder:
        sizes, project = Path(folder, "sizes.csv"), str(Path(folder, "sails"))
        sizes.write_text(SIZES)
        program = ("-m", "blockcheck")
        for words in (("new", project, "--planned", "6x9"), ("import", project, str(sizes))):
            subprocess.run(
                [sys.executable, *program, *words], cwd=ROOT, check=True, capture_output=True
            )
        suggest = []
        if len(sys.argv) > 1:
            words = ("add", project, sys.argv[1], "--name", "seen")
            subprocess.run(
                [sys.executable, *program, *words], cwd=ROOT, check=True, capture_output=True
            )
            suggest = [
                ("blockcheck mark --suggest", (*program, "mark", project, "seen", "--suggest"))
            ]
        python, clock = fastest("-c", "pass")
        print(f"{'':32}processor     clock")
        print(f"{'starting Python':32}{python:7.3f} s {clock:7.3f} s")
        for name, words in (
            ("import numpy and cv2", ("-c", "import numpy, cv2")),
            ("blockcheck --version", (*program, "--version")),
            ("blockcheck --help", (*program, "--help")),
            ("blockcheck list, 12 blocks", (*program, "list", project)),
            ("import what measuring needs", ("-c", "import blockcheck.measuring.measure")),
            ("blockcheck measure --help", (*program, "measure", "--help")),
            ("blockcheck size, 12 blocks", (*program, "size", project)),
            *suggest,
        ):
            took, clock = fastest(*words)
            times = took / python
            print(f"{name:32}{took:7.3f} s {clock:7.3f} s   {times:5.1f} × starting Python")


if __name__ == "__main__":
    main()
