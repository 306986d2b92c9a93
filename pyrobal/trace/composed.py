"""Functions of numpy that tell facts, that make arrays and that are made of other operations; and methods."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np

FACTS: Final = {
    np.argmax, np.argmin, np.argsort, np.searchsorted, np.nonzero, np.flatnonzero, np.shape, np.ndim,
    np.size, np.any, np.all, np.isclose, np.allclose, np.array_equal, np.count_nonzero, np.iscomplexobj,
    np.result_type, np.may_share_memory, np.unique,
}  # fmt: skip
LIKE: Final = {
    np.zeros_like, np.ones_like, np.full_like, np.empty_like, np.zeros, np.ones, np.full, np.empty,
}  # fmt: skip


def _mean(a: Any, axis: Any = None, **options: Any) -> Any:
    count = np.size(a) if axis is None else np.prod([np.shape(a)[i] for i in np.atleast_1d(axis)])
    return np.add.reduce(a, axis=axis, **options) / float(count)


def _sum(a: Any, axis: Any = None, **options: Any) -> Any:
    a = a if isinstance(a, np.ndarray) else np.stack(list(a))
    return np.add.reduce(a, axis=axis, **options)


def _largest(a: Any, axis: Any = None, keepdims: bool = False, **options: Any) -> Any:
    return np.maximum.reduce(a, axis=axis, keepdims=keepdims, **options)


def _least(a: Any, axis: Any = None, keepdims: bool = False, **options: Any) -> Any:
    return np.minimum.reduce(a, axis=axis, keepdims=keepdims, **options)


def _clip(a: Any, least: Any = None, most: Any = None, **_: Any) -> Any:
    a = a if least is None else np.maximum(a, least)
    return a if most is None else np.minimum(a, most)


def _diff(a: Any, axis: int = -1, **_: Any) -> Any:
    moved = np.moveaxis(a, axis, 0)
    return np.moveaxis(moved[1:] - moved[:-1], 0, axis)


def _cumsum(a: Any, axis: Any = None, **_: Any) -> Any:
    moved = np.moveaxis(a if axis is not None else np.ravel(a), axis or 0, -1)
    return np.moveaxis(moved @ np.tri(moved.shape[-1]).T, -1, axis or 0)


def _dot(a: Any, b: Any, **_: Any) -> Any:
    return a @ b if np.ndim(a) and np.ndim(b) else a * b


def _trace(a: Any, axis1: int = 0, axis2: int = 1, **_: Any) -> Any:
    return np.diagonal(a, axis1=axis1, axis2=axis2).sum(axis=-1)


def _einsum(written: str, *operands: Any) -> Any:
    """A product of arrays whose axes are lettered, summed over the letters that do not stay."""
    given, _, kept = written.partition("->")
    letters = sorted(set(given) - {","}, key=(kept + given).index)
    product: Any = None
    for axes, operand in zip(given.split(","), operands, strict=True):
        order = sorted(range(len(axes)), key=lambda i: letters.index(axes[i]))
        placed = operand if order == [*range(len(axes))] else np.transpose(operand, order)
        if len(axes) != len(letters):
            size = dict(zip(axes, np.shape(operand), strict=True))
            placed = np.reshape(placed, [size.get(letter, 1) for letter in letters])
        product = placed if product is None else product * placed
    gone = tuple(range(len(kept), len(letters)))
    return product.sum(axis=gone) if gone else product


def _real(a: Any) -> Any:
    return a


def _interp(x: Any, xp: Any, fp: Any, **_: Any) -> Any:
    """Between the two points next to x; flat beyond the ends."""
    k = np.clip(np.searchsorted(xp, x, side="right") - 1, 0, len(xp) - 2)
    inside = np.clip(x, xp[0], xp[-1])
    return fp[k] + (inside - xp[k]) / (xp[k + 1] - xp[k]) * (fp[k + 1] - fp[k])


COMPOSED: Final[dict[Any, Callable[..., Any]]] = {
    np.mean: _mean, np.sum: _sum, np.max: _largest, np.min: _least, np.amax: _largest,
    np.amin: _least, np.clip: _clip, np.diff: _diff, np.cumsum: _cumsum, np.dot: _dot, np.real: _real,
    np.interp: _interp,
    np.einsum: _einsum, np.trace: _trace,
}  # fmt: skip


def _method(name: str) -> Callable[..., Any]:
    function = getattr(np, name)

    def method(self: Any, *args: Any, **kwargs: Any) -> Any:
        return function(self, *args, **kwargs)

    return method


def _reshape(self: Any, *shape: Any, **kwargs: Any) -> Any:
    return np.reshape(self, shape[0] if len(shape) == 1 else shape, **kwargs)


def _transpose(self: Any, *axes: Any) -> Any:
    return np.transpose(self, (axes[0] if len(axes) == 1 else axes) or None)


METHODS: Final[dict[str, Callable[..., Any]]] = {  # of arrays, which numpy does not hand over as functions
    **{
        name: _method(name)
        for name in (
            "ravel", "swapaxes", "repeat", "take", "squeeze", "clip", "dot", "cumsum", "argmax", "argmin",
            "argsort", "nonzero", "searchsorted", "diagonal", "mean", "trace",
        )
    },
    "flatten": _method("ravel"),
    "reshape": _reshape,
    "transpose": _transpose,
}  # fmt: skip
