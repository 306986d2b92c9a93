"""Nodes of the graph, and the trace that is open."""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FrameType
from typing import Any, Final

import numpy as np

Units = Any  # the code of a unit that all elements share, or an array of codes, one for each
Place = tuple[CodeType, int] | None  # code and instruction

_HOME: Final = str(Path(__file__).parents[1])
_OWN: Final = (str(Path(__file__).parent), str(Path(__file__).parents[1] / "arrays.py"))


@dataclass(eq=False, repr=False, slots=True)
class Leaf:
    """Where a number comes from that no operation made.

    kind : "setting", "table", "formula" (atoms of a substance), "number" or "unknown" (of equations solved)
    name : key of a setting, name of a table or constant; labels : of its elements, or of its rows
    source : of a table or constant
    """

    kind: str
    name: str
    labels: tuple[str, ...] = ()
    source: str = ""


@dataclass(eq=False, repr=False, slots=True)
class Solution:
    """How an unknown was found. residual : largest, of the equations at the root."""

    method: str
    residual: float


@dataclass(eq=False, repr=False, slots=True)
class Node:
    """An array and how it was made.

    rule : how elements of the operands become elements of the value, see ``rules``; None of a leaf
    function : the ufunc or function of numpy; arguments, options : what it was called with, a Node where that
        was a traced array
    operands : the nodes, constants and numbers that its elements were made of
    value : what came of it, never written to afterwards; units : see ``Units``
    place : the operation in the source
    origin : a ``Leaf``, or of a solved value its ``Solution``
    index : nodes made later have larger ones
    """

    rule: Any
    function: Callable[..., Any] | None
    operands: tuple[Any, ...]
    value: Any
    units: Units
    place: Place
    index: int
    arguments: tuple[Any, ...] = ()
    options: dict[str, Any] | None = None
    origin: Leaf | Solution | None = None

    def nodes(self) -> Iterator[Node]:
        """The operands that are nodes."""
        return (operand for operand in self.operands if type(operand) is Node)


@dataclass(eq=False)
class Complaint:
    """An operation whose operands' units do not fit, or by which history is lost."""

    what: str
    place: Place

    def __str__(self) -> str:
        return f"{where(self.place)}: {self.what}"


class Trace:
    """What is written down while it is open; one at a time.

    complaints : see ``Complaint``; kept : what ``remembered`` functions have made in it
    """

    def __init__(self) -> None:
        self.complaints: list[Complaint] = []
        self.kept: dict[Any, Any] = {}
        self.count = 0

    def node(
        self,
        rule: Any,
        function: Any,
        operands: tuple[Any, ...],
        value: Any,
        units: Units,
        arguments: tuple[Any, ...] = (),
        options: dict[str, Any] | None = None,
        origin: Leaf | Solution | None = None,
    ) -> Node:
        """A new node, of the operation that the package is at."""
        self.count = index = self.count + 1
        return Node(rule, function, operands, value, units, here(), index, arguments, options, origin)

    def complain(self, what: str) -> None:
        """Note what is wrong with the operation that the package is at."""
        self.complaints.append(Complaint(what, here()))


class _State:
    """The trace that is open and not paused, None where there is none."""

    __slots__ = ("trace",)

    def __init__(self) -> None:
        self.trace: Trace | None = None


STATE: Final = _State()


def current() -> Trace | None:
    """The trace that is open and not paused."""
    return STATE.trace


@contextmanager
def tracing(trace: Trace) -> Iterator[Trace]:
    """Write down every operation on traced arrays.

    A trace keeps whatever it makes, so that the collector of garbage would go through it in vain: it waits,
    and then counts what was made as old.
    """
    collected, frozen = gc.isenabled(), gc.get_freeze_count()
    gc.disable()
    try:
        with _set(trace):
            yield trace
    finally:
        if not frozen:
            gc.freeze()
            gc.unfreeze()
        if collected:
            gc.enable()


@contextmanager
def paused() -> Iterator[None]:
    """Work on plain numbers: a search whose rounds nobody asks for."""
    with _set(None):
        yield


@contextmanager
def _set(trace: Trace | None) -> Iterator[None]:
    before, STATE.trace = STATE.trace, trace
    try:
        yield
    finally:
        STATE.trace = before


class _Ours(dict[str, bool]):
    """Whether a file holds equations of the package."""

    def __missing__(self, file: str) -> bool:
        found = self[file] = file.startswith(_HOME) and not file.startswith(_OWN)
        return found


_ours: Final = _Ours()


def here() -> Place:
    """The operation of the package that is being done."""
    frame: FrameType | None = sys._getframe(3)
    while frame is not None:
        code = frame.f_code
        if _ours[code.co_filename]:
            return code, frame.f_lasti
        frame = frame.f_back
    return None


def where(place: Place) -> str:
    """File and line."""
    if place is None:
        return "outside the package"
    code, instruction = place
    line = next(
        (p[0] for i, p in enumerate(code.co_positions()) if i == instruction // 2), code.co_firstlineno
    )
    return f"{Path(code.co_filename).relative_to(_HOME)}:{line} {code.co_qualname}"


def number(value: Any) -> np.ndarray[Any, Any]:
    """The value of an operand, a node, a constant or a number."""
    return value.value if type(value) is Node else np.asarray(value)
