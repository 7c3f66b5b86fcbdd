"""Nobody else gets in: the key, the cookie, Host and Origin, and what a browser may load."""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Iterable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

REFUSAL = "Nothing is shown here. Open the address that blockcheck printed when it was started.\n"
LINGER_S = 1.0  # how long what is left of a refused body is read, and thrown away
_SAFE = ("GET", "HEAD")
# everything comes from this server; what a template did not write into a file does not run
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": POLICY,
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
}
# a cookie set on the way is not sent along when another site led here: the page opens itself
_ENTRY = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>blockcheck</title>
<link rel="icon" href="data:,">
<meta http-equiv="refresh" content="0;url={to}"></head>
<body><p><a href="{to}">Open blockcheck</a></p></body></html>"""


class Guard:
    """Middleware in front of everything.

    Parameters
    ----------
    app : ASGIApp
    hosts : iterable of str
        The ``host:port`` it listens on; a name that another page has bound to this machine's
        address (DNS rebinding) is none of them.
    port : int
        Cookies do not tell ports apart, so that the cookie's name does.
    """

    def __init__(self, app: ASGIApp, hosts: Iterable[str], port: int) -> None:
        self.app = app
        self.hosts = frozenset(hosts)
        self.key = secrets.token_urlsafe(24)
        self._cookie = f"blockcheck-{port}"
        self._token = secrets.token_urlsafe(24)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # the page has no other kind of connection
            await send({"type": "websocket.close"})
            return
        headers = Headers(scope=scope)
        query = parse_qs(scope["query_string"].decode("latin-1"))
        body = _Body(receive)
        answer = _answering(send, body)
        if not self._from_here(headers, scope["method"]):
            await _refusal()(scope, body.receive, answer)
        elif self._known(headers):
            await self.app(scope, body.receive, answer)
        elif scope["method"] == "GET" and _same(query.get("key", [""])[0], self.key):
            await self._enter(scope)(scope, body.receive, answer)
        else:
            await _refusal()(scope, body.receive, answer)

    def _from_here(self, headers: Headers, method: str) -> bool:
        """Whether it is asked for by a name of this server, and not by another site's page."""
        host, origin = headers.get("host", ""), headers.get("origin")
        if host not in self.hosts or len(headers.getlist("host")) != 1:
            return False
        if origin is not None:
            return origin == f"http://{host}"
        site = headers.get("sec-fetch-site", "none")
        return method in _SAFE or site == "same-origin"

    def _known(self, headers: Headers) -> bool:
        try:
            cookies = SimpleCookie(headers.get("cookie", ""))
        except CookieError:
            return False
        found = cookies.get(self._cookie)
        return found is not None and _same(found.value, self._token)

    def _enter(self, scope: Scope) -> Response:
        to = scope["path"] if scope["path"].startswith("/p/") else "/"
        to = "".join(
            c if c.isalnum() or c in "/-_." else f"%{ord(c):02X}" for c in to if ord(c) < 128
        )
        response = HTMLResponse(_ENTRY.format(to="/" + to.lstrip("/")))
        response.set_cookie(self._cookie, self._token, httponly=True, samesite="strict")
        return response


def _refusal() -> Response:
    # the connection ends, so that a body that never ends is not waited for
    return PlainTextResponse(REFUSAL, 403, {"connection": "close"})


class _Body:
    """A request's body on its way, which knows whether there is more of it."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._more = True

    async def receive(self) -> Message:
        message = await self._receive()
        self._more = message.get("more_body", False)
        return message

    async def linger(self) -> None:
        """Read on for a moment: closed upon bytes unread, a connection loses the answer too (RFC 9112, 9.6)."""
        try:
            async with asyncio.timeout(LINGER_S):
                while self._more:
                    await self.receive()
        except TimeoutError:
            pass


def _same(given: str, wanted: str) -> bool:
    return secrets.compare_digest(given.encode("utf-8", "replace"), wanted.encode())


def _answering(send: Send, body: _Body) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("cache-control", "no-store")
            if headers.get("connection") == "close":
                await body.linger()
        await send(message)

    return sending
