"""Serve the page: the addresses it listens on, the browser, the phone's code, and the end."""

from __future__ import annotations

import asyncio
import socket
import sys
import webbrowser
from collections.abc import Callable, Sequence
from pathlib import Path
from types import FrameType
from typing import Any

import segno
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from ..errors import PageError
from .app import Page
from .guard import Guard
from .shelf import Shelf

HERE = "127.0.0.1"
HEADERS_S = 10.0  # for the first line and the headers of a request
CONNECTIONS = 100


class _Patient(H11Protocol):
    """Ends a connection that does not say what it wants."""

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        self.loop.call_later(HEADERS_S, self._judge)

    def _judge(self) -> None:
        if self.cycle is None and not self.transport.is_closing():
            self.transport.close()


class _Server(uvicorn.Server):
    """Ends at once: pages that listen for events are not waited for."""

    def __init__(self, config: uvicorn.Config, page: Page) -> None:
        super().__init__(config)
        self._page = page

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """End on Ctrl-C, cleanly."""
        self._page.hub.end()
        self.should_exit = True


def serve(
    folder: Path,
    project: Path | None = None,
    *,
    port: int = 0,
    phone: bool = False,
    browser: bool = True,
    profiles: Path | None = None,
    lenses: Path,
    say: Callable[[str], None] = print,
) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    folder : Path
        Whose projects are shown.
    project : Path, optional
        The one project that is shown instead.
    port : int
        0 takes a free one.
    phone : bool
        Whether to listen on the local network too.
    browser : bool
        Whether to open a browser.
    profiles : Path, optional
        File of lens profiles.
    lenses : Path
        File that a profile made on the page is kept in.
    say : callable
        Prints a line.

    Raises
    ------
    PageError
        If it cannot listen there.
    """
    sockets = [_listen(HERE, port)]
    port = int(sockets[0].getsockname()[1])
    hosts = [f"{HERE}:{port}", f"localhost:{port}"]
    near = own_address() if phone else None
    if near is not None:
        sockets.append(_listen(near, port))
        hosts.append(f"{near}:{port}")
    page = Page(Shelf(folder, project), profiles, lenses=lenses)
    guard = Guard(page.app, hosts, port)
    address = f"http://{HERE}:{port}/?key={guard.key}"
    say(f"The page is at {address}")
    if near is not None:
        page.phone = f"http://{near}:{port}/?key={guard.key}"
        say(f"For the phone, on the same Wi-Fi: {page.phone}")
        if sys.stdout.isatty():
            segno.make(page.phone, error="m").terminal(compact=True)
    elif phone:
        say("This computer is in no network, so a phone cannot reach it.")
    say("Ctrl-C ends it. Whoever has the address can change the projects: keep it to yourself.")
    config = uvicorn.Config(
        guard,
        http=_Patient,
        ws="none",
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=False,
        lifespan="on",
        limit_concurrency=CONNECTIONS,
        timeout_graceful_shutdown=1,
        h11_max_incomplete_event_size=16 * 2**10,
    )
    server = _Server(config, page)
    if browser:
        _open_soon(server, address)
    server.run(sockets=sockets)


def own_address() -> str | None:
    """This computer's address in the local network, or None; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737); UDP: no packet
            address = str(probe.getsockname()[0])
        except OSError:
            return None
    return None if address.startswith("127.") or address == "0.0.0.0" else address


def _listen(host: str, port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
    except OSError as e:
        listening.close()
        raise PageError(
            f"The page cannot be served at {host}:{port} ({e.strerror}).",
            "Choose another --port, or leave it out.",
        ) from e
    return listening


def _open_soon(server: _Server, address: str) -> None:
    """Open the browser once the server answers."""

    async def opening() -> None:
        while not server.started:
            await asyncio.sleep(0.05)
        await asyncio.to_thread(webbrowser.open, address)

    original = server.startup

    async def startup(sockets: Sequence[socket.socket] | None = None) -> None:
        server.opening = asyncio.ensure_future(opening())  # type: ignore[attr-defined]
        await original(sockets=list(sockets or ()))

    server.startup = startup  # type: ignore[method-assign]
