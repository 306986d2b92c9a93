"""How elements of an operation's value hang on elements of its operands: which, and by what slope.

Each rule says two things of a node: ``parents`` of one element, as (operand, flat index), and ``pull``, the
adjoints of the operands where the adjoint of the value is given for several readings at once: (B, *shape).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final, Protocol

import numpy as np

from pyrobal.trace.graph import Node, number

Array = np.ndarray[Any, Any]
Parent = tuple[Any, int]  # an operand and the flat index of one of its elements
Pulled = Iterator[tuple[Any, Array]]

_STEP: Final = 1e-20  # imaginary, relative: it takes part in no rounding


class Rule(Protocol):
    """What a kind of operation says of its nodes."""

    def parents(self, node: Node, element: int) -> list[Parent]:
        """The elements that one was made of."""
        ...

    def pull(self, node: Node, adjoint: Array) -> Pulled:
        """The operands that are nodes, each with its adjoint."""
        ...


def slope(node: Node, k: int) -> Array:
    """Of an operation by element, the derivative to its operand ``k``, broadcast: exact, by complex step."""
    values = [number(operand) for operand in node.operands]
    with np.errstate(all="ignore"):
        if node.function in (np.absolute, np.fabs):
            return np.sign(values[0])
        if node.function in (np.maximum, np.minimum, np.fmax, np.fmin):
            return np.asarray(node.value == values[k]) & ~np.asarray(
                k == 1 and values[0] == values[1]
            ) | np.zeros(node.value.shape, bool)
        if node.function in _STEPS:
            return np.zeros(1)
        step = _STEP * np.where(values[k] == 0.0, 1.0, np.abs(values[k]))
        values[k] = values[k] + 1j * step
        assert node.function is not None
        return node.function(*values).imag / step


_STEPS: Final = (np.rint, np.floor, np.ceil, np.trunc, np.floor_divide)


def _unbroadcast(adjoint: Array, shape: tuple[int, ...]) -> Array:
    """Summed over the axes along which an operand was repeated; the first axis stays."""
    extra = adjoint.ndim - 1 - len(shape)
    if extra > 0:
        adjoint = adjoint.sum(axis=tuple(range(1, 1 + extra)))
    repeated = tuple(i + 1 for i, n in enumerate(shape) if n == 1 and adjoint.shape[i + 1] != 1)
    return adjoint.sum(axis=repeated, keepdims=True) if repeated else adjoint


def _times(adjoint: Array, factor: Array) -> Array:
    """What has no weight stays without, even where a slope is undefined."""
    with np.errstate(all="ignore"):
        found = adjoint * factor
    return found if np.isfinite(found).all() else np.where(adjoint == 0.0, 0.0, found)


class Elementwise:
    """A ufunc: each element from those at its place in the operands, which are broadcast."""

    def parents(self, node: Node, element: int) -> list[Parent]:
        return [
            (operand, _place(number(operand).shape, node.value.shape, element)) for operand in node.operands
        ]

    def pull(self, node: Node, adjoint: Array) -> Pulled:
        for k, operand in enumerate(node.operands):
            if type(operand) is Node:
                yield operand, _unbroadcast(_times(adjoint, slope(node, k)), operand.value.shape)


def _place(shape: tuple[int, ...], whole: tuple[int, ...], element: int) -> int:
    """Flat index in an operand of ``shape`` of what became an element of the whole."""
    if shape == whole:
        return element
    at = np.unravel_index(element, whole)[len(whole) - len(shape) :] if whole else ()
    return (
        int(np.ravel_multi_index(tuple(0 if n == 1 else i for i, n in zip(at, shape, strict=True)), shape))
        if shape
        else 0
    )


class Move:
    """Elements go to other places unchanged: the same function, done with their numbers, tells where from."""

    def sources(self, node: Node) -> tuple[Array, list[int]]:
        """Number of the element behind each place, through all operands; where each operand begins."""
        begins = np.cumsum([0, *(number(operand).size for operand in node.operands)]).tolist()
        numbered = iter(
            [
                np.arange(begin, begin + number(operand).size).reshape(number(operand).shape)
                for begin, operand in zip(begins, node.operands, strict=False)
            ]
        )
        return np.asarray(again(node, lambda _: next(numbered))), begins

    def parents(self, node: Node, element: int) -> list[Parent]:
        sources, begins = self.sources(node)
        source = int(sources.flat[element])
        k = int(np.searchsorted(begins, source, side="right")) - 1
        while number(node.operands[k]).size == 0:
            k -= 1
        return [(node.operands[k], source - begins[k])]

    def pull(self, node: Node, adjoint: Array) -> Pulled:
        sources, begins = self.sources(node)
        rows = len(adjoint)
        flat = np.zeros((rows, begins[-1]))
        where, moved = sources.ravel(), adjoint.reshape(rows, -1)
        if len(np.unique(where)) == where.size:
            flat[:, where] = moved
        else:
            np.add.at(flat.T, where, moved.T)
        for k, operand in enumerate(node.operands):
            if type(operand) is Node:
                yield operand, flat[:, begins[k] : begins[k + 1]].reshape(rows, *operand.value.shape)


class _Slot:
    """Stands for the next operand in stored arguments."""


SLOT: Final = _Slot()


def again(node: Node, put: Any) -> Any:
    """The function of a node done once more with ``put(k)`` in place of its operands."""
    count = iter(range(len(node.operands)))

    def filled(part: Any) -> Any:
        if part is SLOT:
            return put(next(count))
        if type(part) in (list, tuple):
            return type(part)(filled(p) for p in part)
        return part

    assert node.function is not None
    return node.function(*(filled(a) for a in node.arguments), **(node.options or {}))


class Reduce:
    """A sum, or the largest or least, along axes."""

    def parents(self, node: Node, element: int) -> list[Parent]:
        (operand,) = node.operands
        numbers = np.arange(operand.value.size).reshape(operand.value.shape)
        line = _lines(numbers, node)[element].ravel()
        if node.function is np.add:
            return [(operand, int(i)) for i in line]
        value = node.value.flat[element]
        return [(operand, int(i)) for i in line if operand.value.flat[i] == value][:1]

    def pull(self, node: Node, adjoint: Array) -> Pulled:
        (operand,) = node.operands
        assert node.options is not None
        axes, keep = node.options["axis"], node.options["keepdims"]
        inner = tuple(a + 1 if a >= 0 else a for a in axes)
        wide = adjoint if keep else np.expand_dims(adjoint, inner) if inner else adjoint
        if node.function is np.add:
            yield operand, np.broadcast_to(wide, (len(adjoint), *operand.value.shape))
            return
        value = node.value if keep else np.expand_dims(node.value, axes)
        hit = operand.value == value
        first = (
            hit & (np.cumsum(hit, axis=axes[0]) == 1)
            if len(axes) == 1
            else hit / np.maximum(hit.sum(axis=axes, keepdims=True), 1)
        )
        yield operand, wide * first


def _lines(numbers: Array, node: Node) -> Array:
    """(elements of the value, elements that each is made of)."""
    assert node.options is not None
    axes = node.options["axis"]
    return np.moveaxis(numbers, axes, range(-len(axes), 0)).reshape(node.value.size, -1)


class MatMul:
    """A product of matrices, or of a matrix and a vector."""

    def parents(self, node: Node, element: int) -> list[Parent]:
        a, b = node.operands
        left, right = (np.arange(number(x).size).reshape(number(x).shape) for x in (a, b))
        row, column = _line_up(left, right, node.value.shape, element)
        return [pair for i, j in zip(row, column, strict=True) for pair in ((a, int(i)), (b, int(j)))]

    def pull(self, node: Node, adjoint: Array) -> Pulled:
        a, b = node.operands
        A, B = number(a), number(b)
        wide_a, wide_b = A if A.ndim > 1 else A[None, :], B if B.ndim > 1 else B[:, None]
        up = adjoint
        if A.ndim == 1:
            up = np.expand_dims(up, -1 if B.ndim == 1 else -2)
        if B.ndim == 1:
            up = np.expand_dims(up, -1)
        if type(a) is Node:
            yield a, _unbroadcast(up @ np.swapaxes(wide_b, -1, -2), wide_a.shape).reshape(len(up), *A.shape)
        if type(b) is Node:
            yield b, _unbroadcast(np.swapaxes(wide_a, -1, -2) @ up, wide_b.shape).reshape(len(up), *B.shape)


def _line_up(left: Array, right: Array, shape: tuple[int, ...], element: int) -> tuple[Array, Array]:
    """The row and the column behind an element of a product of matrices."""
    wide_l, wide_r = left if left.ndim > 1 else left[None, :], right if right.ndim > 1 else right[:, None]
    batch = np.broadcast_shapes(wide_l.shape[:-2], wide_r.shape[:-2])
    rows = np.broadcast_to(wide_l, (*batch, *wide_l.shape[-2:]))
    columns = np.broadcast_to(wide_r, (*batch, *wide_r.shape[-2:]))
    *place, row, column = (
        int(i) for i in np.unravel_index(element, (*batch, rows.shape[-2], columns.shape[-1]))
    )
    return rows[tuple(place)][row], columns[tuple(place)][:, column]


class LinearSolve:
    """x of A x = b, for vectors stacked in the last axis of b."""

    def parents(self, node: Node, element: int) -> list[Parent]:
        a, b = node.operands
        n, columns = node.value.shape[-2:]
        block, column = element // (n * columns), element % columns
        block_a = block if number(a).ndim > 2 and len(number(a)) > 1 else 0
        from_a = [(a, block_a * n * n + i) for i in range(n * n)]
        return from_a + [(b, block * n * columns + i * columns + column) for i in range(n)]

    def pull(self, node: Node, adjoint: Array) -> Pulled:
        a, b = node.operands
        A = number(a)
        pulled = np.linalg.solve(np.broadcast_to(np.swapaxes(A, -1, -2), (len(adjoint), *A.shape)), adjoint)
        if type(b) is Node:
            yield b, _unbroadcast(pulled, b.value.shape)
        if type(a) is Node:
            yield a, _unbroadcast(-pulled @ np.swapaxes(node.value, -1, -2), a.value.shape)


class Solved:
    """Unknowns at which equations are zero: operands are the unknowns as they enter them, and the equations.

    dz = -(df/dz)^-1 df; rows of the unknowns are independent of each other, see ``slopes``.
    """

    def parents(self, node: Node, element: int) -> list[Parent]:
        _, equations = node.operands
        row = element // (node.value.size // len(node.value))
        width = equations.value.size // len(equations.value)
        return [(equations, row * width + i) for i in range(width)]

    def pull(self, node: Node, adjoint: Array) -> Pulled:
        raise NotImplementedError("slopes works these out itself")


ELEMENTWISE: Final = Elementwise()
MOVE: Final = Move()
REDUCE: Final = Reduce()
MATMUL: Final = MatMul()
LINEAR_SOLVE: Final = LinearSolve()
SOLVED: Final = Solved()
