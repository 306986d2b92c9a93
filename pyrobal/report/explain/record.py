"""Every call of the package while something is computed: who called, from where, with what, to what end."""

from __future__ import annotations

import inspect
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from types import CodeType, FrameType
from typing import Any, Final

Position = tuple[int | None, int | None, int | None, int | None]  # line, end line, column, end column

_HOME: Final = str(Path(__file__).parents[2])
_OWN: Final = tuple(str(Path(__file__).parents[2] / x) for x in ("report", "trace"))  # these compute nothing
_INLINE: Final = ("<genexpr>", "<listcomp>", "<dictcomp>", "<setcomp>")
_SOLVERS: Final = "pyrobal.numerics"
_SHARED: Final = (type(None), bool, int, float, str)  # values whose identity says nothing of their origin


@dataclass(eq=False, repr=False)
class Call:
    """One call.

    site : position of the call in the caller's source
    names : its local variables when it returned; ended : position of the return
    calls : what it called, in order
    """

    code: CodeType
    globals: dict[str, Any]
    caller: Call | None
    site: Position | None
    names: dict[str, Any] = field(default_factory=dict)
    value: Any = None
    ended: Position | None = None
    calls: list[Call] = field(default_factory=list)
    finished: int = 0  # its place in the order of returns
    closed: bool = False  # what it called was not written down
    _sites: dict[Position | None, list[Call]] = field(default_factory=dict)

    @property
    def solves(self) -> bool:
        """Whether it seeks something by iteration; its rounds are not told one by one."""
        return self.closed or self.module.startswith(_SOLVERS)

    @property
    def module(self) -> str:
        """Dotted name of the module."""
        return str(self.globals.get("__name__", ""))

    def at(self, position: Position | None) -> list[Call]:
        """The calls it made at a place in its source: several within a loop."""
        if not self._sites and self.calls:
            for call in self.calls:
                self._sites.setdefault(call.site, []).append(call)
        return self._sites.get(position, [])

    def turn(self) -> tuple[int, int]:
        """Which of the calls made from its place this was, and of how many: in a loop there are several."""
        made = self.caller.at(self.site) if self.caller is not None else [self]
        return next((i for i, call in enumerate(made) if call.finished == self.finished), 0), len(made)

    def walk(self) -> Iterator[Call]:
        """This call and every one below it."""
        yield self
        for call in self.calls:
            yield from call.walk()


class Record:
    """What was called, and which call made a value.

    The values are kept, so that no identity is used twice.
    closed : a function whose inside is not written down, only that it was called and what came of it
    """

    def __init__(self, closed: CodeType | None = None) -> None:
        self._closed = closed
        self.tops: list[Call] = []
        self._open: dict[FrameType, Call] = {}
        self._paused: dict[FrameType, Call] = {}  # generators between two values
        self._made: dict[int, Call] = {}
        self._returns = 0
        self._sources: dict[int, _Source] = {}  # by identity: a code object is slow to hash

    def maker(self, value: Any) -> Call | None:
        """The innermost call that returned this very object."""
        return None if isinstance(value, _SHARED) else self._made.get(id(value))

    def hear(self, frame: FrameType, event: str, value: Any) -> None:
        """A profile function of the interpreter."""
        if event == "call":
            if self._source(frame.f_code).told:
                self._begin(frame)
                if frame.f_code is self._closed:
                    sys.setprofile(partial(self._wait, frame))
        elif event == "return" and (call := self._open.pop(frame, None)) is not None:
            call.names, call.value = dict(frame.f_locals), value
            call.ended = self._position(frame)
            self._returns += 1
            call.finished = self._returns
            if not isinstance(value, _SHARED):
                self._made.setdefault(id(value), call)

    def _wait(self, closed: FrameType, frame: FrameType, event: str, value: Any) -> None:
        """Hear nothing until a closed function returns."""
        if frame is closed and event == "return":
            self.hear(frame, event, value)
            sys.setprofile(self.hear)

    def _begin(self, frame: FrameType) -> None:
        back = frame.f_back
        while back is not None and not self._source(back.f_code).ours:
            back = back.f_back
        site = self._position(back) if back is not None else None
        while back is not None and back not in self._open:
            back = _around(back)
        caller = self._open[back] if back is not None else None
        call = self._paused.get(frame)
        if call is None:
            call = Call(frame.f_code, frame.f_globals, caller, site, closed=frame.f_code is self._closed)
            (caller.calls if caller is not None else self.tops).append(call)
        if frame.f_code.co_flags & inspect.CO_GENERATOR:
            self._paused[frame] = call
        self._open[frame] = call

    def _position(self, frame: FrameType) -> Position | None:
        positions, at = self._source(frame.f_code).positions, frame.f_lasti // 2
        return positions[at] if 0 <= at < len(positions) else None

    def _source(self, code: CodeType) -> _Source:
        if (found := self._sources.get(id(code))) is None:
            found = self._sources[id(code)] = _Source(code)
        return found


class _Source:
    """What has to be known of a code object time and again.

    ours : of the package; told : a function of it: comprehensions count as part of the one they stand in
    """

    def __init__(self, code: CodeType) -> None:
        self.code = code
        self.ours = code.co_filename.startswith(_HOME) and not code.co_filename.startswith(_OWN)
        self.told = self.ours and code.co_name not in _INLINE
        self.positions: tuple[Position, ...] = tuple(code.co_positions()) if self.ours else ()


@contextmanager
def recording(record: Record) -> Iterator[None]:
    """Write down every call made within."""
    before = sys.getprofile()
    sys.setprofile(record.hear)
    try:
        yield
    finally:
        sys.setprofile(before if callable(before) else None)  # a profiler in C cannot be called back


def _around(frame: FrameType) -> FrameType | None:
    """The frame a comprehension is written in, which need not be the one that asks it for a value."""
    back, code = frame.f_back, frame.f_code
    if code.co_name in _INLINE:
        home = back
        while home is not None and code not in home.f_code.co_consts:
            home = home.f_back
        return home or back
    return back
