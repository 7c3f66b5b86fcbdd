"""Run the command line: ``python -m blockcheck``, or ``blockcheck``."""

import signal
from typing import Any


def run() -> Any:
    """Start the program; stopped before it has started, it ends without a word."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    from .cli import main

    signal.signal(signal.SIGINT, signal.default_int_handler)
    return main(prog_name="blockcheck")


if __name__ == "__main__":  # not again in the processes that measure
    run()
