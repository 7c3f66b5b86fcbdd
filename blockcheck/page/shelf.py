"""The projects that the page may open: those of one folder, by their names and no other way."""

from __future__ import annotations

import re
from pathlib import Path

from ..errors import ProjectError
from ..planning.plan import Plan
from ..project import SUFFIX, Project
from ..project.schema import locate

_NAME = re.compile(r"[\w][\w ()'-]{0,59}")


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

    def open(self, name: str) -> Project:
        """Open a project; close it, or use it in a ``with`` statement."""
        return Project.open(self.path(name))

    def create(self, name: str, plan: Plan) -> str:
        """Make a project; returns its name."""
        name = name.strip()
        if self.only is not None or not _NAME.fullmatch(name):
            raise ProjectError(
                f"“{name[:80]}” cannot be a project's name.",
                "Use up to 60 letters, digits and spaces.",
            )
        Project.create(self.folder / (name + SUFFIX), plan).close()
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
