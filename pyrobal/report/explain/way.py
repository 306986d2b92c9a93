"""The way back from a number to the operation that made it, past those that change nothing."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from pyrobal.dimensions import ONE, unit_of
from pyrobal.trace.graph import Leaf, Node, number
from pyrobal.trace.rules import ELEMENTWISE, MOVE, REDUCE

_GUARDS: Final = (np.maximum, np.fmax, np.minimum, np.fmin)
_WRITTEN: Final = ("number", "formula")  # kinds of leaves that are what the code says
Passed = list[tuple[Node, int]]


class Way:
    """Through one graph; where elements were moved from is worked out once."""

    def __init__(self) -> None:
        self._sources: dict[Node, tuple[Any, list[int]]] = {}

    def back(self, operand: Any, element: int) -> tuple[Any, int, Passed]:
        """The operation that made a number, past those that only moved it; and these."""
        passed: Passed = []
        while type(operand) is Node and (onward := self._onward(operand, element)) is not None:
            passed.append((operand, element))
            operand, element = onward
        return operand, element, passed

    def _onward(self, node: Node, element: int) -> tuple[Any, int] | None:
        """Where a number came from that this operation did not change."""
        if node.rule is MOVE:
            return self._moved(node, element)
        if node.rule is REDUCE and node.function is not np.add:
            (only,) = node.rule.parents(node, element)[:1]
            return only
        if node.rule is REDUCE:
            parents = [(o, i) for o, i in node.rule.parents(node, element) if number(o).flat[i] != 0.0]
            return parents[0] if len(parents) == 1 else None
        if node.rule is not ELEMENTWISE:
            return None
        if len(node.operands) == 1:
            return node.rule.parents(node, element)[0] if node.function is np.positive else None
        pairs = node.rule.parents(node, element)[:2]
        values = [float(np.real(number(o).flat[i])) for o, i in pairs]
        for k in (0, 1):
            plain = values[1 - k] in (0.0, 1.0) or node.function in _GUARDS
            if plain and _changes_nothing(node.function, values, k, self._stated(*pairs[1 - k])):
                return pairs[k]
        return None

    def _stated(self, operand: Any, element: int) -> bool:
        """Whether a number is written in the code, and was not worked out."""
        while type(operand) is Node and operand.rule is MOVE:
            operand, element = self._moved(operand, element)
        if type(operand) is not Node:
            return unit_of(operand) is ONE if isinstance(operand, float) else True
        return isinstance(operand.origin, Leaf) and operand.origin.kind in _WRITTEN

    def _moved(self, node: Node, element: int) -> tuple[Any, int]:
        if node not in self._sources:
            self._sources[node] = node.rule.sources(node)
        sources, begins = self._sources[node]
        source = int(sources.flat[element])
        k = int(np.searchsorted(begins, source, side="right")) - 1
        return node.operands[k], source - begins[k]


def _changes_nothing(function: Any, values: list[float], k: int, stated: bool) -> bool:
    """Whether the value is that of operand ``k``: nothing added, taken once, a guard that did not bind."""
    beside = values[1 - k]
    if function is np.add or (function is np.subtract and k == 0):
        return beside == 0.0
    if function is np.multiply or (function is np.divide and k == 0):
        return stated and beside == 1.0
    if function in (np.maximum, np.fmax):
        return stated and values[k] > beside
    return function in (np.minimum, np.fmin) and stated and values[k] < beside
