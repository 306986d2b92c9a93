"""The addresses of the page: what is asked at each, and who answers."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence
from concurrent.futures import Executor
from functools import partial
from importlib.resources import files
from typing import Any, Final

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from pyrobal.errors import CaseError
from pyrobal.live.answer import Known, answer
from pyrobal.live.asked import Asked, Hold, asked
from pyrobal.live.curves import curves, window
from pyrobal.live.described import described, pinned
from pyrobal.live.guard import TooLong
from pyrobal.live.handles import Reach, reaches
from pyrobal.live.keep import Download, keep
from pyrobal.live.laid import Refused, aim_of, state
from pyrobal.live.moved import moved
from pyrobal.live.source import Opened, Source
from pyrobal.live.tables import explained, tables
from pyrobal.live.work import Work
from pyrobal.report.result import Result

Tell = Callable[[Opened, Asked], dict[str, Any] | Download]
Run = Callable[..., Awaitable[Any]]

_KINDS: Final = {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
_LOOK: Final = 0.5  # seconds between two looks at the file, while a page is open
_BEAT: Final = 10.0  # seconds between two signs of life


class Live:
    """One case and its page.

    closing : set when the server is about to stop; streams end then
    version : counts what the server itself has found out about the case since the page asked
    """

    def __init__(self, source: Source, work: Work) -> None:
        self.source, self.work = source, work
        self.closing = asyncio.Event()
        self.version = 0
        self._before: dict[tuple[Hold, ...], tuple[Result, ...]] = {}
        self._ranks: dict[str, Sequence[Reach] | None] = {}

    def app(self) -> Starlette:
        """Everything that can be asked for."""
        routes = [Route(f"/{name}", partial(_file, *content)) for name, content in page_files().items()]
        routes += [Route("/case", self.case), Route("/changes", self.changes)]
        asks: dict[str, tuple[Tell, Run]] = {
            "answer": (self._answer, self.work.answer),
            "moved": (self._moved, self.work.answer),
            "curves": (self._curves, self.work.study),
            "window": (self._window, self.work.study),
            "keep": (self._keep, self.work.study),
            "tables": (self._tables, self.work.answer),
            "explain": (self._explain, self.work.study),
        }
        routes += [Route(f"/{n}", partial(self._told, *who), methods=["POST"]) for n, who in asks.items()]
        return Starlette(routes=routes, exception_handlers={TooLong: _too_long})

    def prepare(self) -> None:
        """Work out what the page will ask first, while the browser starts."""
        self.work.soon(self._described)

    async def case(self, request: Request) -> Response:
        """The case, its handles, and all that can be set and read."""
        return _response(await self.work.answer(self._described, self._unwanted(request)))

    async def changes(self, _: Request) -> Response:
        """Server-sent events: one whenever the file changes."""
        return StreamingResponse(self._events(), media_type="text/event-stream")

    async def _told(self, tell: Tell, run: Run, request: Request) -> Response:
        try:
            what = asked(await request.body())
        except ValueError as error:
            return Response(str(error), 400, media_type="text/plain")
        return _response(await run(partial(self._tell, tell, what), self._unwanted(request)))

    async def _unwanted(self, request: Request) -> None:
        """Ends when nobody waits for the answer any more."""
        ends = [asyncio.ensure_future(end) for end in (_gone(request), self.closing.wait())]
        try:
            await asyncio.wait(ends, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for end in ends:
                end.cancel()

    def _tell(self, tell: Tell, what: Asked) -> dict[str, Any] | Download:
        """What is told, or why nothing can be."""
        now = self.source.now()
        head = {"number": what.number, "digest": now.digest}
        try:
            told = tell(now, what)
            return told if isinstance(told, Download) else {**head, "ok": True, **_fault(Refused({})), **told}
        except Refused as refused:
            return {**head, "ok": False, **_fault(refused)}
        except CaseError as error:
            return {**head, "ok": False, **_fault(Refused({"": str(error)}))}

    def _described(self) -> dict[str, Any]:
        now = self.source.now()
        result = None if now.case is None else self._state(now, Asked())
        ranked = None if now.case is None else self._ranked(now)
        key = ("case", now.digest, ranked is None)
        return self.work.kept(key, lambda: described(now, self.source.file, result, ranked))

    def _ranked(self, now: Opened) -> Sequence[Reach] | None:
        """The settings by what they do; of a whole plant they are told when they are known."""
        if now.digest not in self._ranks:
            self._ranks = {now.digest: None}  # being worked out
            if self._executor(now) is None:
                self._rank(now)
            else:
                self.work.later(partial(self._rank, now))
        return self._ranks[now.digest]

    def _rank(self, now: Opened) -> None:
        self._ranks = {now.digest: ()}  # where that fails the page has the handles that every case has
        try:
            result = self._state(now, Asked())
            self._ranks = {now.digest: reaches(result, pinned(result), self._executor(now))}
        finally:
            self.version += 1

    def _executor(self, now: Opened) -> Executor | None:
        """Who solves what is more than one state: furnaces are done at once, whole plants by another."""
        return None if now.case is None or now.case.inputs.converting is None else self.work.executor()

    def _state(self, now: Opened, what: Asked) -> Result:
        key = ("state", now.digest, tuple(what.changes.items()), what.holds, what.limits)
        noise = None if what == Asked() else self._noise(now)
        found = self.work.kept(key, lambda: state(now, what, self._before.get(what.holds, ()), noise))
        if what.holds:
            self._before = {what.holds: (*self._before.get(what.holds, ())[-1:], found)}
        return found

    def _noise(self, now: Opened) -> Mapping[str, float] | None:
        """Round-off by unit in the case as the file has it, and so in its neighbours."""
        if now.case is None:
            return None
        return self.work.kept(("noise", now.digest), lambda: self._state(now, Asked()).round_off)

    def _answer(self, now: Opened, what: Asked) -> dict[str, Any]:
        return answer(now, self._state(now, what), what, self._known())

    def _moved(self, now: Opened, what: Asked) -> dict[str, Any]:
        return moved(self._state(now, what.before or Asked()), self._state(now, what))

    def _curves(self, now: Opened, what: Asked) -> dict[str, Any]:
        return self._studied(curves, now, what)

    def _window(self, now: Opened, what: Asked) -> dict[str, Any]:
        return self._studied(window, now, what)

    def _keep(self, now: Opened, what: Asked) -> dict[str, Any] | Download:
        return keep(now, self._state(now, what), what)

    def _tables(self, now: Opened, what: Asked) -> dict[str, Any]:
        return tables(self._state(now, what), what.what)

    def _explain(self, now: Opened, what: Asked) -> dict[str, Any]:
        return explained(self._state(now, what), what.what, self.work.other())

    def _studied(self, work_out: Callable[..., dict[str, Any]], now: Opened, what: Asked) -> dict[str, Any]:
        result = self._state(now, what)
        return work_out(now, result, what, aim_of(result.case, what.holds), self._executor(now))

    def _known(self) -> Known:
        described = self._described()
        key = ("known", described["digest"], described["complete"])
        return self.work.kept(key, lambda: Known.of(described))

    async def _events(self) -> AsyncIterator[str]:
        told, quiet = (self.source.stamp(), self.version), 0.0
        yield ": here\n\n"
        while not self.closing.is_set():
            try:
                await asyncio.wait_for(self.closing.wait(), _LOOK)
            except TimeoutError:
                quiet += _LOOK
            if (now := (self.source.stamp(), self.version)) != told:
                told, quiet = now, 0.0
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
    """Ends when the page has hung up."""
    while (await request.receive())["type"] != "http.disconnect":
        pass


async def _too_long(_: Request, __: Exception) -> Response:
    return Response(status_code=413)


def _fault(refused: Refused) -> dict[str, Any]:
    return {"errors": refused.errors, "unmet": refused.unmet, "limit_errors": refused.limits}


def _response(content: Any) -> Response:
    if content is None:  # nobody is there to read it
        return Response(status_code=503)
    if isinstance(content, Download):
        named = {"Content-Disposition": f'attachment; filename="{content.name}"'}
        return Response(content.content, media_type=content.kind, headers=named)
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return Response(text.encode("utf-8", "replace"), media_type="application/json")
