"""The addresses of the page, and what answers at each."""

from __future__ import annotations

import asyncio
import io
import json
import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

import segno
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import (
    FileResponse,
    HTMLResponse,
    JSONResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from ..errors import BlockcheckError, DamagedProjectError, ProjectError, UploadError
from ..report import words
from ..report.html import unbroken
from . import intake, sets, work
from .doing import ACTIONS, Doing
from .downloads import Downloads
from .events import Hub
from .keeping import Keeping
from .pictures import SIDES, Pictures
from .queue import Queue
from .shelf import Shelf
from .showing import VIEWS, Showing
from .verifying import NEEDED, Verifying
from .wording import on_page

BODY_BYTES, BODY_S = 256 * 2**10, 10.0
TEXT_BYTES, TEXT_S = 32 * 2**20, 60.0  # an export: of 400 blocks it has 3 MB
_UPLOADS = 8  # at once
_WORDS = re.compile(r">[^<]+<")  # between tags


class Page:
    """Everything that the page's addresses need, made once for each start.

    Parameters
    ----------
    shelf : Shelf
    profiles : Path or None
        File of lens profiles that photos are measured with.
    phone : str or None
        The address for a phone, shown with its code.
    lenses : Path
        File that a profile made here is kept in.
    """

    def __init__(
        self,
        shelf: Shelf,
        profiles: Path | None = None,
        phone: str | None = None,
        lenses: Path = Path("lenses.json"),
    ) -> None:
        self.shelf, self.phone = shelf, phone
        self.workers = work.Workers()
        self.hub = Hub()
        self.pictures = Pictures(self.workers)
        self.queue = Queue(shelf, self.hub, self.workers, self.pictures, profiles)
        self.showing = Showing(shelf, self.queue, self.workers)
        self.doing = Doing(shelf, self.queue, self.workers, self.showing)
        self.downloads = Downloads(shelf, self.workers, self.showing)
        self.keeping = Keeping(shelf, self.workers)
        self.verifying = Verifying(shelf, self.workers, self.queue, lenses)
        self._uploads = asyncio.Semaphore(_UPLOADS)
        self._templates = Environment(
            loader=PackageLoader("blockcheck", "page/templates"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._templates.globals.update(words=words, views=VIEWS)
        here = "/p/{project}"
        self.app = Starlette(
            routes=[
                Route("/", self.home),
                Route("/phone.svg", self.code),
                Route("/new", self.new, methods=["POST"]),
                Route("/bring", self.bring, methods=["POST"]),
                Route(here, self.first),
                Route(here + "/photos", self.take_in, methods=["POST"]),
                Route(here + "/events", self.events),
                Route(here + "/picture/{sha256}", self.picture),
                Route(here + "/do/{action}", self.do, methods=["POST"]),
                Route(here + "/file/{name}", self.file),
                Route(here + "/table", self.table, methods=["POST"]),
                Route(here + "/check", self.check),
                Route(here + "/check", self.mend, methods=["POST"]),
                Route(here + "/verify/{kind}/{step}", self.verify, methods=["POST"]),
                Route(here + "/{view}", self.view),
                Mount("/static", StaticFiles(packages=[("blockcheck.page", "static")])),
            ],
            exception_handlers={BlockcheckError: self.failed, HTTPException: self.failed},
            lifespan=self._life,
        )

    @asynccontextmanager
    async def _life(self, _: Starlette) -> AsyncIterator[None]:
        self.workers.begin()
        try:
            yield
        finally:
            self.workers.end()
            self.pictures.end()

    def render(self, template: str, **given: Any) -> str:
        """Fill a template in, in the page's words; sizes are not parted at the end of a line."""
        page = self._templates.get_template(template).render(given)
        shown, mark, data = page.partition('<script type="application/json"')
        return _WORDS.sub(lambda found: unbroken(on_page(found[0])), shown) + mark + data

    async def home(self, request: Request) -> Response:
        """The projects of the folder; the one project where one was named."""
        if self.shelf.only is not None:
            return RedirectResponse(f"/p/{self.shelf.only.stem}", 303)
        projects = await run_in_threadpool(self.showing.projects)
        return self._html("home.html", projects=projects, title="Your quilts")

    async def new(self, request: Request) -> Response:
        """Make a project."""
        given = await _body(request)
        name = await run_in_threadpool(self.doing.new, given)
        if given.get("example"):
            await self.doing.example(name)
        return JSONResponse({"to": f"/p/{name}/photos"})

    async def bring(self, request: Request) -> Response:
        """Make a project of an export: the body is the file."""
        text = await _sent(request, TEXT_BYTES, TEXT_S)
        name = request.query_params.get("name", "")
        return JSONResponse({"to": f"/p/{await run_in_threadpool(self.keeping.bring, name, text)}"})

    async def table(self, request: Request) -> Response:
        """Keep sizes measured with a ruler: the body is a table."""
        text = await _sent(request, TEXT_BYTES, TEXT_S)
        name = request.path_params["project"]
        return JSONResponse(await run_in_threadpool(self.keeping.table, name, text))

    async def check(self, request: Request) -> Response:
        """Say whether the project's file and its photos are as they were written."""
        name = request.path_params["project"]
        found = await run_in_threadpool(self.keeping.check, name)
        return self._html("check.html", title=f"{name}: the file and its photos", of=name, **found)

    async def mend(self, request: Request) -> Response:
        """Write what is sound to a new file."""
        return JSONResponse(await self.keeping.mend(request.path_params["project"]))

    async def first(self, request: Request) -> Response:
        """Where a project opens: at its blocks, or at the photos while there are none."""
        name = request.path_params["project"]
        blocks = await run_in_threadpool(self.showing.count, name)
        return RedirectResponse(f"/p/{name}/{'blocks' if blocks else 'photos'}", 303)

    async def view(self, request: Request) -> Response:
        """One of the project's views."""
        name, view = request.path_params["project"], request.path_params["view"]
        template, _, part = view.partition(".")
        if template not in VIEWS and template not in (
            "block",
            "mend",
            "verify",
            "lines",
            "report",
            "card",
            "sheet",
            "sizes",
        ):
            raise HTTPException(404)
        await self.queue.look(name)
        shown = await self.showing.view(template, name, dict(request.query_params))
        if isinstance(shown, Response):
            return shown
        if part == "json":
            return JSONResponse(shown["data"])
        if part == "part":
            return HTMLResponse(self.render(f"{template}-part.html", **shown))
        return self._html(f"{template}.html", **shown)

    async def take_in(self, request: Request) -> Response:
        """Take in one photo: the body is the file."""
        name, query = request.path_params["project"], request.query_params
        folder, token = self.shelf.photos(name), query.get("set", "")
        if token:
            folder = sets.folder_of(folder, token)
            sets.need_room(folder)
        received = await self._received(request, folder)
        if token:
            return JSONResponse({"name": received.path.name}, 201)
        again = query.get("again", "")
        if again:
            await run_in_threadpool(self._latest, name, again)
        trimmed, kind = query.get("trimmed") == "yes", query.get("kind", "")
        item = self.queue.add(name, received, again, trimmed, kind)
        return JSONResponse(vars(item), 201)

    async def _received(self, request: Request, folder: Path) -> intake.Received:
        length = request.headers.get("content-length")
        async with self._uploads:
            return await intake.receive(
                request.stream(),
                request.query_params.get("name", ""),
                int(length) if length and length.isdigit() else None,
                folder,
            )

    async def verify(self, request: Request) -> Response:
        """A photo for a check of the measuring, the check itself, or its photos left out."""
        name, checking = request.path_params["project"], self.verifying
        kind, step = request.path_params["kind"], request.path_params["step"]
        if step == "photo" and kind in ("verify", *NEEDED):
            received = await self._received(request, checking.folder(name, kind))
            if kind == "verify":
                return JSONResponse(await checking.verify(name, received, request.query_params))
            return JSONResponse({"count": checking.count(name, kind)}, 201)
        if step == "drop" and kind in NEEDED:
            checking.drop(name, kind)
            return JSONResponse({})
        if step == "do" and kind in NEEDED:
            return JSONResponse(
                await (checking.repeat if kind == "repeat" else checking.lens)(name)
            )
        if step == "do" and kind == "readings":
            text = await _sent(request, TEXT_BYTES, TEXT_S)
            return JSONResponse(await run_in_threadpool(checking.readings, text))
        raise HTTPException(404)

    def _latest(self, name: str, block: str) -> None:
        with self.shelf.open(name) as quilt:
            quilt.latest(block)  # raises where there is no such block

    async def events(self, request: Request) -> Response:
        """What happens to the photos, as it happens."""
        name = request.path_params["project"]
        self.shelf.path(name)

        def first() -> str:
            items = [vars(item) for item in self.queue.items(name)]
            return f"event: photos\ndata: {json.dumps(items)}\n\n"

        return StreamingResponse(self.hub.listen(name, first), media_type="text/event-stream")

    async def picture(self, request: Request) -> Response:
        """A photo as a JPEG of one of the sizes."""
        name, sha256 = request.path_params["project"], request.path_params["sha256"]
        side = SIDES.get(request.query_params.get("size", "screen"), work.SCREEN)
        photo = await run_in_threadpool(self.showing.photo_path, name, sha256)
        place = await self.pictures.get(photo, sha256, side)
        return FileResponse(
            place,
            media_type="image/jpeg",
            headers={"cache-control": "private, max-age=86400, immutable"},
        )

    async def file(self, request: Request) -> Response:
        """A file to download or print."""
        paper = request.query_params.get("paper", "letter")
        return await self.downloads.get(
            request.path_params["project"], request.path_params["name"], paper
        )

    async def do(self, request: Request) -> Response:
        """Change something."""
        name, action = request.path_params["project"], request.path_params["action"]
        if action not in ACTIONS:
            raise HTTPException(404)
        given = await _body(request)
        try:
            answer = await getattr(self.doing, action)(name, given)
        except (LookupError, TypeError, ValueError, OverflowError) as e:
            if isinstance(e, BlockcheckError):
                raise
            raise ProjectError(
                "The page asked for something that makes no sense.", "Reload the page."
            ) from e
        if show := str(given.get("show", "")):
            answer = {**answer, **await self._anew(name, show)}
        return JSONResponse(answer)

    async def _anew(self, name: str, show: str) -> dict[str, Any]:
        """A view's data and its part of the page as they are after a change."""
        view, _, query = show.partition("?")
        if view not in (*VIEWS, "block"):
            raise HTTPException(404)
        shown = await self.showing.view(view, name, dict(parse_qsl(query)))
        return {"data": shown["data"], "part": self.render(f"{view}-part.html", **shown)}

    async def failed(self, request: Request, error: Exception) -> Response:
        """Say what is wrong: as a page where a person asked, else as JSON."""
        status = 400
        said = ["There is nothing here.", "Go back to the list."]
        if isinstance(error, HTTPException):
            status = error.status_code
        elif isinstance(error, BlockcheckError):
            status = error.status if isinstance(error, UploadError) else 400
            said = [on_page(s) for s in (error.message, error.hint) if s]
        if request.method != "GET":  # what is left of the body is not waited for
            return JSONResponse({"said": said}, status, {"connection": "close"})
        if ".json" in request.url.path or ".part" in request.url.path:
            return JSONResponse({"said": said}, status)
        of = request.path_params.get("project", "")
        damaged = of if isinstance(error, DamagedProjectError) else ""
        page = self.render("failed.html", said=said, title="This did not work", damaged=damaged)
        return HTMLResponse(page, status)

    async def code(self, request: Request) -> Response:
        """The phone's address as a QR code."""
        if self.phone is None:
            raise HTTPException(404)
        picture = io.BytesIO()
        segno.make(self.phone, error="m").save(picture, kind="svg", scale=5, border=2)
        return Response(picture.getvalue(), media_type="image/svg+xml")

    def _html(self, template: str, **given: Any) -> HTMLResponse:
        phone = None if self.phone is None else {"address": self.phone}
        return HTMLResponse(self.render(template, phone=phone, **given))


async def _body(request: Request) -> dict[str, Any]:
    """The JSON object that was sent, of reasonable size and in reasonable time."""
    try:
        given = json.loads(await _sent(request, BODY_BYTES, BODY_S) or b"{}")
    except (ValueError, RecursionError) as e:
        raise _senseless() from e
    if not isinstance(given, dict):
        raise _senseless()
    return given


async def _sent(request: Request, most: int, seconds: float) -> bytes:
    """The body, if it is no larger and comes in time."""
    parts, size = [], 0
    try:
        async with asyncio.timeout(seconds):
            async for chunk in request.stream():
                size += len(chunk)
                if size > most:
                    raise _senseless()
                parts.append(chunk)
    except (TimeoutError, ClientDisconnect) as e:
        raise _senseless() from e
    return b"".join(parts)


def _senseless() -> ProjectError:
    return ProjectError("The page asked for something that makes no sense.", "Reload the page.")
