"""The array type: numpy hands each operation on it to ``Traced``, which does it on plain numbers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from pyrobal.dimensions import Constant
from pyrobal.trace import graph, measures, units
from pyrobal.trace.composed import COMPOSED, FACTS, LIKE, METHODS
from pyrobal.trace.graph import Leaf, Node, Trace, Units
from pyrobal.trace.moves import MOVES, Output, part_of, written_into
from pyrobal.trace.rules import ELEMENTWISE, LINEAR_SOLVE, MATMUL, MOVE, REDUCE, SLOT

Array = np.ndarray[Any, Any]
_SCALARS: Final = (Constant, float, int)


class Traced(np.ndarray[Any, Any]):
    """An array of floats whose elements know what made them, by ``node``.

    Outside of a trace, and while it is paused, operations give plain arrays. A part that is taken is a copy:
    what is written to it does not reach the whole.
    """

    node: Node

    def __array_ufunc__(self, ufunc: Any, method: str, *inputs: Any, out: Any = None, **options: Any) -> Any:
        trace = graph.STATE.trace
        if trace is None:
            if out is not None:
                options["out"] = tuple(_stripped(o) for o in out)
            return getattr(ufunc, method)(*map(_stripped, inputs), **options)
        if method == "__call__":
            return _call(trace, ufunc, inputs, None if out is None else out[0], options)
        if method == "reduce":
            return _reduce(trace, ufunc, inputs[0], **options)
        if method == "outer":
            a, b = inputs
            return ufunc(np.reshape(a, (*np.shape(a), *(1,) * np.ndim(b))), b)
        trace.complain(f"{ufunc.__name__}.{method} forgets")
        return getattr(ufunc, method)(*map(_stripped, inputs), **options)

    def __array_function__(self, function: Any, types: Any, args: Any, kwargs: Any) -> Any:
        trace = graph.STATE.trace
        if function in LIKE:
            plain = function(*_bare(args), **{k: v for k, v in kwargs.items() if k != "like"})
            return plain if trace is None else _fresh(trace, plain)
        if trace is None or function in FACTS:
            return function(*_bare(args), **_bare(kwargs))
        if (data := MOVES.get(function)) is not None:
            return _move(trace, function, args, kwargs, data)
        if function is np.linalg.solve:
            return _solve(*args)
        if (worked := COMPOSED.get(function)) is not None:
            return worked(*args, **kwargs)
        trace.complain(f"numpy.{function.__name__} forgets")
        return function(*_bare(args), **_bare(kwargs))

    def __getitem__(self, key: Any) -> Any:
        trace = graph.STATE.trace
        value = self.node.value
        if trace is None:
            return value[key]
        key = _bare(key)
        part = np.array(value[key])
        codes = self.node.units
        codes = codes if isinstance(codes, int) else units.one(codes[key])
        return made(part, trace.node(MOVE, part_of, (self.node,), part, codes, arguments=(SLOT, key)))

    def __setitem__(self, key: Any, new: Any) -> None:
        trace, old = graph.STATE.trace, self.node
        if np.may_share_memory(old.value, self):
            old.value = old.value.copy()  # nodes that are made of it mean what it was
        self.view(np.ndarray)[key] = _stripped(new)
        if trace is None:
            self.node = Node(
                None, None, (), self.view(np.ndarray), old.units, None, 0, origin=Leaf("number", "")
            )
            return
        operand = _operand(new)
        codes = np.empty(self.shape, dtype=np.int64)
        codes[...] = old.units
        shared = units.of(operand)
        codes[key] = shared
        self.node = trace.node(
            MOVE,
            written_into,
            (old, operand),
            self.view(np.ndarray),
            units.one(codes),
            arguments=(SLOT, key, SLOT),
        )

    def __iter__(self) -> Iterator[Any]:
        return (self[i] for i in range(len(self)))

    def __float__(self) -> float:
        if graph.STATE.trace is not None:
            graph.STATE.trace.complain("float() forgets")
        return float(self.node.value)

    def __repr__(self) -> str:
        return f"Traced({self.node.value!r}, {units.text(self.node.units)})"

    __str__ = __repr__

    def tolist(self) -> Any:
        if graph.STATE.trace is not None:
            graph.STATE.trace.complain("tolist() forgets")
        return self.node.value.tolist()

    def item(self, *args: Any) -> Any:
        return float(self[args] if args else self)

    @property  # type: ignore[misc]
    def real(self) -> Any:
        return self if graph.STATE.trace is not None else self.node.value

    @property
    def T(self) -> Any:
        return np.transpose(self)

    def copy(self, order: Any = "C") -> Any:
        if graph.STATE.trace is None:
            return self.node.value.copy()
        return made(self.node.value.copy(), self.node)

    def astype(self, dtype: Any, *args: Any, **kwargs: Any) -> Any:
        kept = np.dtype(dtype).kind == "f" and graph.STATE.trace is not None
        return self.copy() if kept else self.node.value.astype(dtype, *args, **kwargs)


for _name, _function in METHODS.items():
    setattr(Traced, _name, _function)


def made(value: Any, node: Node) -> Traced:
    """A traced array of a node."""
    array: Traced = value.view(Traced)
    array.node = node
    return array


def leaf(trace: Trace, value: Any, code: Units, origin: Leaf) -> Traced:
    """A traced array that no operation made."""
    value = np.array(value, dtype=np.float64)
    return made(value, trace.node(None, None, (), value, _spread(code, value), origin=origin))


def _spread(code: Units, value: Array) -> Units:
    """One code for all elements, or one for each."""
    return code if type(code) is int or code.shape == value.shape else np.broadcast_to(code, value.shape)


def _fresh(trace: Trace, plain: Array) -> Any:
    """Zeros, or other numbers, to be filled."""
    if plain.dtype.kind != "f":
        return plain
    value = plain.copy()
    node = trace.node(None, None, (), value, units.of(value), origin=Leaf("number", ""))
    return made(plain, node)


def _stripped(x: Any) -> Any:
    return x.node.value if type(x) is Traced else x


def _bare(x: Any) -> Any:
    """Plain arrays within lists and tuples too."""
    kind = type(x)
    if kind is Traced:
        return x.node.value
    if kind is tuple or kind is list:
        return kind([_bare(part) for part in x])
    if kind is dict:
        return {k: _bare(part) for k, part in x.items()}
    return x


def _operand(x: Any) -> Any:
    """A node, a constant, or a plain array; of a table that a module keeps, a node."""
    if type(x) is Traced:
        return x.node
    if isinstance(x, _SCALARS):
        return x
    array = np.asarray(x)
    known = units.declared(array)
    trace = graph.STATE.trace
    if known is None or trace is None:
        return array
    whole, name, of, source, labels = known
    key = ("declared", id(whole))
    if key not in trace.kept:
        trace.kept[key] = leaf(trace, whole, of.code, Leaf("table", name, labels, source))
    if array is whole:
        return trace.kept[key].node
    return np.reshape(trace.kept[key], -1)[units.places(array, whole)].node


def _call(trace: Trace, ufunc: Any, inputs: tuple[Any, ...], out: Any, options: dict[str, Any]) -> Any:
    found, values, of = [], [], []
    for x in inputs:
        operand = x.node if type(x) is Traced else _operand(x)
        found.append(operand)
        if type(operand) is Node:
            values.append(operand.value)
            of.append(operand.units)
        else:
            values.append(x)
            of.append(units.of(operand))
    operands = tuple(found)
    if ufunc is np.matmul:
        value = np.asarray(np.matmul(*values))
        codes = measures.matmul(trace, operands)
        return made(value, trace.node(MATMUL, ufunc, operands, value, _spread(codes, value)))
    if ufunc not in measures.OF_UFUNC:
        trace.complain(f"{ufunc.__name__} forgets")
        return ufunc(*values, **options)
    codes = measures.elementwise(trace, ufunc, operands, of)
    asked = {"where": options["where"]} if options and options.get("where", True) is not True else None
    if asked is not None:
        options = {**options, "out": _stripped(out).copy()}
    value = ufunc(*values, **options)
    if codes is None:
        return value
    if type(value) is not np.ndarray:  # of arrays without axes a number
        value = np.asarray(value)
    array = made(value, trace.node(ELEMENTWISE, ufunc, operands, value, _spread(codes, value), (), asked))
    if asked is not None:
        chosen: Any = np.where(asked["where"], array, out)
        array = chosen
    return _put_into(out, array) if type(out) is Traced else array


def _put_into(out: Traced, array: Traced) -> Traced:
    """Of ``x += y``: the same object holds the new value."""
    if np.may_share_memory(out.node.value, out):
        out.node.value = out.node.value.copy()
    out.view(np.ndarray)[...] = array.node.value
    out.node = array.node
    return out


def _reduce(trace: Trace, ufunc: Any, x: Any, axis: Any = 0, keepdims: bool = False, **options: Any) -> Any:
    node = x.node
    options = {k: v for k, v in options.items() if k not in ("out", "dtype") and v is not np._NoValue}
    result = ufunc.reduce(node.value, axis=axis, keepdims=keepdims, **options)
    if ufunc not in (np.add, np.maximum, np.minimum):
        if ufunc not in (np.logical_or, np.logical_and):
            trace.complain(f"{ufunc.__name__}.reduce forgets")
        return result
    ndim = node.value.ndim
    axes = tuple(range(ndim)) if axis is None else axis if isinstance(axis, tuple) else (axis,)
    axes = tuple(a % ndim for a in axes)
    codes = measures.reduced(trace, ufunc, node, axes, keepdims)
    value = np.asarray(result)
    return made(
        value,
        trace.node(REDUCE, ufunc, (node,), value, codes, options={"axis": axes, "keepdims": keepdims}),
    )


def _move(trace: Trace, function: Any, args: Any, kwargs: Any, data: slice) -> Any:
    """A function that puts elements in other places."""
    operands: list[Any] = []

    def slot(x: Any) -> Any:
        if type(x) in (list, tuple):
            return type(x)(slot(part) for part in x)
        operands.append(_operand(x))
        return SLOT

    plain = _bare(args)
    arguments = list(plain)
    arguments[data] = [slot(a) for a in args[data]]
    options = _bare(kwargs)
    result = function(*plain, **options)
    several = isinstance(result, (list, tuple))
    found = []
    for k, part in enumerate(result if several else (result,)):
        one = Output(function, k) if several else function
        value = np.array(part)
        node = trace.node(
            MOVE, one, tuple(operands), value, units.ANY, arguments=tuple(arguments), options=options
        )
        node.units = measures.moved(trace, node)
        found.append(made(value, node))
    return type(result)(found) if several else found[0]


def _solve(a: Any, b: Any) -> Any:
    trace = graph.STATE.trace
    assert trace is not None
    operands = (_operand(a), _operand(b))
    value = np.linalg.solve(_stripped(a), _stripped(b))
    codes = measures.solution(trace, operands)
    return made(value, trace.node(LINEAR_SOLVE, np.linalg.solve, operands, value, codes))
