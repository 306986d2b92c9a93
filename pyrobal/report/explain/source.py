"""The source of what was called: its expressions, who assigns a name, the units its documentation states."""

from __future__ import annotations

import ast
import dataclasses
import inspect
import re
import sys
from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import CodeType
from typing import Any, Final, cast

from pyrobal.report.explain import si, written
from pyrobal.report.explain.record import Position

Function = ast.FunctionDef | ast.Lambda
Comprehension = ast.GeneratorExp | ast.ListComp | ast.SetComp | ast.DictComp
_UNIT: Final = re.compile(r"\[([^\]\n]{1,20})\]")
_FIELDS: Final = re.compile(r"(?P<names>[A-Za-z]\w*(?:, [A-Za-z]\w*)*) : (?P<said>.*)")
_COMMENTED: Final = re.compile(r"[A-Za-z0-9]+(?:/(?:\([^)]*\)|\w+))?(?=[ ,;:.]|$)")
_ARGUMENT: Final = re.compile(r"``,? (?:\(N[^)]*\) )?$")  # "``T`` (N,) [K]"
_BESIDE: Final = re.compile(r"\b(\w+) \[([^\]\n]{1,20})\]")  # a name with its unit right behind it
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
def calls(node: Function) -> dict[Position, ast.Call | ast.BinOp]:
    """Calls and operators of a function by place; of a generator, also by that of what it yields from."""
    found: dict[Position, ast.Call | ast.BinOp] = {}
    for n in nodes(node):
        if isinstance(n, ast.Call | ast.BinOp):
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
    """A statement that sets a name, as a whole or in part, and to what.

    op : of ``name += value``; index : the part that is set; loop : the for loop it stands in
    when : the tests it depends on, and how each has to come out
    """

    line: int
    end: int
    value: ast.expr
    whole: bool
    op: ast.operator | None = None
    index: ast.expr | None = None
    loop: ast.For | None = None
    when: tuple[tuple[ast.expr, bool], ...] = ()


@cache
def bindings(node: Function, name: str) -> tuple[Binding, ...]:
    """Every statement of a function that sets a name, from the top."""
    found = [b for statement in nodes(node) for b in _binds(statement, name)]
    loops = [n for n in nodes(node) if isinstance(n, ast.For)]
    tests = [n for n in nodes(node) if isinstance(n, ast.If)]
    placed = [dataclasses.replace(b, loop=_loop_of(b, loops), when=_when(b, tests)) for b in found]
    return tuple(sorted(placed, key=lambda b: b.line))


def _loop_of(binding: Binding, loops: list[ast.For]) -> ast.For | None:
    around = [n for n in loops if n.lineno < binding.line <= (n.end_lineno or 0)]
    return max(around, key=lambda n: n.lineno, default=None)


def _when(binding: Binding, tests: list[ast.If]) -> tuple[tuple[ast.expr, bool], ...]:
    """The tests of the if statements a binding stands in."""
    found = []
    for test in tests:
        for outcome, block in ((True, test.body), (False, test.orelse)):
            if block and block[0].lineno <= binding.line <= (block[-1].end_lineno or 0):
                found.append((test.test, outcome))
    return tuple(found)


@cache
def above(node: Function, name: ast.Name) -> tuple[Binding, ...]:
    """What may have set a name above where it is used."""
    line = name.lineno or 10**9
    return tuple(b for b in bindings(node, name.id) if b.end < line)


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
        case ast.AugAssign(target=target, op=op, value=value) if name in _base(target):
            made = _binding(statement, value, False)
            yield dataclasses.replace(made, op=op, index=_column_index(target))


def _bound_by(target: ast.expr, value: ast.expr, statement: ast.stmt, name: str) -> Iterator[Binding]:
    if _is(target, name):
        yield _binding(statement, value, True)
    elif isinstance(target, ast.Tuple):
        where = next((i for i, part in enumerate(target.elts) if _is(part, name)), None)
        if where is not None:
            alike = isinstance(value, ast.Tuple) and len(value.elts) == len(target.elts)
            part = value.elts[where] if isinstance(value, ast.Tuple) and alike else written.item(value, where)
            yield _binding(statement, part, True)
    elif isinstance(target, ast.Subscript) and name in _base(target):
        yield dataclasses.replace(_binding(statement, value, False), index=_column_index(target))


def _column_index(target: ast.expr) -> ast.expr | None:
    """``i`` of ``n[:, i]``; the key of ``table[key]``."""
    match target:
        case ast.Subscript(slice=ast.Tuple(elts=[ast.Slice(), index])):
            return index
        case ast.Subscript(value=ast.Name(), slice=index):
            return index
    return None


def _binding(statement: ast.stmt, value: ast.expr, whole: bool) -> Binding:
    return Binding(statement.lineno, statement.end_lineno or statement.lineno, value, whole)


def starred(call: ast.Call) -> ast.GeneratorExp | None:
    """The comprehension in ``Class(*(f(x) for x in parts))``."""
    match call.args:
        case [ast.Starred(value=ast.GeneratorExp() as made)]:
            return made
    return None


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


def returned_unit(text: str | None) -> str:
    """What documentation states first as the unit of what a function returns, and not of an argument."""
    match = _UNIT.search(words(text))
    return match[1] if match and not _ARGUMENT.search(words(text)[: match.start()]) else ""


@cache
def constant_unit(file: str, name: str) -> str | None:
    """The unit in the comment behind a constant, in the module that sets it: ``R = 8.31  # J/(mol K)``."""
    tree, lines = _module(file)
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and any((a.asname or a.name) == name for a in node.names):
            home = getattr(sys.modules.get(node.module or ""), "__file__", None)
            return constant_unit(home, name) if home and home != file else None
        if isinstance(node, ast.Assign | ast.AnnAssign) and name in _names(_target(node)):
            said = lines[(node.end_lineno or 1) - 1].partition("  # ")[2]
            match = _COMMENTED.match(said)
            return si.product(match[0]) if match else None
    return None


def _target(node: ast.Assign | ast.AnnAssign) -> ast.expr:
    return node.target if isinstance(node, ast.AnnAssign) else node.targets[0]


def field_unit(owner: Any, name: str) -> str:
    """The unit of a field, where a comment beside it or the documentation of its class names it."""
    return _said(cast(Hashable, type(owner))).get(name, ("", ""))[0]


def meaning(owner: Any, name: str) -> str:
    """What documentation says of a field, shape and unit left out."""
    return _said(cast(Hashable, type(owner))).get(name, ("", ""))[1]


@cache
def _said(kind: Hashable) -> dict[str, tuple[str, str]]:
    """Field -> its unit and meaning, as said in the documentation of a class or of those it is made from."""
    if not isinstance(kind, type):
        return {}
    found: dict[str, tuple[str, str]] = {}
    for base in reversed(kind.__mro__):
        said = vars(base).get("__doc__")
        for line in inspect.cleandoc(said).splitlines() if isinstance(said, str) else ():
            for part in line.split("; "):
                found |= dict(_stated(part.strip()))
        found |= {name: (unit(comment), "") for name, comment in _comments(base).items() if unit(comment)}
    return found


def _stated(text: str) -> Iterator[tuple[str, tuple[str, str]]]:
    """``a, b : (N,) [kg], [mol] meaning``, or ``a [kg] meaning``: one unit for each, or the same for all."""
    match = _FIELDS.fullmatch(text)
    if match is None:
        yield from ((name, (unit_, "")) for name, unit_ in _BESIDE.findall(text))
        return
    names, units = match["names"].split(", "), _UNIT.findall(match["said"])
    words_ = re.sub(r"\(N[^)]*\)|\[[^\]]*\]", "", match["said"]).strip(" :,.") if len(names) == 1 else ""
    if len(units) != len(names):
        units = units[:1] * len(names) if len(names) == 1 or len(units) == 1 else [""] * len(names)
    yield from ((name, (unit_, words_)) for name, unit_ in zip(names, units or [""], strict=False))


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


def inside(node: ast.expr) -> Iterator[ast.expr]:
    """What a call or a part of something is made of; of other expressions themselves."""
    match node:
        case ast.Call(func=ast.Name(id=name)) if name in _COUNTING:
            return
        case ast.Call(func=func, args=args, keywords=keywords):
            if isinstance(func, ast.Attribute):
                yield func.value
            yield from args
            yield from (keyword.value for keyword in keywords)
        case ast.Subscript(value=value):
            yield value
        case _:
            yield node


@cache
def tries(definition: Function) -> bool:
    """Whether a function goes round until something is met: ``for _ in range(most)``."""
    loops = (n for n in nodes(definition) if isinstance(n, ast.For))
    return any(isinstance(loop.target, ast.Name) and loop.target.id == "_" for loop in loops)


@cache
def looped(definition: Function, name: str) -> ast.expr | None:
    """What a variable of a for loop runs over; None where it is no such."""
    loops = (n for n in nodes(definition) if isinstance(n, ast.For) and name in _names(n.target))
    return next((loop.iter for loop in loops), None)


@cache
def loop_at(definition: Function, site: Position) -> ast.For | None:
    """The innermost loop that a place in the source stands in."""
    line = site[0] or 0
    around = [
        n for n in nodes(definition) if isinstance(n, ast.For) and n.lineno < line <= (n.end_lineno or 0)
    ]
    return max(around, key=lambda n: n.lineno, default=None)


@cache
def comprehension_at(definition: Function, site: Position) -> Comprehension | None:
    """The innermost comprehension that a place in the source stands in."""
    found = None
    for node in nodes(definition):  # from the outside in
        if isinstance(node, ast.GeneratorExp | ast.ListComp | ast.SetComp | ast.DictComp):
            parts = [node.key, node.value] if isinstance(node, ast.DictComp) else [node.elt]
            if any(position(n) == site for p in parts for n in nodes(p) if isinstance(n, ast.expr)):
                found = node
    return found
