"""Units of what operations make, by ufunc and by rule; each complains of operands that do not fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from pyrobal.trace.graph import Node, Trace, Units, number
from pyrobal.trace.rules import again
from pyrobal.trace.units import (
    ANY,
    NONE,
    ONE,
    along,
    of,
    one,
    pairwise,
    plain,
    power,
    product,
    quotient,
    together,
)

Operands = Sequence[Any]
_PRODUCTS: Final = "a sum of products"


def matmul(trace: Trace, operands: Operands) -> Units:
    """Of a product of matrices: each element is a sum of products."""
    a, b = map(of, operands)
    if isinstance(a, int) and isinstance(b, int):
        return pairwise(product, a, b)
    wide, high = (np.ndim(number(x)) > 1 for x in operands)
    if isinstance(b, int):  # each row is a sum of its own
        rows = along(trace, a, (np.ndim(a) - 1,), True, _PRODUCTS)
        return pairwise(product, rows if isinstance(rows, int) or high else rows[..., 0], b)
    if isinstance(a, int):
        columns = along(trace, b, (max(np.ndim(b) - 2, 0),), wide and high, _PRODUCTS)
        return pairwise(product, a, columns)
    left, right = a if wide else a[None, :], b if high else b[:, None]
    pairs = pairwise(product, left[..., :, :, None], right[..., None, :, :])
    found = along(trace, pairs, (pairs.ndim - 2,), False, _PRODUCTS) if np.ndim(pairs) else pairs
    if isinstance(found, int):
        return found
    found = found if wide else found[..., 0, :]
    return found if high else found[..., 0]


def solution(trace: Trace, operands: Operands) -> Units:
    """Of linear equations."""
    a, b = map(of, operands)
    if isinstance(a, int) and isinstance(b, int):
        return pairwise(quotient, b, a)
    trace.complain("equations of several units solved at once")
    return NONE


_WORD: Final = {np.add: "a sum", np.maximum: "a largest", np.minimum: "a least"}


def reduced(trace: Trace, ufunc: Any, node: Node, axes: tuple[int, ...], keepdims: bool) -> Units:
    """Of a sum, or of the largest or least, along axes."""
    return along(trace, node.units, axes, keepdims, _WORD[ufunc])


def moved(trace: Trace, node: Node) -> Units:
    """Of elements put in other places: each keeps its own; a choice is between equals."""
    codes = [of(operand) for operand in node.operands]
    first = codes[0]
    if _shared(codes) and codes.count(first) == len(codes):
        return first
    if node.function is np.where:
        found = together(trace, codes[0], codes[1], "a choice")
    else:
        spread = [
            np.broadcast_to(code, number(o).shape) for code, o in zip(codes, node.operands, strict=True)
        ]
        found = one(np.asarray(again(node, lambda k: spread[k])))
    return found if isinstance(found, int) else np.broadcast_to(found, node.value.shape)


def elementwise(trace: Trace, ufunc: Any, operands: Operands, codes: Sequence[Units]) -> Units:
    """Of a ufunc, from the units of its operands; of comparisons and facts, which have none, None.

    What was found for operands of one unit each, and is not wrong, is not worked out again.
    """
    key = (ufunc, *codes)
    try:
        return _FOUND[key]
    except (KeyError, TypeError):  # an array of codes is no key
        before = len(trace.complaints)
        found = OF_UFUNC[ufunc](trace, ufunc, operands)
    if len(trace.complaints) == before and ufunc not in _BY_VALUE and _shared(codes):
        _FOUND[key] = found
    return found


def _shared(codes: Sequence[Units]) -> bool:
    return all(isinstance(code, int) for code in codes)


_FOUND: Final[dict[Any, Units]] = {}
_BY_VALUE: Final = (np.power, np.float_power)  # the unit hangs on the exponent too


def _same(trace: Trace, ufunc: Any, operands: Any) -> Units:
    codes = of(operands[0])
    for other in operands[1:]:
        codes = together(trace, codes, of(other), ufunc.__name__)
    return codes


def _keep(trace: Trace, ufunc: Any, operands: Any) -> Units:
    return of(operands[0])


def _product(trace: Trace, ufunc: Any, operands: Any) -> Units:
    return pairwise(product, of(operands[0]), of(operands[1]))


def _quotient(trace: Trace, ufunc: Any, operands: Any) -> Units:
    return pairwise(quotient, of(operands[0]), of(operands[1]))


def _power(trace: Trace, ufunc: Any, operands: Any) -> Units:
    base, exponent = operands
    if not isinstance(exponent, Node) and np.size(exponent) == 1 and of(exponent) in (ONE, ANY):
        return power(of(base), float(np.ravel(exponent)[0]))
    return max(plain(trace, of(x), what) for x, what in ((base, "a power"), (exponent, "an exponent")))


def _root(exponent: float) -> Any:
    return lambda trace, ufunc, operands: power(of(operands[0]), exponent)


def _pure(trace: Trace, ufunc: Any, operands: Any) -> Units:
    return plain(trace, of(operands[0]), ufunc.__name__)


def _compared(trace: Trace, ufunc: Any, operands: Any) -> None:
    _same(trace, ufunc, operands)


def _fact(trace: Trace, ufunc: Any, operands: Any) -> None:
    pass


OF_UFUNC: Final[dict[Any, Any]] = {
    **dict.fromkeys(
        (np.add, np.subtract, np.maximum, np.minimum, np.fmax, np.fmin, np.remainder, np.hypot), _same
    ),
    **dict.fromkeys(
        (np.negative, np.positive, np.absolute, np.fabs, np.conjugate, np.rint, np.floor, np.ceil, np.trunc),
        _keep,
    ),
    np.multiply: _product,
    np.divide: _quotient,
    np.floor_divide: _quotient,
    np.power: _power,
    np.float_power: _power,
    np.sqrt: _root(0.5),
    np.cbrt: _root(1 / 3),
    np.square: _root(2.0),
    np.reciprocal: _root(-1.0),
    **dict.fromkeys(
        (np.exp, np.log, np.log10, np.log2, np.log1p, np.expm1, np.tanh, np.sin, np.cos, np.arctan), _pure
    ),
    **dict.fromkeys(
        (np.less, np.less_equal, np.greater, np.greater_equal, np.equal, np.not_equal), _compared
    ),
    **dict.fromkeys(
        (np.isfinite, np.isnan, np.isinf, np.sign, np.signbit, np.logical_and, np.logical_or, np.logical_not),
        _fact,
    ),
}
