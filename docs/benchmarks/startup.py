"""How long the program takes to begin, as multiples of starting Python on the same machine.

Run from the repository: ``python docs/benchmarks/startup.py``. Each line is the fastest of several
starts, because other programs only ever make a start slower.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
STARTS = 9
SIZES = "name,width,height\n" + "".join(f"SB-{i},6 1/8,9\n" for i in range(1, 13))


def fastest(*words: str, starts: int = STARTS) -> float:
    """Seconds that the fastest of several starts takes."""
    times = []
    for _ in range(starts):
        begin = time.perf_counter()
        subprocess.run([sys.executable, *words], cwd=ROOT, check=True, capture_output=True)
        times.append(time.perf_counter() - begin)
    return min(times)


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
        python = fastest("-c", "pass")
        print(f"{'starting Python':32}{python:7.3f} s")
        for name, words in (
            ("import numpy and cv2", ("-c", "import numpy, cv2")),
            ("blockcheck --version", (*program, "--version")),
            ("blockcheck --help", (*program, "--help")),
            ("blockcheck list, 12 blocks", (*program, "list", project)),
            ("import what measuring needs", ("-c", "import blockcheck.measuring.measure")),
            ("blockcheck measure --help", (*program, "measure", "--help")),
            ("blockcheck size, 12 blocks", (*program, "size", project)),
        ):
            took = fastest(*words)
            print(f"{name:32}{took:7.3f} s   {took / python:5.1f} × starting Python")


if __name__ == "__main__":
    main()
