"""Pictures of the photos for the screen, made once and kept while the page is served."""

from __future__ import annotations

import asyncio
import tempfile
from collections.abc import Mapping
from pathlib import Path

from ..errors import ProjectError
from . import work

SIDES = {"small": work.SMALL, "screen": work.SCREEN, "full": work.FULL}


class Pictures:
    """A folder of JPEG pictures, by the photo's sha256 and the long side."""

    def __init__(self, workers: work.Workers) -> None:
        self._workers = workers
        self._folder = tempfile.TemporaryDirectory(prefix="blockcheck-")
        self._making: dict[Path, asyncio.Lock] = {}

    def put(self, sha256: str, pictures: Mapping[int, bytes]) -> None:
        """Keep pictures that were made while measuring."""
        for side, data in pictures.items():
            self._place(sha256, side).write_bytes(data)

    async def get(self, photo: Path, sha256: str, side: int) -> Path:
        """The picture's file; made now where there is none yet.

        Raises
        ------
        ProjectError
            If the photo is gone, or cannot be read.
        """
        place = self._place(sha256, side)
        async with self._making.setdefault(place, asyncio.Lock()):
            if not place.exists():
                if not photo.is_file():
                    raise ProjectError(
                        f"The photo {photo.name} is missing.", "Put it back where it was."
                    )
                data = await self._workers.run("measure", work.picture, photo, side)
                await asyncio.to_thread(place.write_bytes, data)
        return place

    def end(self) -> None:
        """Take the folder away."""
        self._folder.cleanup()

    def _place(self, sha256: str, side: int) -> Path:
        return Path(self._folder.name) / f"{sha256}-{side}.jpg"
