"""The project file: one quilt's plan, photos, measurements and their history in one SQLite file."""

from .reading import ProjectReader
from .records import Check, Event, Kept, PhotoFile
from .rescue import Lost
from .schema import SUFFIX
from .steps import Undoable
from .store import Project

__all__ = [
    "SUFFIX",
    "Check",
    "Event",
    "Kept",
    "Lost",
    "PhotoFile",
    "Project",
    "ProjectReader",
    "Undoable",
]
