"""Run the command line: ``python -m blockcheck``."""

from .cli import main

main()
