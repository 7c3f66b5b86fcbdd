"""The command line: parse, call, print. One module for each group of commands."""

from __future__ import annotations

import sys

import click

try:
    from . import checking, deciding, marking, measuring, page, project_file, soundness
except ModuleNotFoundError as error:
    sys.exit(f"The Python package {error.name} is missing. Install blockcheck with: pip install .")
except ImportError as error:  # a bare server lacks the libraries that OpenCV's window code needs
    sys.exit(
        f"OpenCV cannot be loaded ({error}). On Debian: apt-get install -y libgl1 libglib2.0-0, "
        "then try again."
    )


@click.group()
@click.version_option(package_name="blockcheck")
def main() -> None:
    """Measure sewn quilt blocks from phone photos before anything is cut."""


for module in (measuring, checking, project_file, soundness, marking, deciding, page):
    for command in module.COMMANDS:
        main.add_command(command)
