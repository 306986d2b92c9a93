"""Equations: operands, numbers, signs. They can be written, and worked out."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pyrobal.report.numbers import number

if TYPE_CHECKING:
    from pyrobal.report.explain.step import Step

_NUDGE: Final = 1e-20  # imaginary, relative
_SUM, _PRODUCT, _POWER, _ATOM = range(4)  # how tightly a sign binds
_BETWEEN: Final = {np.multiply: (" × ", _PRODUCT), np.divide: (" / ", _PRODUCT), np.power: ("^", _POWER)}
_LONG: Final = 12  # a sum told as such
_NAMED: Final = {
    np.exp: "exp", np.log: "ln", np.log10: "log10", np.sqrt: "√", np.maximum: "max", np.minimum: "min",
    np.fmax: "max", np.fmin: "min", np.absolute: "abs",
}  # fmt: skip


@dataclass(frozen=True)
class Number:
    """A number that stands for itself."""

    value: float


@dataclass(frozen=True, eq=False)
class Operand:
    """A step that the equation is made of, and what the equation calls it."""

    step: Step
    name: str


@dataclass(frozen=True, eq=False)
class Applied:
    """A function or a sign on its arguments."""

    function: Callable[..., Any]
    arguments: tuple[Expression, ...]
    note: str = ""  # in place of its name


@dataclass(frozen=True, eq=False)
class Sum:
    """Terms with the sign of each. count : how many there are, where the last stands for several"""

    terms: tuple[tuple[float, Expression], ...]
    count: int = 0


Expression = Number | Operand | Applied | Sum


def operands(expression: Expression) -> Iterator[Operand]:
    """In the order written."""
    match expression:
        case Operand():
            yield expression
        case Applied(arguments=parts):
            yield from itertools.chain.from_iterable(map(operands, parts))
        case Sum(terms=terms):
            yield from itertools.chain.from_iterable(operands(term) for _, term in terms)


def work_out(expression: Expression, put: Mapping[int, complex] | None = None) -> Any:
    """The value; ``put`` : id of a step -> value in place of its own."""
    match expression:
        case Number(value=value):
            return value
        case Operand(step=step):
            return step.value if put is None else put.get(id(step), step.value)
        case Applied(function=function, arguments=parts):
            return _applied(function, [work_out(part, put) for part in parts])
        case Sum(terms=terms):
            return sum(sign * work_out(term, put) for sign, term in terms)


def _applied(function: Any, values: list[Any]) -> Any:
    if function in (np.maximum, np.fmax):
        return max(values, key=lambda x: x.real)
    if function in (np.minimum, np.fmin):
        return min(values, key=lambda x: x.real)
    if function is np.absolute:
        return values[0] if values[0].real >= 0 else -values[0]
    with np.errstate(all="ignore"):
        try:
            return function(*values)
        except TypeError:  # has no derivative
            return function(*(x.real for x in values))


def shares(expression: Expression) -> dict[int, float]:
    """id of a step -> relative change of the value for one of the operand: a term's share of a sum."""
    value = float(np.real(work_out(expression)))
    found = {}
    for operand in operands(expression):
        own = operand.step.value
        nudged = work_out(expression, {id(operand.step): own * (1.0 + 1j * _NUDGE)})
        found[id(operand.step)] = float(np.imag(nudged)) / _NUDGE / value if value else np.nan
    return found


def written(expression: Expression, names: Mapping[int, str]) -> str:
    """As a textbook has it. names : id of a step -> its name"""
    text = _written(expression, names)[0]
    if isinstance(expression, Sum) and expression.count > _LONG:
        return f"sum of {expression.count} terms, the largest {len(expression.terms) - 1}: {text}"
    return text


def _written(expression: Expression, names: Mapping[int, str]) -> tuple[str, int]:
    match expression:
        case Number(value=value):
            return number(value, 7), _ATOM if value >= 0 else _SUM
        case Operand(step=step, name=name):
            return names.get(id(step), name), _ATOM
        case Sum(terms=terms):
            return _sum([(sign, *_written(term, names)) for sign, term in terms]), _SUM
        case Applied(function=function, arguments=parts, note=note):
            return _call(function, [_written(part, names) for part in parts], note)


def _sum(terms: list[tuple[float, str, int]]) -> str:
    text = ""
    for sign, term, binds in terms:
        shown = f"({term})" if binds == _SUM and (sign < 0 or term.startswith("−")) else term
        text += f" {'−' if sign < 0 else '+'} {shown}" if text else f"{'−' if sign < 0 else ''}{shown}"
    return text or "0"


def _call(function: Any, parts: list[tuple[str, int]], note: str) -> tuple[str, int]:
    if function in _BETWEEN and not note:
        sign, binds = _BETWEEN[function]
        (left, tight), (right, tight_right) = parts
        after = binds + (function is not np.multiply)
        left = f"({left})" if tight < binds or (function is np.power and tight == binds) else left
        right = f"({right})" if tight_right < after else right
        return f"{left}{sign}{right}", binds
    if function is np.square:
        return f"{parts[0][0] if parts[0][1] == _ATOM else f'({parts[0][0]})'}^2", _POWER
    if function is np.reciprocal:
        return f"1 / {parts[0][0] if parts[0][1] > _PRODUCT else f'({parts[0][0]})'}", _PRODUCT
    name = note or _NAMED.get(function, getattr(function, "__name__", ""))
    return f"{name}({', '.join(text for text, _ in parts)})", _ATOM
