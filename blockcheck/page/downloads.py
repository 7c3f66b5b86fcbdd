"""What is downloaded or printed: the report, the trim sheet, the labels, the sizes, the card."""

from __future__ import annotations

import asyncio
import shutil
import tempfile
from pathlib import Path

from starlette.background import BackgroundTask
from starlette.exceptions import HTTPException
from starlette.responses import FileResponse

from ..errors import ProjectError
from ..report import words
from . import work
from .intake import plain_name
from .shelf import Shelf
from .showing import Showing

FILES = {
    "report.html": "text/html; charset=utf-8",
    "trim-sheet.pdf": "application/pdf",
    "labels.pdf": "application/pdf",
    "card.pdf": "application/pdf",
    "cards.pdf": "application/pdf",  # A to D, for several in one photo
    "sheet.pdf": "application/pdf",
    "sizes.csv": "text/csv; charset=utf-8",
    "project.json": "application/json",
}
# the report carries its own style and its pictures in itself; it has no script
REPORT_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox"


class Downloads:
    """Makes files on demand."""

    def __init__(self, shelf: Shelf, workers: work.Workers, showing: Showing) -> None:
        self._shelf, self._workers, self._showing = shelf, workers, showing

    async def get(self, project: str, name: str, paper: str) -> FileResponse:
        """One of `FILES`, as a download under the project's name."""
        if name not in FILES:
            raise HTTPException(404)
        paper = paper if paper in ("letter", "a4") else "letter"
        folder = tempfile.TemporaryDirectory(prefix="blockcheck-")
        target = Path(folder.name) / name
        try:
            await self._write(project, target, paper)
        except BaseException:
            folder.cleanup()
            raise
        return FileResponse(
            target,
            media_type=FILES[name],
            filename=f"{plain_name(project)}-{name}",
            headers={"content-security-policy": REPORT_POLICY},
            background=BackgroundTask(folder.cleanup),
        )

    async def _write(self, project: str, target: Path, paper: str) -> None:
        kind = target.stem
        if kind in ("card", "cards", "sheet"):
            which = {"letters": "ABCD"} if kind == "cards" else {}
            await self._workers.run("plan", work.paper, kind, target, {"paper": paper, **which})
        elif kind in ("sizes", "project"):
            await asyncio.to_thread(self._export, project, target)
        else:
            quilt, blocks = await self._showing.worked_out(project)
            given = {"quilt": quilt, "title": project, "paper": paper}
            if kind == "report":
                photos = await asyncio.to_thread(self._photos, project)
                given |= {"blocks": blocks, "photos": photos}
            elif not quilt.trims:
                raise ProjectError(words.gap(quilt, "size"))
            await self._workers.run("plan", work.paper, kind, target, given)

    def _export(self, project: str, target: Path) -> None:
        with self._shelf.open(project) as quilt:
            if target.suffix == ".csv":
                quilt.export_csv(target)
            else:  # its photos' places count from the folder of the quilts
                file = quilt.path.with_name(f".{target.parent.name}.json")
                try:
                    quilt.export_json(file)
                    shutil.move(file, target)
                finally:
                    file.unlink(missing_ok=True)

    def _photos(self, project: str) -> dict[str, object]:
        with self._shelf.open(project) as quilt:
            return {b.name: quilt.photo(b.name) for b in quilt.blocks()}
