"""Run the command line: ``python -m blockcheck``, or ``blockcheck``."""

import signal
import sys
from typing import Any


def run() -> Any:
    """Start the program; stopped before it has started or when it is done, it ends without a word."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    from .cli import main

    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        return main(prog_name="blockcheck")
    except KeyboardInterrupt:  # between the program's own first and last words
        return 130
    finally:
        signal.signal(signal.SIGINT, signal.SIG_DFL)


if __name__ == "__main__":  # not again in the processes that measure
    sys.exit(run())
