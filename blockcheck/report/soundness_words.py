"""The sentences about whether a project's file and its photos are as they were written."""

from __future__ import annotations

from ..project.records import PhotoFile


def as_written(file: str, count: int) -> str:
    """Of a file that is as it was written."""
    return f"{file}: {count} block{'s'[: count != 1]}, nothing is damaged."


def damaged(file: str) -> str:
    """Of one that is not; what is not as it was follows."""
    return f"{file} is damaged. Changed since it was written:"


def lost(name: str) -> str:
    """Of a block whose numbers cannot be trusted."""
    return f"block {name}: measure it again"


def mended(name: str, done: bool) -> str:
    """Of such a block in the mended copy; a hint for the command line follows where not done."""
    if done:
        return f"block {name}: measured again from its photo"
    return f"block {name}: NOT mended: measure it again"


def gone(photo: PhotoFile) -> str:
    """Of a photo that is not where it was."""
    return f"missing photo: {photo.path} (its numbers are kept)"


def changed(photo: PhotoFile) -> str:
    """Of a photo that is another one now."""
    return (
        f"CHANGED photo: {photo.path} is not the photo that was measured. Put that photo "
        "back, or add this one under another name."
    )
