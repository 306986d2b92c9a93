"""An expression and the call that evaluated it, and small questions to ask of either."""

from __future__ import annotations

import ast
import functools
import warnings
from types import CodeType
from typing import Any, Final, Protocol

import numpy as np

from pyrobal.report.explain import source
from pyrobal.report.explain.record import Call

PLAIN: Final = ("pyrobal.arrays", "pyrobal.thermo.elements")  # shapes and names, nothing to explain
ROUND_OFF: Final = 1e-8  # relative
MISSING: Final = object()  # what a value is that cannot be told without computing it anew

Evaluated = tuple[ast.expr, Call]  # an expression, and the call in which it was evaluated
Made = list[Call | Evaluated]  # the calls or expressions a value came from


class Parts(Protocol):
    """Takes collections apart."""

    def each(self, made: ast.GeneratorExp, call: Call) -> list[Evaluated] | None:
        """Every element of a comprehension."""

    def several(self, collection: ast.expr, call: Call) -> list[Evaluated] | None:
        """Every value of a tuple, a list or a comprehension."""

    def entry(self, made: ast.DictComp, key: Any, call: Call) -> Evaluated | None:
        """The value of a dict comprehension for a key."""

    def put_in_loop(self, binding: source.Binding, key: Any, call: Call) -> Evaluated | None:
        """What a loop put under a key."""

    def added_in_loop(self, binding: source.Binding, index: int, call: Call) -> Evaluated | None:
        """What a loop added to a list in one of its rounds."""

    def in_round(self, argument: ast.expr, call: Call) -> Evaluated:
        """An argument of a call within a comprehension, for the round that made the call."""


@functools.cache
def compiled(text: str) -> CodeType:
    """An expression, compiled once for each text."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SyntaxWarning)  # of what the source never writes
        return compile(text, "explained", "eval")


def class_of(built: ast.Call) -> str:
    """The last word of what is called: the class, where it is one."""
    return source.text(built.func).rpartition(".")[2]


def is_name(built: ast.Call, fields: list[str], field: str, name: str) -> bool:
    """True where the argument a call gives to ``field`` is just the name ``name``."""
    found = source.argument(built, fields, field)
    return isinstance(found, ast.Name) and found.id == name


def stored(owner: Any, attr: str) -> Any:
    """An attribute as it is kept; a property is only known by its call."""
    if isinstance(getattr(type(owner), attr, None), property):
        return MISSING
    return getattr(owner, attr, MISSING)


def entry_of(owner: Any, key: Any) -> Any:
    """One value of a tuple, list or mapping; MISSING where it cannot be told."""
    if owner is MISSING or key is MISSING or isinstance(owner, np.ndarray):
        return MISSING
    try:
        return owner[key]
    except (KeyError, IndexError, TypeError):
        return MISSING


def numeric(value: Any) -> bool:
    """A quantity; whole numbers count, and are not explained."""
    return isinstance(value, float) or (isinstance(value, np.ndarray) and value.dtype.kind == "f")


def agree(a: float | None, b: float | None) -> bool:
    """False where two numbers are known and differ by more than round-off."""
    if a is None or b is None or a != a or b != b:
        return True
    return abs(a - b) <= ROUND_OFF * max(abs(a), abs(b), 1.0)


def single(value: Any) -> bool:
    """One number, in an array or on its own."""
    return (numeric(value) and np.size(value) == 1) or (
        isinstance(value, int) and not isinstance(value, bool)
    )
