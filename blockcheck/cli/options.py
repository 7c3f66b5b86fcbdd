"""Options and arguments that several commands share, each in one place."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from .voice import Status, stop

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


class Number(click.ParamType):  # type: ignore[type-arg]
    """A number between limits, refused in words; `whole` ones have no decimals."""

    name = "number"

    def __init__(self, least: float = 0, most: float = math.inf, *, whole: bool = True) -> None:
        self.least, self.most, self.whole = least, most, whole

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> int | float:
        """Read the number."""
        try:
            number = int(value) if self.whole else float(value)
        except ValueError:
            self.fail(f'"{value}" is not a {"whole " * self.whole}number.', param, ctx)
        if not self.least <= number <= self.most:
            most = "or more" if self.most == math.inf else f"to {self.most:g}"
            self.fail(f"{value} is not {self.least:g} {most}.", param, ctx)
        return number


def told(text: str, default: str) -> str:
    """Help that says what holds where the option is not given."""
    return f"{text}  [default: {default}]" if default else text


def lens_file() -> Path:
    """Where lens profiles are kept unless --profiles says otherwise."""
    return Path(click.get_app_dir("blockcheck")) / "lenses.json"


def file_type() -> click.Path:
    """A file's name, which need not exist."""
    return click.Path(path_type=Path, dir_okay=False)


PROJECT = click.argument("project", type=click.Path(path_type=Path))
NAME = click.argument("name")
PHOTOS = click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
UNIT = click.option(
    "--unit",
    type=click.Choice(["in", "cm"]),
    default="in",
    help="Unit of the lengths you write and read.",
)
FRACTION = click.option(
    "--fraction",
    type=click.Choice(["8", "16", "32"]),
    default="16",
    help="Finest part of an inch that is shown.",
)
TOLERANCE = click.option(
    "--tolerance",
    metavar="LENGTH",
    default="1/8in",
    help="How far off the planned size is still good enough.",
)
PLANNED = click.option(
    "--planned", metavar="WxH", help="Planned unfinished size of a block, like 6x9."
)
FOCAL = click.option(
    "--focal",
    metavar="MM",
    type=Number(-math.inf, whole=False),
    help="Focal length as for 35 mm film, for photos that do not say. Phones: 24 to 28.",
)
PROFILES = click.option(
    "--profiles",
    metavar="FILE",
    type=file_type(),
    default=lambda: lens_file() if lens_file().exists() else None,
    show_default=False,
    help="Lens profiles (from: blockcheck lens), if not in their usual place.",
)
CORNERS = click.option(
    "--corners",
    metavar='"X,Y X,Y X,Y X,Y"',
    help="A block's four corners by hand, in pixels of the upright photo.",
)
TOGETHER = click.option(
    "--together", is_flag=True, help="The photos all show one block: measure it from all of them."
)
PAPER = click.option(
    "--paper", type=click.Choice(["letter", "a4"]), default="letter", help="Paper to print on."
)
JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON and nothing else.")
FORCE = click.option("--force", is_flag=True, help="Write over a file that already exists.")
JOBS = click.option(
    "--jobs",
    metavar="COUNT",
    type=Number(1),
    default=lambda: os.cpu_count() or 1,
    show_default=False,
    help=told("Photos measured at the same time.", "all cores"),
)
REFERENCES = {
    "card-side": (
        "The printed card's board as you measured it, like 3.98in.",
        "4 in, not measured",
    ),
    "sheet-side": (
        "The printed sheet's long side as you measured it, like 8.97in.",
        "9 in, not measured",
    ),
    "square": ("Side of a plain square in the photo, like 3in.", ""),
    "grid": ("Spacing of the mat's lines, 1in or 1cm; needed only without a card.", ""),
    "cloth-height": ("Height of the top of the cloth above the mat.", "0.5mm"),
}


def reference_options(*without: str) -> Decorator:
    """Give a command the options that say what lies in the photo."""
    options = [
        click.option(f"--{name}", metavar="LENGTH", help=told(text, default))
        for name, (text, default) in REFERENCES.items()
        if name not in without
    ]
    return together([*options, FOCAL])


def output_option(default: str) -> Decorator:
    """Give a command the option that says which file it writes."""
    return click.option(
        "-o",
        "--output",
        metavar="FILE",
        type=file_type(),
        help=told("File to write.", default),
    )


def together(options: Sequence[Decorator]) -> Decorator:
    """Several options as one, shown in this order."""

    def give(command: Callable[..., Any]) -> Callable[..., Any]:
        for option in reversed(options):
            command = option(command)
        return command

    return give


def need_suffix(path: Path, *suffixes: str) -> None:
    """Refuse a name that could be a photo's or a project's, which would be written over."""
    if path.suffix.lower() not in suffixes:
        stop(Status.USAGE, f"{path.name} must end in {' or '.join(suffixes)}.")


def target(output: Path, project: Path, *suffixes: str) -> Path:
    """Refuse to write over the project itself, a photo or another project."""
    if output.resolve() == project.resolve():
        stop(Status.USAGE, f"{output} is the project itself. Choose another file to write.")
    need_suffix(output, *suffixes)
    return output
