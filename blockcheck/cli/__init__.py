"""The command line: parse, call, print. `contents` names the commands, `command` loads them."""

from __future__ import annotations

import click

from .. import __version__
from .command import SETTINGS, Contents


@click.group(cls=Contents, context_settings=SETTINGS)
@click.version_option(__version__, prog_name="blockcheck")
def main() -> None:
    """Measure sewn quilt blocks from phone photos before anything is cut.

    "blockcheck COMMAND -h" explains a command; docs/commands.md has exit statuses, JSON and
    shell completion.
    """
