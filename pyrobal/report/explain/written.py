"""Expressions as the source would have written them for one value of many; they stand nowhere in it."""

from __future__ import annotations

import ast
import copy
import functools
from collections.abc import Mapping, Sequence
from functools import cache
from typing import TypeVar

_Made = TypeVar("_Made", bound=ast.expr)


def nowhere(node: _Made) -> _Made:
    """An expression written as the source does not: its place is nowhere in the file."""
    for part in ast.walk(node):
        if isinstance(part, ast.expr) and not hasattr(part, "lineno"):
            part.lineno = part.end_lineno = 0
            part.col_offset = part.end_col_offset = id(part)
    return node


@cache
def item(node: ast.expr, index: int | str) -> ast.Subscript:
    """One of several values."""
    return nowhere(ast.Subscript(node, ast.Constant(index), ast.Load()))


@cache
def column(node: ast.expr, index: int, label: str) -> ast.Subscript:
    """One column of an array (N, S); ``label`` says of what, and is the ``kind`` of the constant."""
    k = ast.Constant(index, kind=label)
    return nowhere(ast.Subscript(node, ast.Tuple([ast.Slice(), k], ast.Load()), ast.Load()))


@cache
def member(node: ast.expr, name: str) -> ast.Attribute:
    """A field of an object."""
    return nowhere(ast.Attribute(node, name, ast.Load()))


@cache
def constant(value: str | float) -> ast.Constant:
    """A word or a number."""
    return nowhere(ast.Constant(value))


@cache
def listed(parts: tuple[ast.expr, ...]) -> ast.Tuple:
    """Several expressions side by side."""
    return nowhere(ast.Tuple(list(parts), ast.Load()))


@cache
def joined(left: ast.expr, op: ast.operator, right: ast.expr) -> ast.BinOp:
    """Two expressions with an operator between them."""
    return nowhere(ast.BinOp(left, op, right))


@cache
def applied(call: ast.Call, args: tuple[ast.expr, ...]) -> ast.Call:
    """The same function of other arguments."""
    return nowhere(ast.Call(call.func, list(args), []))


@cache
def of_columns(parts: ast.GeneratorExp | ast.ListComp, index: int, label: str) -> ast.GeneratorExp:
    """``(x for ...)`` of one column of every x."""
    return nowhere(ast.GeneratorExp(column(parts.elt, index, label), parts.generators))


def summed(terms: Sequence[ast.expr]) -> ast.expr:
    """A sum; zero of nothing."""
    add = ast.Add()
    return functools.reduce(lambda a, b: joined(a, add, b), terms) if terms else constant(0.0)


def put(node: ast.expr, bound: Mapping[str, ast.expr]) -> ast.expr:
    """An expression with other expressions in place of names; the same one where asked again."""
    return _put(node, tuple(bound.items())) if bound else node


@cache
def _put(node: ast.expr, bound: tuple[tuple[str, ast.expr], ...]) -> ast.expr:
    changed: ast.expr = _Put(dict(bound)).visit(copy.deepcopy(node))
    return changed


class _Put(ast.NodeTransformer):
    def __init__(self, bound: Mapping[str, ast.expr]) -> None:
        self.bound = bound

    def visit_Name(self, node: ast.Name) -> ast.expr:
        return self.bound.get(node.id, node)


@cache
def local(name: str) -> ast.Name:
    """A name of a function, as at its top."""
    made = ast.Name(name, ast.Load())
    made.lineno = made.end_lineno = 1
    made.col_offset = made.end_col_offset = id(made)
    return made
