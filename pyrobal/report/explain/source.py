"""The source of what was called: its expressions, who assigns a name, the units its documentation states."""

from __future__ import annotations

import ast
import copy
import dataclasses
import inspect
import re
from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import CodeType
from typing import Any, Final, TypeVar, cast

from pyrobal.report.explain.record import Position

Function = ast.FunctionDef | ast.Lambda
_UNIT: Final = re.compile(r"\[([^\]\n]{1,20})\]")
_COMMON: Final = re.compile(r"\[([^\]]+)\] unless said otherwise")
_COUNTING: Final = ("len", "range", "isinstance", "type", "enumerate")  # of shapes, not of quantities
_ADDING: Final = ("append", "extend", "update", "insert")  # what makes a collection larger
_REFERENCES: Final = re.compile(r"(?:^|\n)\s*References?\s*:?\s*\n?(?P<text>.+)", re.DOTALL)


@cache
def _module(file: str) -> tuple[ast.Module, tuple[str, ...]]:
    text = Path(file).read_text(encoding="utf-8")
    return ast.parse(text), tuple(text.splitlines())


def position(node: ast.expr | ast.stmt) -> Position:
    """Where a node stands, as code objects say it."""
    return (node.lineno, node.end_lineno, node.col_offset, node.end_col_offset)


@cache
def function(code: CodeType) -> Function | None:
    """The definition or lambda a code object was made from."""
    tree, _ = _module(code.co_filename)
    if code.co_name != "<lambda>":
        defined = (n for n in nodes(tree) if isinstance(n, ast.FunctionDef) and n.name == code.co_name)
        return next((n for n in defined if _first_line(n) == code.co_firstlineno), None)
    places = {p for p in code.co_positions() if None not in p}
    made = (n for n in nodes(tree) if isinstance(n, ast.Lambda) and n.lineno == code.co_firstlineno)
    return next((n for n in made if position(n.body) in places), None)


def _first_line(node: ast.FunctionDef) -> int:
    return min([node.lineno, *(d.lineno for d in node.decorator_list)])


@cache
def nodes(root: ast.AST) -> tuple[ast.AST, ...]:
    """A node and everything within it."""
    return tuple(ast.walk(root))


@cache
def calls(node: Function) -> dict[Position, ast.Call]:
    """The calls of a function by their place; of a generator, also by that of what it yields from."""
    found: dict[Position, ast.Call] = {}
    for n in nodes(node):
        if isinstance(n, ast.Call):
            found[position(n)] = n
        elif isinstance(n, ast.YieldFrom) and isinstance(n.value, ast.Call):
            found[position(n)] = n.value
    return found


@cache
def text(node: ast.expr) -> str:
    """An expression as written, spaces aside."""
    return ast.unparse(node)


@cache
def result(node: Function, ended: Position | None) -> ast.expr | None:
    """The expression that was returned."""
    if isinstance(node, ast.Lambda):
        return node.body
    returns = [n for n in nodes(node) if isinstance(n, ast.Return) and n.value is not None]
    line = ended[0] if ended else None
    here = [n for n in returns if line is not None and n.lineno <= line <= (n.end_lineno or n.lineno)]
    found = here or returns[-1:]
    return found[0].value if found else None


@dataclass(frozen=True)
class Binding:
    """A statement that sets a name, as a whole or in part, and to what."""

    line: int
    end: int
    value: ast.expr
    whole: bool


@cache
def bindings(node: Function, name: str) -> tuple[Binding, ...]:
    """Every statement of a function that sets a name, from the top."""
    found = [b for statement in nodes(node) for b in _binds(statement, name)]
    return tuple(sorted(found, key=lambda b: b.line))


def assigned(node: Function, name: str, before: int) -> tuple[ast.expr, ...]:
    """What a name is set to above a line: its last plain assignment, then what changes parts of it."""
    above = [b for b in bindings(node, name) if b.end < before]
    since = max((i for i, b in enumerate(above) if b.whole), default=0)
    return tuple(b.value for b in above[since:])


def set_again(node: Function, name: ast.Name) -> bool:
    """Whether a name is set anew where it is used or below, so that it ends as something else."""
    return any(b.whole and b.end >= name.lineno for b in bindings(node, name.id))


def _binds(statement: ast.AST, name: str) -> Iterator[Binding]:
    match statement:
        case ast.Assign(targets=targets, value=value):
            for target in targets:
                yield from _bound_by(target, value, statement, name)
        case ast.AnnAssign(target=target, value=ast.expr() as value):
            yield from _bound_by(target, value, statement, name)
        case ast.Expr(value=ast.Call(func=ast.Attribute(value=base, attr=str(word)), args=args)):
            if word in _ADDING and name in _base(base):
                yield from (_binding(cast(ast.stmt, statement), part, False) for part in args)
        case ast.AugAssign(target=ast.Name(id=str(set_)) as target, op=op, value=value) if set_ == name:
            sum_ = ast.copy_location(ast.BinOp(target, op, value), statement)
            yield _binding(statement, sum_, True)
        case ast.AugAssign(target=target, value=value) if name in _base(target):
            yield _binding(statement, value, False)


def _bound_by(target: ast.expr, value: ast.expr, statement: ast.stmt, name: str) -> Iterator[Binding]:
    if _is(target, name):
        yield _binding(statement, value, True)
    elif isinstance(target, ast.Tuple):
        where = next((i for i, part in enumerate(target.elts) if _is(part, name)), None)
        if where is not None:
            alike = isinstance(value, ast.Tuple) and len(value.elts) == len(target.elts)
            part = value.elts[where] if isinstance(value, ast.Tuple) and alike else item(value, where)
            yield _binding(statement, part, True)
    elif isinstance(target, ast.Subscript) and name in _base(target):
        yield _binding(statement, value, False)


def _binding(statement: ast.stmt, value: ast.expr, whole: bool) -> Binding:
    return Binding(statement.lineno, statement.end_lineno or statement.lineno, value, whole)


@cache
def item(node: ast.expr, index: int | str) -> ast.Subscript:
    """One of several values, written as the source does not: its place is nowhere in the file."""
    made = ast.Subscript(node, ast.Constant(index), ast.Load())
    return _nowhere(made)


@cache
def member(node: ast.expr, name: str) -> ast.Attribute:
    """A field of an object, written as the source does not."""
    return _nowhere(ast.Attribute(node, name, ast.Load()))


_Made = TypeVar("_Made", bound=ast.expr)


def _nowhere(node: _Made) -> _Made:
    for part in ast.walk(node):
        if isinstance(part, ast.expr) and not hasattr(part, "lineno"):
            part.lineno = part.end_lineno = 0
            part.col_offset = part.end_col_offset = id(part)
    return node


@cache
def elementwise(call: ast.Call, field: str) -> ast.expr | None:
    """What one field is in ``Class(*(f(a, b) for a, b in zip(x, y)))``: f(x.field, y.field)."""
    if len(call.args) != 1 or not isinstance(call.args[0], ast.Starred):
        return None
    made = call.args[0].value
    if not isinstance(made, ast.GeneratorExp) or len(made.generators) != 1:
        return None
    target, over = made.generators[0].target, made.generators[0].iter
    zipped = isinstance(over, ast.Call) and isinstance(over.func, ast.Name) and over.func.id == "zip"
    if not (isinstance(target, ast.Tuple) and isinstance(over, ast.Call) and zipped):
        return None
    names = {t.id: x for t, x in zip(target.elts, over.args, strict=True) if isinstance(t, ast.Name)}
    changed: ast.expr = _Fields(names, field).visit(copy.deepcopy(made.elt))
    return changed


class _Fields(ast.NodeTransformer):
    def __init__(self, names: dict[str, ast.expr], field: str) -> None:
        self.names, self.field = names, field

    def visit_Name(self, node: ast.Name) -> ast.expr:
        return member(self.names[node.id], self.field) if node.id in self.names else node


def _names(target: ast.expr) -> set[str]:
    return {n.id for n in ast.walk(target) if isinstance(n, ast.Name)}


def _is(node: ast.expr, name: str) -> bool:
    return isinstance(node, ast.Name) and node.id == name


def _base(node: ast.expr) -> tuple[str, ...]:
    while isinstance(node, ast.Subscript):
        node = node.value
    return (node.id,) if isinstance(node, ast.Name) else ()


def parameters(node: Function) -> list[str]:
    """Names of the parameters in order."""
    return [a.arg for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]


def argument(call: ast.Call, names: list[str], name: str) -> ast.expr | None:
    """What a call gives for one of the parameters ``names``; None for a default or a starred list."""
    for keyword in call.keywords:
        if keyword.arg == name:
            return keyword.value
    place = names.index(name)
    before = call.args[: place + 1]
    if place >= len(call.args) or any(isinstance(a, ast.Starred) for a in before):
        return None
    return call.args[place]


def words(text: str | None) -> str:
    """The first paragraph of a documentation, on one line."""
    return " ".join((text or "").strip().split("\n\n")[0].split())


def references(text: str | None) -> str:
    """What a documentation names as its published source."""
    match = _REFERENCES.search(text or "")
    return " ".join(match["text"].split()) if match else ""


def unit(text: str | None) -> str:
    """The first unit in square brackets."""
    match = _UNIT.search(text or "")
    return match[1] if match else ""


def field_unit(owner: Any, name: str) -> str:
    """The unit of a field: from the comment beside it, else from the documentation of its class."""
    kind = type(owner)
    comment = _comments(cast(Hashable, kind)).get(name, "")
    if found := unit(comment):
        return found
    text = inspect.getdoc(kind) or ""
    for line in text.splitlines():
        names, colon, said = line.partition(":")
        if colon and name in re.split(r"[,;\s]+", names):
            return unit(said)
    common = _COMMON.search(text)
    numeric = "Float" in str(getattr(kind, "__annotations__", {}).get(name, ""))
    return common[1] if common and numeric else ""


@cache
def _comments(kind: Hashable) -> dict[str, str]:
    """Field -> comment on its line."""
    if not (isinstance(kind, type) and dataclasses.is_dataclass(kind)):
        return {}
    try:
        lines, _ = inspect.getsourcelines(kind)
    except (OSError, TypeError):
        return {}
    pairs = (re.match(r"\s+(\w+):[^#]*#\s*(.+)", line) for line in lines)
    return {m[1]: m[2] for m in pairs if m}


def operands(node: ast.expr) -> Iterator[ast.expr]:
    """The outermost names, attributes, subscripts and calls an expression is made of."""
    if isinstance(node, ast.Name | ast.Attribute | ast.Subscript | ast.Call):
        yield node
    elif isinstance(node, ast.GeneratorExp | ast.ListComp | ast.SetComp | ast.DictComp):
        for generator in node.generators:
            yield from operands(generator.iter)
        inner = [node.key, node.value] if isinstance(node, ast.DictComp) else [node.elt]
        for part in inner:
            yield from operands(part)
    elif not isinstance(node, ast.Lambda):
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.expr):
                yield from operands(child)
            elif isinstance(child, ast.comprehension):
                yield from operands(child.iter)


@cache
def looped(definition: Function, name: str) -> ast.expr | None:
    """What a variable of a for loop runs over; None where it is no such."""
    loops = (n for n in nodes(definition) if isinstance(n, ast.For) and name in _names(n.target))
    return next((_part(loop.target, loop.iter, name) for loop in loops), None)


def runs_over(definition: Function, name: ast.Name) -> ast.expr | None:
    """What a variable of a comprehension or a loop runs over; None where it is no such."""
    if (over := looped(definition, name.id)) is not None:
        return over
    for node in nodes(definition):
        if not isinstance(node, ast.GeneratorExp | ast.ListComp | ast.SetComp | ast.DictComp):
            continue
        if not any(part is name for part in nodes(node)):
            continue
        for generator in node.generators:
            if name.id in _names(generator.target):
                return _part(generator.target, generator.iter, name.id)
    return None


def _part(target: ast.expr, over: ast.expr, name: str) -> ast.expr:
    """Of ``for a, b in zip(x, y)``, x for a."""
    zipped = isinstance(over, ast.Call) and isinstance(over.func, ast.Name) and over.func.id == "zip"
    if (
        zipped
        and isinstance(over, ast.Call)
        and isinstance(target, ast.Tuple)
        and len(over.args) == len(target.elts)
    ):
        return next(x for t, x in zip(target.elts, over.args, strict=True) if name in _names(t))
    return over


def within(node: ast.Call | ast.Subscript | ast.Attribute) -> Iterator[ast.expr]:
    """What a call, subscript or attribute that was not written down is made of in turn."""
    if isinstance(node, ast.Call):
        if isinstance(node.func, ast.Name) and node.func.id in _COUNTING:
            return
        if isinstance(node.func, ast.Attribute):
            yield node.func.value
        yield from node.args
        yield from (keyword.value for keyword in node.keywords)
    else:
        yield node.value
