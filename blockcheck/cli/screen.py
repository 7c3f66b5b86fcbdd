"""What reaches the screen: nothing in it acts, and nothing ends in a traceback.

Names of files and blocks, notes and what EXIF says are other people's text. Control characters in
it could move the cursor, rename the window or hide a line, so they are shown as their numbers.
"""

from __future__ import annotations

import codecs
import errno
import os
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import click

from ..errors import in_one_line

_PLAIN = {
    "\N{MINUS SIGN}": "-",
    "\N{MULTIPLICATION SIGN}": "x",
    "\N{DIVISION SIGN}": "/",
    "\N{HORIZONTAL ELLIPSIS}": "...",
    "\N{PLUS-MINUS SIGN}": "+-",
    "\N{DEGREE SIGN}": " deg",
    "\N{RIGHTWARDS ARROW}": "->",
}
STOPPED = 130  # as shells have it for a program that Ctrl-C ended


def shown(text: str) -> str:
    """Lines whose control characters are shown, not sent; in JSON strings they read back the same."""
    return re.sub(r"[^\n\t]+", lambda line: in_one_line(line[0]), text)


def settle() -> None:
    """Let screens and files of any encoding take every text."""
    codecs.register_error("plain", _plainly)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="plain")


@contextmanager
def ended_in_words() -> Iterator[None]:
    """End the program with a sentence and a status, whatever happens inside."""
    try:
        yield
    except click.exceptions.NoArgsIsHelpError:
        raise  # its message is the help, of many lines
    except click.ClickException as e:
        e.message = in_one_line(e.message)  # type: ignore[misc]
        raise
    except KeyboardInterrupt:
        _end("Stopped. What was reported as done is done.", STOPPED)
    except MemoryError:
        _end("There is not enough memory for this. Try again with --jobs 1.", 1)
    except OSError as e:
        if e.errno == errno.EPIPE:
            raise  # who reads has had enough: click ends it quietly
        where = f"{e.filename}: " if e.filename else "The answer could not be written: "
        _end(f"{where}{e.strerror or e}.", 4)


def _end(sentence: str, status: int) -> None:
    try:
        sys.stdout.flush()
    except (OSError, ValueError, AttributeError):  # what it still holds must not fail again
        with suppress(OSError, ValueError, AttributeError), open(os.devnull, "w") as nowhere:
            os.dup2(nowhere.fileno(), sys.stdout.fileno())
    with suppress(OSError):
        click.echo(in_one_line(sentence), err=True)
    raise click.exceptions.Exit(status)


def _plainly(error: UnicodeError) -> tuple[str, int]:
    """Write a character that an encoding has not by one that it has, or by its number."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    found = error.object[error.start : error.end]
    return "".join(_PLAIN.get(c, f"\\u{ord(c):04x}") for c in found), error.end
