"""The array type: numpy hands each operation on it to ``Traced``, which does it on plain numbers."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, Final

import numpy as np

from pyrobal.dimensions import Constant
from pyrobal.trace import graph, measures, units
from pyrobal.trace.composed import COMPOSED, FACTS, LIKE, MOVES
from pyrobal.trace.graph import Leaf, Node, Trace, Units
from pyrobal.trace.rules import ELEMENTWISE, LINEAR_SOLVE, MATMUL, MOVE, REDUCE, SLOT

Array = np.ndarray[Any, Any]


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
        return made(part, trace.node(MOVE, _part, (self.node,), part, codes, arguments=(SLOT, key)))

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
        codes = np.broadcast_to(old.units, self.shape).copy()
        shared = units.of(operand)
        codes[key] = shared
        self.node = trace.node(
            MOVE,
            _written,
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


def _method(name: str) -> Callable[..., Any]:
    function = getattr(np, name)

    def method(self: Traced, *args: Any, **kwargs: Any) -> Any:
        return function(self, *args, **kwargs)

    return method


def _reshape(self: Traced, *shape: Any, **kwargs: Any) -> Any:
    return np.reshape(self, shape[0] if len(shape) == 1 else shape, **kwargs)


def _transpose(self: Traced, *axes: Any) -> Any:
    return np.transpose(self, (axes[0] if len(axes) == 1 else axes) or None)


for _name in (
    "ravel", "swapaxes", "repeat", "take", "squeeze", "clip", "dot", "cumsum", "argmax", "argmin", "argsort",
    "nonzero", "searchsorted", "diagonal", "mean", "trace",
):  # fmt: skip
    setattr(Traced, _name, _method(_name))
for _name, _own in (("flatten", _method("ravel")), ("reshape", _reshape), ("transpose", _transpose)):
    setattr(Traced, _name, _own)


def made(value: Any, node: Node) -> Traced:
    """A traced array of a node."""
    array: Traced = value.view(Traced)
    array.node = node
    return array


def leaf(trace: Trace, value: Any, code: Units, origin: Leaf) -> Traced:
    """A traced array that no operation made."""
    value = np.array(value, dtype=np.float64)
    code = code if isinstance(code, int) else np.broadcast_to(code, value.shape)
    return made(value.copy(), trace.node(None, None, (), value, code, origin=origin))


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
    if type(x) is Traced:
        return x.node.value
    if type(x) in (list, tuple):
        return type(x)(_bare(part) for part in x)
    if type(x) is dict:
        return {k: _bare(part) for k, part in x.items()}
    return x


def _operand(x: Any) -> Any:
    """A node, a constant, or a plain array; of a table that a module keeps, a node."""
    if type(x) is Traced:
        return x.node
    if isinstance(x, Constant | float | int):
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
    at = (array.__array_interface__["data"][0] - whole.__array_interface__["data"][0]) // whole.itemsize
    places = np.lib.stride_tricks.as_strided(np.arange(whole.size)[at:], array.shape, array.strides)
    return np.reshape(trace.kept[key], -1)[places].node


def _part(whole: Any, key: Any) -> Any:
    return whole[key]


def _written(whole: Any, key: Any, new: Any) -> Any:
    found = np.array(whole)
    found[key] = new
    return found


def _call(trace: Trace, ufunc: Any, inputs: tuple[Any, ...], out: Any, options: dict[str, Any]) -> Any:
    values, operands = [], []
    for x in inputs:
        if type(x) is Traced:
            values.append(x.node.value)
            operands.append(x.node)
        else:
            values.append(x)
            operands.append(_operand(x))
    if ufunc is np.matmul:
        value = np.asarray(np.matmul(*values))
        codes = measures.matmul(trace, operands)
        codes = codes if isinstance(codes, int) else np.broadcast_to(codes, value.shape)
        return made(value, trace.node(MATMUL, ufunc, tuple(operands), value, codes))
    rule = measures.OF_UFUNC.get(ufunc)
    if rule is None:
        trace.complain(f"{ufunc.__name__} forgets")
        return ufunc(*values, **options)
    codes = rule(trace, ufunc, operands)
    asked = {"where": options["where"]} if options and options.get("where", True) is not True else None
    if asked is not None:
        options = {**options, "out": _stripped(out).copy()}
    value = ufunc(*values, **options)
    if codes is None:
        return value
    value = np.asarray(value)
    if not isinstance(codes, int):
        codes = np.broadcast_to(codes, value.shape)
    array = made(value, trace.node(ELEMENTWISE, ufunc, tuple(operands), value, codes, (), asked))
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
    codes = units.along(trace, node.units, axes, keepdims, f"a {_WORD[ufunc]}")
    value = np.asarray(result)
    return made(
        value,
        trace.node(REDUCE, ufunc, (node,), value, codes, options={"axis": axes, "keepdims": keepdims}),
    )


_WORD: Final = {np.add: "sum", np.maximum: "largest", np.minimum: "least"}


def _move(trace: Trace, function: Any, args: Any, kwargs: Any, data: slice) -> Any:
    """A function that puts elements in other places."""
    operands: list[Any] = []

    def slot(x: Any) -> Any:
        if type(x) in (list, tuple):
            return type(x)(slot(part) for part in x)
        operands.append(_operand(x))
        return SLOT

    arguments = [_bare(a) for a in args]
    arguments[data] = [slot(a) for a in args[data]]
    options = _bare(kwargs)
    result = function(*_bare(args), **options)
    parts = list(result) if isinstance(result, list | tuple) else [result]
    found = []
    for k, part in enumerate(parts):
        one = function if not isinstance(result, list | tuple) else _Output(function, k)
        value = np.array(part)
        node = trace.node(
            MOVE, one, tuple(operands), value, units.ANY, arguments=tuple(arguments), options=options
        )
        node.units = measures.moved(trace, node)
        found.append(made(value, node))
    return found[0] if not isinstance(result, list | tuple) else type(result)(found)


class _Output:
    """One of several arrays that a function gives."""

    def __init__(self, function: Any, k: int) -> None:
        self.function, self.k = function, k

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        return self.function(*args, **kwargs)[self.k]


def _solve(a: Any, b: Any) -> Any:
    trace = graph.STATE.trace
    assert trace is not None
    operands = (_operand(a), _operand(b))
    value = np.linalg.solve(_stripped(a), _stripped(b))
    codes = measures.solution(trace, operands)
    return made(value, trace.node(LINEAR_SOLVE, np.linalg.solve, operands, value, codes))
