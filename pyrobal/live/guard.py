"""Who is let in: the browser of the person who started it, from the page itself, and nobody else.

The address holds a token of 32 random bytes, which is told on the terminal only; whoever does not know it
is told nothing. A page of elsewhere in the same browser cannot read an answer (no header allows it) nor send
a question: that takes our own Origin and a JSON content type. The Host must be ours, so that no name that a
stranger points at this machine leads here.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from typing import Any, Final

from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

HOSTS: Final = ("127.0.0.1", "localhost")
MOST_BYTES: Final = 64 * 1024  # of a body
POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS: Final = {
    "Content-Security-Policy": POLICY,
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


def new_token() -> str:
    """32 random bytes, as they stand in an address."""
    return secrets.token_urlsafe(32)


class TooLong(Exception):
    """A body is larger than anything the page asks."""


class Guard:
    """Before the application: lets a request through, or answers it in one word.

    token : what the path begins with; port : ours
    """

    def __init__(self, app: ASGIApp, token: str, port: int) -> None:
        self.app, self._token = app, token.encode()
        self._hosts = {f"{host}:{port}" for host in HOSTS}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        inside = self._inside(scope)
        code = 404 if inside is None else self._refused(scope)
        if inside is None or code:
            await _headed(Response(status_code=code), scope, receive, send)
            return
        scope["state"]["door"].known = True
        within = {**scope, "path": inside, "raw_path": inside.encode()}
        await _headed(self.app, within, _bounded(receive), send)

    def _inside(self, scope: Scope) -> str | None:
        """The path behind the token; None for another Host or token."""
        _, _, rest = scope["path"].partition("/")
        token, slash, path = rest.partition("/")
        known = secrets.compare_digest(token.encode("utf-8", "replace"), self._token)
        hosts = Headers(scope=scope).getlist("host")
        return f"/{path}" if known and slash and len(hosts) == 1 and hosts[0] in self._hosts else None

    def _refused(self, scope: Scope) -> int:
        """The code of what is wrong with a request that knows the token; nought for nothing."""
        headers = Headers(scope=scope)
        own = f"http://{headers['host']}"
        if headers.get("origin", own) != own or (_of_elsewhere(headers) and not _opened(scope, headers)):
            return 403
        if scope["method"] == "GET":
            return 0
        if scope["method"] != "POST":
            return 405
        if headers.get("origin") != own:
            return 403
        if headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
            return 415
        length = headers.get("content-length", "0")
        return 413 if not length.isdecimal() or int(length) > MOST_BYTES else 0


def _of_elsewhere(headers: Headers) -> bool:
    """Whether the browser says that another site asks."""
    return headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none")


def _opened(scope: Scope, headers: Headers) -> bool:
    """Whether a person is going to the page, from the file that leads there or from a link."""
    way = headers.get("sec-fetch-mode"), headers.get("sec-fetch-dest")
    return scope["method"] == "GET" and way == ("navigate", "document")


def _bounded(receive: Receive) -> Receive:
    """The same with an end to how much is read, whatever a header said."""
    total = 0

    async def read() -> Message:
        nonlocal total
        message = await receive()
        total += len(message.get("body", b""))
        if total > MOST_BYTES:
            raise TooLong
        return message

    return read


async def _headed(app: ASGIApp, scope: Scope, receive: Receive, send: Send) -> None:
    """With the headers that every answer carries."""
    added = [(name.lower().encode(), value.encode()) for name, value in HEADERS.items()]

    async def write(message: Message) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*_others(message.get("headers", ())), *added]}
        await send(message)

    await app(scope, receive, write)


def _others(headers: Iterable[Any]) -> Iterable[Any]:
    names = {name.lower().encode() for name in HEADERS}
    return (pair for pair in headers if pair[0].lower() not in names)
