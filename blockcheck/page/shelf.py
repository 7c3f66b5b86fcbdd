"""The projects that the page may open: those of one folder, by their names and no other way."""

from __future__ import annotations

import re
import threading
from dataclasses import dataclass
from pathlib import Path

from ..errors import ProjectError
from ..planning.plan import BlockRecord, Plan
from ..project import SUFFIX, Check, Project
from ..project.schema import locate

_NAME = re.compile(r"[\w][\w ()'-]{0,59}")
_COUNTER = slice(24, 28)  # of a file's changes, in its header: sqlite.org/fileformat.html


@dataclass(frozen=True, eq=False)
class Known:
    """A project's plan, blocks and checks, and the state of the file that they were read from."""

    state: tuple[object, ...]
    plan: Plan
    blocks: tuple[BlockRecord, ...]
    checks: tuple[Check, ...] = ()


class Shelf:
    """Projects by their names; with one project given, that one alone.

    Parameters
    ----------
    folder : Path
    only : Path, optional
        A project; its folder counts then.
    """

    def __init__(self, folder: Path, only: Path | None = None) -> None:
        self.only = None if only is None else locate(only).absolute()
        self.folder = folder.absolute() if self.only is None else self.only.parent
        self._known: dict[str, Known] = {}
        self._reading = threading.Lock()

    def names(self) -> list[str]:
        """Names of the projects, the one changed last first."""
        return [path.stem for path in self._paths()]

    def path(self, name: str) -> Path:
        """A project's file.

        Raises
        ------
        ProjectError
            If there is none of that name.
        """
        for path in self._paths():
            if path.stem == name:
                return path
        raise ProjectError("There is no project of this name.", "Choose one from the list.")

    def read(self, name: str) -> Known:
        """A project's plan and blocks, read anew only where its file has changed."""
        path = self.path(name)
        with self._reading:
            state, known = _state_of(path), self._known.get(name)
            if known is None or known.state != state or not state:
                with Project.open(path) as quilt:
                    read = quilt.plan, quilt.blocks(), quilt.checks()
                    known = self._known[name] = Known(state, *read)
        return known

    def open(self, name: str) -> Project:
        """Open a project; close it, or use it in a ``with`` statement."""
        return Project.open(self.path(name))

    def create(self, name: str, plan: Plan) -> str:
        """Make a project; returns its name."""
        name = self.fit(name)
        Project.create(self.folder / (name + SUFFIX), plan).close()
        return name

    def fit(self, name: str) -> str:
        """A name that a new project can have.

        Raises
        ------
        ProjectError
            If it cannot.
        """
        name = name.strip()
        if self.only is not None or not _NAME.fullmatch(name):
            raise ProjectError(
                f"“{name[:80]}” cannot be a project's name.",
                "Use up to 60 letters, digits and spaces.",
            )
        return name

    def photos(self, name: str) -> Path:
        """The folder that a project's photos are put into."""
        path = self.path(name)
        return path.with_name(f"{path.stem} photos")

    def _paths(self) -> list[Path]:
        if self.only is not None:
            return [self.only]
        found = [p for p in self.folder.glob("*" + SUFFIX) if p.is_file()]
        return sorted(found, key=lambda p: p.stat().st_mtime, reverse=True)


def _state_of(path: Path) -> tuple[object, ...]:
    """What differs after any change of a project's file; empty where it cannot be read."""
    try:
        stat = path.stat()
        with path.open("rb") as file:
            return stat.st_mtime_ns, stat.st_size, stat.st_ino, file.read(100)[_COUNTER]
    except OSError:
        return ()
