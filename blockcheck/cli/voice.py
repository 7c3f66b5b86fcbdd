"""How the program speaks: answers on stdout, the rest on stderr; one exit status for each failure."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from enum import IntEnum
from pathlib import Path
from typing import NoReturn

import click

from ..errors import (
    BlockcheckError,
    ExchangeError,
    LengthError,
    MeasureError,
    PlanError,
    ProfileError,
    ProjectError,
    ReadingsError,
    in_one_line,
)
from .screen import shown


class Stopped(click.ClickException):
    """The command cannot go on: one sentence, and the status that it ends with."""

    def __init__(self, text: str, status: Status) -> None:
        super().__init__(text)
        self.exit_code = status  # type: ignore[misc]


class Status(IntEnum):
    """Exit statuses, as docs/commands.md lists them."""

    DONE = 0
    PHOTO = 1  # a photo could not be measured
    USAGE = 2  # a command, an option or a value is wrong
    PROJECT = 3  # the project, or a block in it, cannot be used
    FILE = 4  # another file cannot be read or written
    BLOCKS = 5  # the plan and the blocks do not give what was asked for
    DISAGREES = 6  # a check was made and does not agree


_OF = (
    ((LengthError, PlanError), Status.USAGE),
    ((ExchangeError, ProfileError, ReadingsError), Status.FILE),
    ((ProjectError,), Status.PROJECT),
    ((MeasureError,), Status.PHOTO),
)
_QUIET, _VERBOSE = "blockcheck.quiet", "blockcheck.verbose"


def voice_options() -> list[click.Parameter]:
    """The options ``--quiet`` and ``--verbose``, which every command has."""

    def keep(ctx: click.Context, parameter: click.Parameter, value: bool) -> None:
        ctx.meta[f"blockcheck.{parameter.name}"] = value

    return [
        click.Option(
            [short, f"--{name}"], is_flag=True, expose_value=False, callback=keep, help=text
        )
        for name, short, text in (
            ("quiet", "-q", "Say nothing but the answer, warnings and refusals."),
            ("verbose", "-v", "Say more about what is done, on stderr."),
        )
    ]


def say(text: str) -> None:
    """Print the answer."""
    click.echo(shown(text))


def tell(sentence: str) -> None:
    """Print an answer that names files: one line, whatever they are called."""
    click.echo(in_one_line(sentence))


def note(text: str) -> None:
    """Print what goes with the answer: what to do next, what to take care of."""
    if not click.get_current_context().meta.get(_QUIET):
        click.echo(shown(text))


def progress(text: str) -> None:
    """Say what is being done, apart from the answer."""
    if not click.get_current_context().meta.get(_QUIET):
        click.echo(shown(text), err=True)


def detail(text: str) -> None:
    """Say what only ``--verbose`` wants to know."""
    if click.get_current_context().meta.get(_VERBOSE):
        click.echo(shown(text), err=True)


def refuse(text: str) -> None:
    """Say what could not be done; the command goes on."""
    click.echo(in_one_line(text), err=True)


def stop(status: Status, text: str) -> NoReturn:
    """End the command with one sentence and its status."""
    raise Stopped(text, status)


def leave(status: Status) -> NoReturn:
    """End the command with its status; everything is said."""
    click.get_current_context().exit(status)


@contextmanager
def in_words() -> Iterator[None]:
    """End the command with one clear sentence instead of a traceback."""
    try:
        yield
    except BlockcheckError as e:
        for reason in getattr(e, "__notes__", ()):
            refuse(f"LEFT OUT {reason}")
        stop(next((s for kinds, s in _OF if isinstance(e, kinds)), Status.PHOTO), str(e))


@contextmanager
def writing(path: object) -> Iterator[None]:
    """End the command in words where a file cannot be written."""
    try:
        yield
    except OSError as e:
        stop(Status.FILE, f"{path} cannot be written ({e.strerror}).")


def may_write(path: Path, force: bool) -> None:
    """Refuse to write over what is there, unless it was asked for."""
    if path.exists() and not force:
        stop(
            Status.FILE,
            f"{path} already exists. Name another file, or write over it with --force.",
        )
