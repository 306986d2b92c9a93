"""The addresses of the page: what is asked at each, and who answers."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable
from concurrent.futures import Executor
from functools import partial
from importlib.resources import files
from typing import Any, Final

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from pyrobal.case.load import Case
from pyrobal.errors import CaseError
from pyrobal.live.answer import answer
from pyrobal.live.asked import Asked, asked
from pyrobal.live.curves import curves, window
from pyrobal.live.described import described
from pyrobal.live.guard import TooLong
from pyrobal.live.laid import Refused, aim_of, state
from pyrobal.live.source import Opened, Source
from pyrobal.live.work import Work
from pyrobal.report.result import Result

Tell = Callable[[Opened, Asked], dict[str, Any]]
Run = Callable[..., Awaitable[Any]]

_KINDS: Final = {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
_LOOK: Final = 0.5  # seconds between two looks at the file, while a page is open
_BEAT: Final = 10.0  # seconds between two signs of life


class Live:
    """One case and its page.

    closing : set when the server is about to stop; streams end then
    """

    def __init__(self, source: Source, work: Work) -> None:
        self.source, self.work = source, work
        self.closing = asyncio.Event()

    def app(self) -> Starlette:
        """Everything that can be asked for."""
        routes = [Route(f"/{name}", partial(_file, *content)) for name, content in page_files().items()]
        routes += [Route("/case", self.case), Route("/changes", self.changes)]
        asks: dict[str, tuple[Tell, Run]] = {
            "answer": (self._answer, self.work.answer),
            "curves": (self._curves, self.work.study),
            "window": (self._window, self.work.study),
        }
        routes += [Route(f"/{n}", partial(self._told, *who), methods=["POST"]) for n, who in asks.items()]
        return Starlette(routes=routes, exception_handlers={TooLong: _too_long})

    async def case(self, request: Request) -> Response:
        """The case, its handles, and all that can be set and read."""
        return _json(await self.work.answer(self._described, _gone(request)))

    async def changes(self, _: Request) -> Response:
        """Server-sent events: one whenever the file changes."""
        return StreamingResponse(self._events(), media_type="text/event-stream")

    async def _told(self, tell: Tell, run: Run, request: Request) -> Response:
        try:
            what = asked(await request.body())
        except ValueError as error:
            return Response(str(error), 400, media_type="text/plain")
        return _json(await run(partial(self._tell, tell, what), _gone(request)))

    def _tell(self, tell: Tell, what: Asked) -> dict[str, Any]:
        """What is told, or why nothing can be."""
        now = self.source.now()
        head = {"number": what.number, "digest": now.digest}
        try:
            return {**head, "ok": True, "errors": {}, "unmet": {}, **tell(now, what)}
        except Refused as refused:
            return {**head, "ok": False, "errors": refused.errors, "unmet": refused.unmet}
        except CaseError as error:
            return {**head, "ok": False, "errors": {"": str(error)}, "unmet": {}}

    def _described(self) -> dict[str, Any]:
        now = self.source.now()
        executor = None if now.case is None else self._executor(now.case)
        return self.work.kept(("case", now.digest), lambda: described(now, self.source.file, executor))

    def _executor(self, case: Case) -> Executor | None:
        """Who solves what is more than one state: furnaces are done at once, whole plants by another."""
        return None if case.inputs.converting is None else self.work.executor()

    def _state(self, now: Opened, what: Asked) -> Result:
        key = ("state", now.digest, tuple(what.changes.items()), what.holds)
        return self.work.kept(key, lambda: state(now, what))

    def _answer(self, now: Opened, what: Asked) -> dict[str, Any]:
        return answer(self._state(now, what), what, self._handles())

    def _curves(self, now: Opened, what: Asked) -> dict[str, Any]:
        result = self._state(now, what)
        return curves(result, what, aim_of(result.case, what.holds), self._executor(result.case))

    def _window(self, now: Opened, what: Asked) -> dict[str, Any]:
        result = self._state(now, what)
        return window(result, what, aim_of(result.case, what.holds), self._executor(result.case))

    def _handles(self) -> list[str]:
        return [handle["key"] for handle in self._described().get("handles", ())]

    async def _events(self) -> AsyncIterator[str]:
        told, quiet = self.source.stamp(), 0.0
        yield ": here\n\n"
        while not self.closing.is_set():
            try:
                await asyncio.wait_for(self.closing.wait(), _LOOK)
            except TimeoutError:
                quiet += _LOOK
            if (stamp := self.source.stamp()) != told:
                told, quiet = stamp, 0.0
                yield "event: case\ndata: changed\n\n"
            elif quiet >= _BEAT:
                quiet = 0.0
                yield ": still here\n\n"


def page_files() -> dict[str, tuple[bytes, str]]:
    """Name -> content and kind of every file of the page; nothing else is ever read for a request."""
    found = {}
    for file in (
        *(files("pyrobal.live") / "page").iterdir(),
        files("pyrobal.report") / "assets" / "report.css",
    ):
        kind = _KINDS.get(f".{file.name.rpartition('.')[2]}")
        if kind is not None:
            found["" if file.name == "live.html" else file.name] = (file.read_bytes(), kind)
    return found


async def _file(content: bytes, kind: str, _: Request) -> Response:
    return Response(content, media_type=kind)


async def _gone(request: Request) -> None:
    """Ends when nobody waits for the answer any more."""
    while (await request.receive())["type"] != "http.disconnect":
        pass


async def _too_long(_: Request, __: Exception) -> Response:
    return Response(status_code=413)


def _json(content: Any) -> Response:
    if content is None:  # nobody is there to read it
        return Response(status_code=503)
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return Response(text.encode("utf-8", "replace"), media_type="application/json")
