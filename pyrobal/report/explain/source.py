"""Where an operation stands in the source: its expression, who holds it, and the name it is bound to."""

from __future__ import annotations

import ast
import bisect
import dataclasses
import inspect
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from types import CodeType
from typing import Any, Final

import numpy as np

import pyrobal
from pyrobal.report.explain import words
from pyrobal.thermo.solutions import Correlation
from pyrobal.trace.graph import Place

_HOME: Final = Path(pyrobal.__file__).parent
_REFERENCES: Final = re.compile(r"(?:^|\n)\s*References?\s*:?\s*\n?(?P<text>.+)", re.DOTALL)
_SAID: Final = re.compile(r"(?P<names>[A-Za-z]\w*(?:, [A-Za-z]\w*)*) : (?P<said>.*)")
_SHAPE: Final = re.compile(r"^\([^)]*\)[,;:]?\s*|\[[^\]]*\]\s*")

Extent = tuple[int, int, int, int]  # first line and column, last line and column


@dataclass(frozen=True)
class _Index:
    """A definition. at : extent -> expressions of just that; holders : id of a node -> what holds it"""

    at: dict[Extent, list[ast.AST]]
    holders: dict[int, ast.AST]


@cache
def _module(file: str) -> ast.Module:
    return ast.parse(Path(file).read_text(encoding="utf-8"))


@cache
def _index(file: str, line: int) -> _Index:
    """Of the function or class of a module that begins at a line."""
    top = next(n for n in _module(file).body if _first(n) == line)
    at: dict[Extent, list[ast.AST]] = {}
    holders: dict[int, ast.AST] = {}
    for node in ast.walk(top):
        for part in ast.iter_child_nodes(node):
            holders[id(part)] = node
        if isinstance(node, ast.expr | ast.AugAssign):
            at.setdefault(_extent(node), []).append(node)
    return _Index(at, holders)


@cache
def _tops(file: str) -> list[int]:
    """The lines at which what stands at the left of a module begins, decorators included."""
    return [_first(n) for n in _module(file).body]


def _first(node: ast.stmt) -> int:
    return min([node.lineno, *(d.lineno for d in getattr(node, "decorator_list", ()))])


def _extent(node: Any) -> Extent:
    return node.lineno, node.col_offset, node.end_lineno, node.end_col_offset


@cache
def _positions(code: CodeType) -> list[tuple[int | None, ...]]:
    return list(code.co_positions())


@dataclass(frozen=True)
class Spot:
    """One operation in the source. extent : of its expression"""

    code: CodeType
    extent: Extent

    def holds(self, other: Spot | None) -> bool:
        """Whether the other is a part of this expression."""
        if other is None or other.code.co_filename != self.code.co_filename or other.extent == self.extent:
            return False
        a, b = self.extent, other.extent
        return a[:2] <= b[:2] and b[2:] <= a[2:]

    @property
    def _index(self) -> _Index:
        tops = _tops(self.code.co_filename)
        return _index(self.code.co_filename, tops[bisect.bisect_right(tops, self.extent[0]) - 1])

    @cached_property
    def expression(self) -> ast.AST | None:
        found = self._index.at.get(self.extent, [])
        return next((n for n in found if not isinstance(n, ast.Starred)), None)

    def operand(self, k: int) -> ast.AST | None:
        """The expression of an operand."""
        match self.expression:
            case ast.BinOp(left=left, right=right):
                return (left, right)[k] if k < 2 else None
            case ast.AugAssign(target=target, value=value):
                return (target, value)[k] if k < 2 else None
            case ast.UnaryOp(operand=operand):
                return operand
            case ast.Subscript(value=base):
                return base
            case ast.Call(func=ast.Attribute(value=ast.Name(id="np")), args=args):
                return args[k] if k < len(args) else None
            case ast.Call(func=ast.Attribute(value=base, attr=name)) if hasattr(np.ndarray, name):
                return base
        return None

    @cached_property
    def name(self) -> str:
        """What the statement calls the value of this expression, "" where it is only a part of it."""
        return self._bound(self.expression)

    def _bound(self, node: ast.AST | None) -> str:
        if isinstance(node, ast.AugAssign):
            return words.of(node.target)
        holders = self._index.holders
        holder = holders.get(id(node))
        match holder:
            case ast.Assign(targets=[target]) | ast.AnnAssign(target=target) | ast.NamedExpr(target=target):
                return words.of(target)
            case ast.Tuple(elts=elts):
                k = next(i for i, e in enumerate(elts) if e is node)
                match holders.get(id(holder)):
                    case ast.Assign(targets=[ast.Tuple(elts=targets)]) if len(targets) == len(elts):
                        return words.of(targets[k])
                return self._bound(holder)
            case ast.keyword(arg=str(name)):
                return words.plain(name)
            case ast.Call(func=ast.Name(id=name), args=args) if node in args:
                return self._field(name, args.index(node))
            case ast.Dict(keys=keys, values=values) if node in values:
                key = keys[values.index(node)]
                return words.plain(key.value) if isinstance(key, ast.Constant) else ""
            case ast.IfExp() | ast.DictComp() | ast.Starred():
                return self._bound(holder)
            case ast.Return():
                return words.plain(self.function)
        return ""

    def _field(self, name: str, k: int) -> str:
        """The field of a class that an argument becomes."""
        kind = getattr(self._loaded, name, None)
        if isinstance(kind, type):
            fields = [f.name for f in dataclasses.fields(kind)] if dataclasses.is_dataclass(kind) else []
            fields = fields or list(getattr(kind, "_fields", ()))
            return words.plain(fields[k]) if k < len(fields) else ""
        return ""

    @property
    def _loaded(self) -> Any:
        return _imported(self.code.co_filename)

    @property
    def function(self) -> str:
        """The function it stands in."""
        parts = [p for p in self.code.co_qualname.split(".") if not p.startswith("<")]
        return parts[-1] if parts else ""

    @property
    def place(self) -> str:
        """File and function."""
        file = Path(self.code.co_filename).relative_to(_HOME).as_posix()
        return f"{file}: {self.function}" if self.function else file

    def said(self, name: str) -> str:
        """What the documentation of the function says of a name."""
        return _of_names(self._documentation).get(name.replace(" ", "_"), "")

    @property
    def _documentation(self) -> str:
        first = self.code.co_consts[0] if self.code.co_consts else None
        return inspect.cleandoc(first) if isinstance(first, str) else ""

    def references(self) -> Iterator[str]:
        """Published sources of the equation: those its documentation names, or those of its correlation."""
        match = _REFERENCES.search(self._documentation)
        if match:
            yield " ".join(match["text"].split())
        for value in vars(self._loaded).values() if self._loaded is not None else ():
            if isinstance(value, Correlation) and self.function.startswith(value.name):
                seen = "as read in the source" if value.seen else "coefficients from memory"
                yield f"{value.source} ({seen})"


@cache
def _imported(file: str) -> Any:
    """The module of a file whose code has run."""
    return next((m for m in list(sys.modules.values()) if getattr(m, "__file__", None) == file), None)


@cache
def _of_names(documentation: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for line in documentation.splitlines():
        for part in line.split("; "):
            if match := _SAID.fullmatch(part.strip()):
                said = _SHAPE.sub("", match["said"]).strip(" :,")
                found |= dict.fromkeys(match["names"].split(", "), said)
    return found


@cache
def spot(place: Place) -> Spot | None:
    """Of a place in the trace."""
    if place is None:
        return None
    code, instruction = place
    first, last, column, end = _positions(code)[instruction // 2]
    if first is None or last is None or column is None or end is None:
        return None
    return Spot(code, (first, column, last, end))
