"""Every call of the package while something is computed: who called, from where, with what, to what end."""

from __future__ import annotations

import inspect
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import CodeType, FrameType
from typing import Any, Final

Position = tuple[int | None, int | None, int | None, int | None]  # line, end line, column, end column

_HOME: Final = str(Path(__file__).parents[2])
_OWN: Final = str(Path(__file__).parents[1])  # the report computes nothing
_INLINE: Final = ("<genexpr>", "<listcomp>", "<dictcomp>", "<setcomp>")
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

    @property
    def module(self) -> str:
        """Dotted name of the module."""
        return str(self.globals.get("__name__", ""))

    def at(self, position: Position) -> list[Call]:
        """The calls it made at a place in its source: several within a loop."""
        return [call for call in self.calls if call.site == position]

    def walk(self) -> Iterator[Call]:
        """This call and every one below it."""
        yield self
        for call in self.calls:
            yield from call.walk()


class Record:
    """What was called, and which call made a value.

    The values are kept, so that no identity is used twice.
    """

    def __init__(self) -> None:
        self.tops: list[Call] = []
        self._open: dict[FrameType, Call] = {}
        self._paused: dict[FrameType, Call] = {}  # generators between two values
        self._made: dict[int, Call] = {}
        self._returns = 0

    def maker(self, value: Any) -> Call | None:
        """The innermost call that returned this very object."""
        return None if isinstance(value, _SHARED) else self._made.get(id(value))

    def hear(self, frame: FrameType, event: str, value: Any) -> None:
        """A profile function of the interpreter."""
        if event == "call" and _told(frame.f_code):
            self._begin(frame)
        elif event == "return" and frame in self._open:
            call = self._open.pop(frame)
            call.names, call.value = dict(frame.f_locals), value
            call.ended = _position(frame)
            self._returns += 1
            call.finished = self._returns
            if not isinstance(value, _SHARED):
                self._made.setdefault(id(value), call)

    def _begin(self, frame: FrameType) -> None:
        back = frame.f_back
        while back is not None and not _ours(back.f_code):
            back = back.f_back
        site = _position(back) if back is not None else None
        while back is not None and back not in self._open:
            back = back.f_back
        caller = self._open[back] if back is not None else None
        call = self._paused.get(frame)
        if call is None:
            call = Call(frame.f_code, frame.f_globals, caller, site)
            (caller.calls if caller is not None else self.tops).append(call)
        if frame.f_code.co_flags & inspect.CO_GENERATOR:
            self._paused[frame] = call
        self._open[frame] = call


@contextmanager
def recording(record: Record) -> Iterator[None]:
    """Write down every call made within."""
    before = sys.getprofile()
    sys.setprofile(record.hear)
    try:
        yield
    finally:
        sys.setprofile(before if callable(before) else None)  # a profiler in C cannot be called back


@cache
def _ours(code: CodeType) -> bool:
    return code.co_filename.startswith(_HOME) and not code.co_filename.startswith(_OWN)


@cache
def _told(code: CodeType) -> bool:
    """Functions of the package; comprehensions count as part of the function they stand in."""
    return _ours(code) and code.co_name not in _INLINE


def _position(frame: FrameType) -> Position | None:
    positions = _positions(frame.f_code)
    at = frame.f_lasti // 2
    return positions[at] if 0 <= at < len(positions) else None


@cache
def _positions(code: CodeType) -> tuple[Position, ...]:
    return tuple(code.co_positions())
