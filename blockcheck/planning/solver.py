"""SciPy's `milp` without a word on standard output.

HiGHS, which does the work, now and then prints a line of its own past Python (seen with SciPy 1.17,
"transformNewIntegerFeasibleSolution"). On standard output it would spoil the JSON that a command
prints, so what is printed there meanwhile is dropped.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

_ONE_AT_A_TIME = threading.Lock()


def milp(*problem: Any, **more: Any) -> Any:
    """Solve as `scipy.optimize.milp` does, which is loaded by the first call."""
    from scipy.optimize import milp as solve

    with _quiet():
        return solve(*problem, **more)


@contextmanager
def _quiet() -> Iterator[None]:
    with _ONE_AT_A_TIME:
        try:
            kept = os.dup(1)
        except OSError:  # there is no standard output
            yield
            return
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        try:
            yield
        finally:
            os.dup2(kept, 1)
            os.close(kept)
            os.close(nowhere)
