"""Run the command line: ``python -m blockcheck``."""

from .cli import main

if __name__ == "__main__":  # not again in the processes that measure
    main(prog_name="blockcheck")
