"""Units of arrays: codes of ``dimensions.UNITS``, one for all elements or one for each.

A zero that is written as such is a zero of any unit, and so is an infinity: their code is ``ANY``. After a
complaint the code is ``NONE``, which fits everything, so that one mistake is told once.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Final

import numpy as np

from pyrobal.dimensions import ONE as PLAIN
from pyrobal.dimensions import UNITS, Constant, Unit
from pyrobal.trace.graph import Node, Trace, Units

ANY: Final = -1
NONE: Final = -2
ONE: Final = PLAIN.code


def text(units: Units) -> str:
    """As people read it; of several units each once."""
    if isinstance(units, np.ndarray):
        return ", ".join(dict.fromkeys(text(int(code)) for code in np.unique(units)))
    return {ANY: "any unit", NONE: "no unit", ONE: "a plain number"}.get(units) or str(UNITS[units])


_declared: dict[int, tuple[Any, str, Unit, str, tuple[str, ...]]] = {}


def declare(array: Any, name: str, unit: Unit, source: str, labels: tuple[str, ...] = ()) -> Any:
    """A table that a module keeps, as such: its values are ``unit``, and known by name in a trace."""
    array.flags.writeable = False
    _declared[id(array)] = (array, name, unit, source, labels)
    return array


def declared(array: Any) -> tuple[Any, str, Unit, str, tuple[str, ...]] | None:
    """What was declared of an array or of that which it is a part of."""
    while array is not None:
        if (found := _declared.get(id(array))) is not None:
            return found
        array = getattr(array, "base", None)
    return None


def places(part: Any, whole: Any) -> Any:
    """Flat indices in a table of the elements of a view of it."""
    at = (part.__array_interface__["data"][0] - whole.__array_interface__["data"][0]) // whole.itemsize
    return np.lib.stride_tricks.as_strided(np.arange(whole.size)[at:], part.shape, part.strides)


def of(operand: Any) -> Units:
    """Of an operand: a node, a constant, or a number that stands for itself."""
    if type(operand) is Node:
        return operand.units
    if isinstance(operand, Constant):
        return operand.unit.code
    if not isinstance(operand, np.ndarray):
        return ANY if operand == 0 or not math.isfinite(operand) else ONE
    if operand.dtype.kind != "f":
        return ONE
    if (known := declared(operand)) is not None:
        return known[2].code
    free = (operand == 0.0) | ~np.isfinite(operand)
    return one(np.where(free, ANY, ONE)) if free.any() else ONE


def one(codes: Any) -> Units:
    """One code where all elements share it."""
    if codes.size == 0:
        return ANY
    first = codes.flat[0]
    return int(first) if (codes == first).all() else codes


def together(trace: Trace, a: Units, b: Units, what: str) -> Units:
    """What may be added and compared: the same unit, or a zero."""
    if isinstance(a, int) and isinstance(b, int):
        if a == b or b in (ANY, NONE):
            return a
        if a in (ANY, NONE):
            return b
        trace.complain(f"{what} of {text(a)} and {text(b)}")
        return NONE
    apart = a != b
    if not apart.any():
        return one(a + np.zeros_like(b))
    wrong = apart & np.greater_equal(a, 0) & np.greater_equal(b, 0)
    found = np.maximum(a, b)  # the unit, beside a zero
    if not wrong.any():
        return one(found)
    a, b = np.broadcast_arrays(a, b)
    trace.complain(f"{what} of {text(a[wrong])} and {text(b[wrong])}")
    return one(np.where(wrong, NONE, found))


def along(trace: Trace, units: Units, axis: Any, keepdims: bool, what: str) -> Units:
    """What is summed along an axis is of one unit."""
    if isinstance(units, int):
        return units
    most = units.max(axis=axis, keepdims=True)
    if ((units == most) | (units == ANY)).all():
        return one(most if keepdims else most.squeeze(axis))
    least, most = (
        f(np.where(units < 0, g, units), axis=axis, keepdims=keepdims)
        for f, g in ((np.min, 10**6), (np.max, -9))
    )
    none = (units == NONE).any(axis=axis, keepdims=keepdims)
    wrong = (most >= 0) & (least != most)
    if np.any(wrong):
        trace.complain(f"{what} of {text(units)}")
    return one(np.asarray(np.where(wrong | none, NONE, np.where(most < 0, ANY, most))))


Rule = Callable[[Unit, Unit], Unit]
_pairs: dict[tuple[Rule, int, int], int] = {}
_tables: dict[Rule, Any] = {}
_UNKNOWN: Final = -9


def pairwise(rule: Rule, a: Units, b: Units) -> Units:
    """Products and quotients."""
    if isinstance(a, int) and isinstance(b, int):
        key = (rule, a, b)
        if (found := _pairs.get(key)) is None:
            found = min(a, b) if a < 0 or b < 0 else rule(UNITS[a], UNITS[b]).code
            _pairs[key] = found
        return found
    table = _tables.get(rule)
    if table is None or len(table) < len(UNITS) + 2:
        table = _tables[rule] = np.full((2 * len(UNITS) + 64,) * 2, _UNKNOWN)
    codes = table[np.add(a, 2), np.add(b, 2)]
    if (codes == _UNKNOWN).any():
        for x, y in set(zip(*(c.ravel().tolist() for c in np.broadcast_arrays(a, b)), strict=True)):
            table[x + 2, y + 2] = pairwise(rule, x, y)
        codes = table[np.add(a, 2), np.add(b, 2)]
    return one(codes)


def product(a: Unit, b: Unit) -> Unit:
    """Of a product."""
    return a * b


def quotient(a: Unit, b: Unit) -> Unit:
    """Of a quotient."""
    return a / b


def power(units: Units, exponent: float) -> Units:
    """Of one exponent for all elements."""
    if isinstance(units, int):
        return units if units < 0 else (UNITS[units] ** exponent).code
    distinct, back = np.unique(units, return_inverse=True)
    return one(np.array([power(int(code), exponent) for code in distinct])[back].reshape(units.shape))


def plain(trace: Trace, units: Units, what: str) -> Units:
    """What has a meaning for plain numbers only."""
    codes = np.asarray(units)
    wrong = (codes != ONE) & (codes >= 0)
    if wrong.any():
        trace.complain(f"{what} of {text(codes[wrong])}")
        return NONE
    return NONE if (codes == NONE).any() else ONE
