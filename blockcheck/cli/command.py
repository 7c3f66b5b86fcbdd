"""How commands are found, loaded when they are needed, and show their help."""

from __future__ import annotations

import difflib
import importlib
import inspect
import sys
from collections.abc import Callable
from typing import Any

import click
from click.shell_completion import CompletionItem

from ..errors import OpenCVMissing
from .contents import ENTRIES, SECTIONS
from .screen import ended_in_words, settle
from .voice import voice_options

SETTINGS = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


class Command(click.Command):
    """A command whose summary, examples and page come from the table of contents."""

    def make_context(self, *args: Any, **kwargs: Any) -> click.Context:
        """Read the arguments; a wrong value is told without the usage line."""
        try:
            return super().make_context(*args, **kwargs)
        except click.MissingParameter:
            raise
        except click.BadParameter as error:
            error.ctx = None
            raise

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Show two examples and where to read on."""
        entry = ENTRIES[self.name or ""]
        with formatter.section("Examples"):
            for line in entry.examples:
                formatter.write_text(f"blockcheck {line}")
        with formatter.section("More"):
            formatter.write_text(entry.page)


def command(name: str) -> Callable[[Callable[..., Any]], Command]:
    """Make a command of a function; its docstring says what the table's summary does not."""

    def make(function: Callable[..., Any]) -> Command:
        summary = ENTRIES[name].summary
        more = inspect.getdoc(function) or ""
        made: Command = click.command(
            name,
            cls=Command,
            help=f"{summary}\n\n{more}".strip(),
            short_help=summary,
            context_settings={**SETTINGS, "show_default": True},
        )(function)
        made.params += voice_options()
        return made

    return make


class Contents(click.Group):
    """The commands by sections; each is imported when it is called, not before."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the work."""
        return list(ENTRIES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load the module that holds a command."""
        if cmd_name not in ENTRIES:
            near = difflib.get_close_matches(cmd_name, ENTRIES, 1)
            asked = f" Did you mean {near[0]}?" if near else ""
            ctx.fail(f"There is no command {cmd_name}.{asked}")
        try:
            module = importlib.import_module(f".{ENTRIES[cmd_name].module}", __package__)
        except ModuleNotFoundError as error:
            sys.exit(
                f"The Python package {error.name} is missing. Install blockcheck with: "
                "pip install ."
            )
        except OpenCVMissing as error:
            sys.exit(str(error))
        return next(
            c for c in vars(module).values() if isinstance(c, Command) and c.name == cmd_name
        )

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """Run the program; it ends in words and with a status, whatever happens."""
        settle()
        return super().main(*args, **kwargs)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read what stands before the command."""
        with ended_in_words():
            return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Find the command and run it."""
        with ended_in_words():
            return super().invoke(ctx)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the sections with whole summaries."""
        width = max(map(len, ENTRIES))
        for title, entries in SECTIONS:
            with formatter.section(title):
                formatter.write_dl([(e.name.ljust(width), e.summary) for e in entries])

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Complete a command's name without loading any."""
        return [
            CompletionItem(e.name, help=e.summary)
            for e in ENTRIES.values()
            if e.name.startswith(incomplete)
        ]
