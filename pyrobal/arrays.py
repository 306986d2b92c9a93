"""Array types of the house and the letters of their shapes.

N is the scenario axis: always axis 0, always present, of length N or of length 1 where all scenarios
share one value (it then broadcasts). S counts the species of a phase, E the elements, M the minerals.
"""

from __future__ import annotations

import dataclasses
import functools
import operator
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

FloatN = npt.NDArray[np.float64]  # (N,) or (1,)
FloatNS = npt.NDArray[np.float64]  # (N, S)
FloatNE = npt.NDArray[np.float64]  # (N, E)
FloatNM = npt.NDArray[np.float64]  # (N, M)
FloatSE = npt.NDArray[np.float64]  # (S, E)
Floats = npt.NDArray[np.float64]  # any other shape, said in the docstring
BoolN = npt.NDArray[np.bool_]  # (N,)
Bools = npt.NDArray[np.bool_]  # any other shape, said in the docstring
IntN = npt.NDArray[np.int64]  # (N,)


def as_n(value: float | npt.ArrayLike) -> FloatN:
    """One number as (1,), a list or array as (N,), both float64; complex stays complex, see ``zeros``.

    Raises ValueError where the value has more than one axis.
    """
    array = np.atleast_1d(value if isinstance(value, np.ndarray) else np.asarray(value))
    array = array.astype(np.complex128 if np.iscomplexobj(array) else np.float64, copy=False)
    if array.ndim != 1:
        raise ValueError(f"a quantity has one axis, the scenarios; got shape {array.shape}")
    return array


def zeros(shape: tuple[int, ...], *held: Floats) -> Floats:
    """Zeros that can take up the values of ``held``.

    These are complex where a derivative is asked for: it rides along as a tiny imaginary part (Squire &
    Trapp 1998, SIAM Review 40, 110-112), so no formula may drop the imaginary part of what it is given.
    """
    like = next(
        (array for array in held if type(array) is not np.ndarray), None
    )  # a traced one, see ``trace``
    return np.zeros(shape, dtype=np.result_type(np.float64, *held), like=like)


def column(values: FloatN) -> Floats:
    """(N,) as (N, 1), to scale the rows of an (N, S) array."""
    return values[:, None]


def ratio(a: Floats, b: Floats) -> Floats:
    """a / b, and zero where b is zero."""
    nothing = zeros(np.broadcast_shapes(np.shape(a), np.shape(b)), a, b)
    return np.divide(a, b, out=nothing, where=np.asarray(b != 0.0))


def finite(*arrays: Floats) -> BoolN:
    """True where all of them are."""
    return functools.reduce(np.logical_and, (np.isfinite(x) for x in arrays))


def total(parts: Iterable[Floats]) -> Floats:
    """Add arrays that broadcast against each other; nothing adds up to a single zero, (1,)."""
    several = iter(parts)
    return functools.reduce(operator.add, several, next(several, np.zeros(1)))


def each_array(node: Any, change: Callable[[Floats], Floats]) -> Any:
    """A copy of a tree of dataclasses, tuples and mappings with every array replaced by ``change(array)``."""
    if isinstance(node, np.ndarray):
        return change(node)
    if getattr(node, "shared_by_scenarios", False):  # tables have no scenario axis
        return node
    kind: Any = type(node)
    if (names := _fields(kind)) is not None:
        copy = object.__new__(kind)
        copy.__dict__.update({name: each_array(getattr(node, name), change) for name in names})
        return copy
    if isinstance(node, Mapping):
        return {key: each_array(value, change) for key, value in node.items()}
    if isinstance(node, tuple):
        items = [each_array(value, change) for value in node]
        return type(node)(*items) if hasattr(node, "_fields") else tuple(items)
    return node


def leaves(node: Any) -> list[Floats]:
    """Every array of such a tree."""
    found, open_ = list[Floats](), [node]
    while open_:
        branch: Any = open_.pop()
        kind: Any = type(branch)
        if isinstance(branch, np.ndarray):
            found.append(branch)
        elif branch is None or kind is str:
            continue
        elif (names := _fields(kind)) is not None:
            open_ += [getattr(branch, name) for name in names]
        elif isinstance(branch, tuple):
            open_ += branch
        elif isinstance(branch, dict):
            open_ += branch.values()
    return found


@functools.cache
def _fields(kind: type) -> tuple[str, ...] | None:
    """Of a dataclass; None of another type."""
    return tuple(f.name for f in dataclasses.fields(kind)) if dataclasses.is_dataclass(kind) else None


def take(node: Any, rows: slice | IntN) -> Any:
    """The scenarios ``rows`` of a tree; arrays shared by all scenarios (length 1) stay shared."""
    return each_array(node, lambda array: array if array.shape[0] == 1 else array[rows])


def join(parts: Sequence[Any], sizes: Sequence[int] = ()) -> Any:
    """Trees of the same shape over successive scenarios as one; what all scenarios share stays shared.

    sizes : how many scenarios each part has, where one part may share what another does not
    """
    first = parts[0]
    if isinstance(first, np.ndarray):
        return _joined(parts, sizes)
    if getattr(first, "shared_by_scenarios", False):
        return first
    kind: Any = type(first)
    if (names := _fields(kind)) is not None:
        joined = {name: join([getattr(part, name) for part in parts], sizes) for name in names}
        return dataclasses.replace(first, **joined)
    if isinstance(first, Mapping):
        return {key: join([part[key] for part in parts], sizes) for key in first}
    if isinstance(first, tuple):
        items = [join(column, sizes) for column in zip(*parts, strict=True)]
        return type(first)(*items) if hasattr(first, "_fields") else tuple(items)
    return first


def joinable(one: Any, other: Any) -> bool:
    """Whether two trees have the same branches; a plant with more blows of its converters has more."""
    kind: Any = type(one)
    if (names := _fields(kind)) is not None:
        return kind is type(other) and all(joinable(getattr(one, n), getattr(other, n)) for n in names)
    if isinstance(one, Mapping):
        return one.keys() == other.keys() and all(joinable(one[key], other[key]) for key in one)
    if isinstance(one, tuple):
        return len(one) == len(other) and all(map(joinable, one, other))
    return (one is None) == (other is None)


def _joined(parts: Sequence[Floats], sizes: Sequence[int]) -> Floats:
    first = parts[0]
    alike = not sizes or all(np.array_equal(first, part, equal_nan=True) for part in parts)
    if alike and all(part.shape[0] == 1 for part in parts):
        return first
    lengths = sizes or [len(part) for part in parts]
    return np.concatenate(
        [np.broadcast_to(part, (n, *part.shape[1:])) for part, n in zip(parts, lengths, strict=True)]
    )
