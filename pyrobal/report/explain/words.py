"""Names as a metallurgist says them, made from the identifiers of the code."""

from __future__ import annotations

import ast
import builtins
import re
import sys
from functools import cache
from typing import Final

import numpy as np

from pyrobal import arrays
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.tables import load_substances

_MOLAR_MASS: Final = re.compile(r"_?M_(\w+)")  # the house writes M_SO2 for the molar mass of SO2
SYMBOL: Final = 3  # letters; a name that is shorter says little by itself
_WHOLE: Final = {
    "self",
    "settings",
    "other",
    "stream",
    "np",
    "state",
    "result",
    "results",
    "inputs",
    "problem",
}
_OUTSIDE: Final = {"np", "functools", "itertools", "math"}
_SAYS_NOTHING: Final = {
    "found", "value", "total", "sums", "rows", "amounts", "part", "each", "evaluate", "sum", "make", "parts",
    "made", "both", "new", "old", "before", "after", "elements",
}  # fmt: skip


@cache
def _formulas() -> dict[str, str]:
    """Identifier -> formula, of the compounds of the tables."""
    names = (name.partition("(")[0] for name in load_substances())
    return {n.casefold(): n for n in names if n not in ELEMENTS and re.fullmatch(r"[A-Za-z0-9]+", n)}


@cache
def plain(identifier: str) -> str:
    """``so2_per_copper`` as "SO2 per copper"."""
    words = identifier.strip("_").split("_")
    elements = {e.casefold(): e for e in ELEMENTS if len(e) == 2 and e != "As"}
    return " ".join(_formulas().get(w.casefold(), elements.get(w, w)) for w in words)


def constant(identifier: str) -> str:
    """``M_SO2`` as "molar mass of SO2", ``OXYGEN_IN_AIR`` as "oxygen in air"."""
    if match := _MOLAR_MASS.fullmatch(identifier):
        of = match[1].title() if match[1].title() in ELEMENTS else plain(match[1].lower())
        return f"molar mass of {of}"
    name = identifier.lower() if identifier.isupper() and len(identifier) > 1 else identifier
    return plain(name).removesuffix(" of")  # of a table by what it is of


def says_much(name: str) -> bool:
    """Whether a name tells a reader what is meant."""
    return len(name) >= SYMBOL and name not in _SAYS_NOTHING


def of(expression: ast.AST | None) -> str:
    """What an expression is called by who uses it; "" where it has no name."""
    match expression:
        case ast.Name(id=name):
            return constant(name)
        case ast.Attribute(value=base, attr=attr):
            owner = of(base) if isinstance(base, ast.Name | ast.Attribute | ast.Subscript) else ""
            owner = "" if owner in _WHOLE or len(owner) < SYMBOL else owner
            word = constant(attr)
            return owner if owner and len(word) < SYMBOL else f"{word} of {owner}" if owner else word
        case ast.Subscript(value=base, slice=part):
            label, whole = _label(part), of(base)
            if not label:
                return whole
            return f"{label} in {whole}" if says_much(whole) else label
        case ast.Call(func=function, args=args):
            return _of_call(function, args)
        case ast.BinOp(left=left, op=ast.Mult() | ast.Div() as op, right=right):
            a, b = _fixed(left), _fixed(right)
            return f"({a} {'×' if isinstance(op, ast.Mult) else '/'} {b})" if a and b else ""
        case ast.UnaryOp(operand=operand) | ast.Starred(value=operand):
            return of(operand)
    return ""


def _fixed(expression: ast.expr) -> str:
    """A number or a constant."""
    match expression:
        case ast.Constant(value=int() | float() as value):
            return f"{value:g}"
        case ast.Name(id=name) if name.strip("_").isupper():
            return constant(name)
    return ""


def _of_call(function: ast.expr, args: list[ast.expr]) -> str:
    """Of what is only put in shape, by that; of an amount, by the substance; else by the function."""
    first = args[0] if args else None
    match function:
        case ast.Attribute(value=ast.Name(id="np"), attr=name):
            if isinstance(first, ast.Constant):
                return f"{'ln' if name == 'log' else name}({first.value!r})"
            return of(first)
        case ast.Attribute(value=base, attr="amount") if first is not None:
            label, owner = _label(first), of(base)
            return f"{label} in {owner}" if says_much(owner) and owner not in _WHOLE else label
        case ast.Attribute(value=base, attr=name) if hasattr(np.ndarray, name) or name == "get":
            return of(base)
        case ast.Attribute(value=base, attr=name):
            owner = of(base)
            owner = "" if owner in _WHOLE or len(owner) < SYMBOL or owner in _modules() else owner
            word = "" if _root(base) in _OUTSIDE else plain(name)
            return f"{word} of {owner}" if owner and word else word
        case ast.Name(id=name) if hasattr(arrays, name):
            return of(first)
        case ast.Name(id=name):
            return "" if hasattr(builtins, name) else plain(name)
    return ""


def _root(expression: ast.expr) -> str:
    while isinstance(expression, ast.Attribute):
        expression = expression.value
    return expression.id if isinstance(expression, ast.Name) else ""


def _modules() -> set[str]:
    return {name.rpartition(".")[2] for name in sys.modules if name.startswith("pyrobal.")}


def sentence(expression: ast.AST) -> str:
    """An expression in words and signs."""
    text = ast.unparse(expression)
    for sign, shown in (
        ("[:, None]", ""),
        (" * ", " × "),
        (" - ", " − "),
        ("~", "not "),
        (" & ", " and "),
        (" | ", " or "),
    ):
        text = text.replace(sign, shown)
    return re.sub(r"[A-Za-z_][\w.]*", lambda m: plain(m[0].rpartition(".")[2]), text)


def _label(part: ast.expr) -> str:
    """What an index says: ``[:, CU]``, ``["slag"]``, ``[:, phase.index("SiO2(l)")]``."""
    match part:
        case ast.Tuple(elts=[*_, last]):
            return _label(last)
        case ast.Constant(value=str(text)):
            return plain(text) if text.islower() else text
        case ast.Name(id=name) if name.strip("_").isupper() and len(name.strip("_")) <= 2:
            return name.strip("_").title()
        case ast.Name(id=name) if name.strip("_").isupper():
            return plain(name.lower())
        case ast.Call(func=ast.Attribute(attr="index"), args=[ast.Constant(value=str(text))]):
            return text
    return ""
