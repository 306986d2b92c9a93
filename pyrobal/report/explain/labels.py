"""What the columns of an array are of: substances and elements, by the tables that went in and the
streams that came out."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np

from pyrobal.flowsheet.results import Results
from pyrobal.report.explain import words
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.trace.array import Traced
from pyrobal.trace.graph import Leaf, Node
from pyrobal.trace.rules import ELEMENTWISE, LINEAR_SOLVE, MATMUL, MOVE, REDUCE, SLOT

_FURTHEST: Final = 40  # operations back
_LONGEST: Final = 4  # words of a path
_WHOLE: Final = ("circuit", "gas_side")  # parts of the results that are no part of the plant
_STEPS: Final = (ELEMENTWISE, MOVE, LINEAR_SOLVE)


Names = tuple[str, ...]


class Labels:
    """Of the last axis, by node; and what holds it, of arrays that are results."""

    def __init__(self, results: Results) -> None:
        self._found: dict[Node, Names] = {}
        self._holders: dict[Node, str] = {}
        for path, holder, name, node in _arrays("", results):
            self._holders.setdefault(node, path if hasattr(holder, "phase") else words.plain(name))
            names = getattr(getattr(holder, "phase", None), "names", ())
            if node.value.shape[-1:] == (len(names),):
                self._handed_back(node, tuple(names))

    def holder(self, node: Node) -> str:
        """What the results call the array: "matte of smelting"; "" of others."""
        return self._holders.get(node, "")

    def of(self, node: Node, element: int) -> str:
        """Of one element; "" where nothing is known."""
        if not node.value.ndim or node.value.shape[-1] < 2:
            return ""
        found = self._of(node, _FURTHEST)
        return found[element % node.value.shape[-1]] if found else ""

    def _handed_back(self, node: Node, names: Names) -> None:
        """To what an array was made of, column by column."""
        ahead = [(node, names)]
        while ahead:
            at, names = ahead.pop()
            if at not in self._found:
                self._found[at] = names
                ahead += _behind(at, names)

    def _of(self, node: Node, most: int) -> Names:
        if node not in self._found:
            self._found[node] = ()
            self._found[node] = self._sought(node, most) if most else ()
        return self._found[node]

    def _sought(self, node: Node, most: int) -> Names:
        shape = node.value.shape
        if isinstance(node.origin, Leaf):
            labels = node.origin.labels
            if len(shape) == 1 or shape[0] == 1:
                return labels if (len(labels),) == shape[-1:] else ()
            return ELEMENTS if shape[-1:] == (len(ELEMENTS),) else ()
        sides = node.operands[1:] if node.rule is MATMUL else node.operands
        for operand in sides:
            alike = type(operand) is Node and operand.value.shape[-1:] == shape[-1:]
            if alike and _in_order(node, operand) and (found := self._of(operand, most - 1)):
                return found
        return ()


def _in_order(node: Node, operand: Node) -> bool:
    """Whether columns of the operand are columns of the value."""
    if node.rule is MOVE and len(node.operands) == 1:
        width = operand.value.shape[-1]
        sources, _ = node.rule.sources(node)
        return bool(np.all(sources % width == np.arange(width)))
    if node.rule is REDUCE:
        return node.options is not None and operand.value.ndim - 1 not in node.options["axis"]
    return node.rule in _STEPS or (node.rule is MATMUL and operand is node.operands[1])


def _behind(node: Node, names: Names) -> Iterator[tuple[Node, Names]]:
    """The operands whose columns are those of the value, or some of them, with their names."""
    if node.rule is not MOVE:
        same = (o for o in node.nodes() if o.value.shape[-1:] == (len(names),) and _in_order(node, o))
        yield from ((o, names) for o in same)
        return
    sources, begins = node.rule.sources(node)
    if np.shape(sources)[-1:] != (len(names),):
        return
    row = np.asarray(sources).reshape(-1, len(names))[0]
    for k, operand in enumerate(node.operands):
        written = (
            len(node.operands) == 2 and any(a is SLOT for a in node.arguments) and k == 1
        )  # into some of the columns
        if type(operand) is Node and operand.value.ndim and operand.value.size and not written:
            width = operand.value.shape[-1]
            mine = np.flatnonzero((row >= begins[k]) & (row < begins[k + 1]))
            columns = dict(zip(((row[mine] - begins[k]) % width).tolist(), mine.tolist(), strict=True))
            if len(columns) == width > 1:
                yield operand, tuple(names[columns[i]] for i in range(width))


def _arrays(path: str, node: Any, name: str = "", holder: Any = None) -> Iterator[tuple[str, Any, str, Node]]:
    """Every traced array of the results: the path to what holds it, that, its own name, and its node."""
    if type(node) is Traced:
        yield path, holder, name, node.node
    elif isinstance(node, Mapping):
        for key, part in node.items():
            yield from _arrays(path, part, str(key), holder)
    elif isinstance(node, tuple | list) and not hasattr(node, "_fields"):
        for i, part in enumerate(node):
            one = getattr(part, "name", f"{name.removesuffix('s')} {i + 1}")
            yield from _arrays(path, part, one if isinstance(one, str) else name, holder)
    elif hasattr(node, "_fields"):
        for field in node._fields:
            yield from _arrays(path, getattr(node, field), field, holder)
    elif dataclasses.is_dataclass(node) and not isinstance(node, type) and name != "inputs":
        own = " ".join([*path.split(" "), words.plain(name)][-_LONGEST:]).strip()
        own = "" if name in _WHOLE else own
        for field in dataclasses.fields(node):
            yield from _arrays(own, getattr(node, field.name), field.name, node)
