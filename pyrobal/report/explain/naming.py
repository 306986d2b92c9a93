"""What the operands of an equation are called."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from pyrobal.report.explain import words
from pyrobal.report.explain.expression import Expression, operands
from pyrobal.report.explain.labels import Labels
from pyrobal.report.explain.source import spot
from pyrobal.report.explain.step import Step, Told
from pyrobal.report.explain.way import Passed
from pyrobal.trace.graph import Leaf, Node

_NEAR: Final = 150  # nodes of the graph


class Naming:
    """Of one history.

    materials : names of what is charged; nodes : id of a step -> its node
    """

    def __init__(self, labels: Labels, materials: set[str], nodes: dict[int, Node]) -> None:
        self._labels, self._materials, self._nodes = labels, materials, nodes

    def told(self, expression: Expression) -> Told:
        """Where several operands have one name, each with the material it is of, else numbered."""
        of_name: dict[str, dict[int, Step]] = {}
        for part in operands(expression):
            of_name.setdefault(part.name, {})[id(part.step)] = part.step
        names = {}
        for name, steps in of_name.items():
            owners = [self._owner(step) for step in steps.values()] if len(steps) > 1 else [""]
            apart = len(set(owners)) == len(owners) and "" not in owners
            for n, (key, owner) in enumerate(zip(steps, owners, strict=True)):
                names[key] = f"{name} of {owner}" if apart else name if n == 0 else f"{name} ({n + 1})"
        return Told(expression, names)

    def _owner(self, step: Step) -> str:
        """The one material whose settings stand right behind a step."""
        node = self._nodes.get(id(step))
        seen, ahead, owners = {node}, [node], set()
        for at in ahead:
            if at is None or len(seen) > _NEAR:
                break
            if isinstance(at.origin, Leaf) and at.origin.kind == "setting":
                owners |= set(at.origin.name.split(".")[1:-1])
            ahead += [o for o in dict.fromkeys(at.nodes()) if o not in seen]
            seen |= set(at.nodes())
        named = owners & self._materials
        return named.pop() if len(named) == 1 else ""

    def of(self, node: Node, k: int, made: Any, i: int, passed: Passed, step: Step) -> str:
        """What the statement calls an operand, else what the one that made it does."""
        if step.name:
            return step.name
        if step.kind == "constant" and step.value == 1.0:
            return f"1 {step.unit}"
        here = spot(node.place)
        name = words.of(here.operand(k)) if here is not None else ""
        way = [*passed, (made, i)] if type(made) is Node else passed
        if not words.says_much(name):
            bound = self.bound(made, passed)
            name = next((x for x in (bound, self._holder(way)) if words.says_much(x)), name or bound)
        label = next((x for n, e in way if (x := self._labels.of(n, e))), "")
        if label and label.partition("(")[0] not in name:
            whole = self._holder(way) or name
            return f"{label} in {whole}" if words.says_much(whole) else label
        return name

    def _holder(self, way: Passed) -> str:
        """The result that holds the whole value."""
        return next((x for n, _ in way if (x := self._labels.holder(n))), "")

    def condition(self, node: Node) -> str:
        """When the first of two values is taken, in words, and what the other is."""
        here = spot(node.place)
        if here is None or node.function is not np.where or here.place.startswith("readings/"):
            return ""
        said = [words.sentence(part) for k in range(3) if (part := here.operand(k)) is not None]
        return " if ".join([said[1], said[0]]) + f", else {said[2]}" if len(said) == 3 else ""

    def bound(self, made: Any, passed: Passed) -> str:
        """The name of the first statement that holds the whole value."""
        places = [spot(n.place) for n in (*(n for n, _ in passed), made) if type(n) is Node]
        names = [at.name for at in places if at is not None]
        return next((n for n in names if words.says_much(n)), next((n for n in names if n), ""))

    @staticmethod
    def fallback(step: Step) -> str:
        return words.plain(step.spot.function) if step.spot is not None and step.spot.function else "value"
