"""One case solved with its history, and its readings explained one by one."""

from __future__ import annotations

from types import CodeType

import numpy as np

from pyrobal.case.load import Case
from pyrobal.readings import registry
from pyrobal.report.explain.known import Known
from pyrobal.report.explain.source import Spot, spot
from pyrobal.report.explain.step import Step
from pyrobal.report.explain.teller import Teller
from pyrobal.report.result import Result
from pyrobal.studies.history import history
from pyrobal.trace.graph import Node


class Story:
    """A single case solved in a trace, to explain any of its readings."""

    def __init__(self, case: Case) -> None:
        with np.errstate(all="ignore"):
            self.history = history(case.inputs)
        self.result = Result(case, self.history.results)
        self.lines = {line.key: line for line in self.result.lines}
        self.known = Known(case, self.history, self.lines)
        self._teller = Teller(self.known)

    def explain(self, key: str) -> Step:
        """The way from the inputs to one reading.

        Raises KeyError, with the nearest key, for a reading the case does not have.
        """
        registry.find(key)
        if key not in self.lines:
            raise KeyError(f"{key} has no value in this case")
        return self._teller.root(key)

    def sources(self, key: str) -> tuple[str, ...]:
        """Published sources of every equation that a reading of the case comes from, the nearest first."""
        seen: dict[Node, None] = {self.history.nodes[key]: None}
        functions: dict[CodeType, Spot] = {}
        ahead = list(seen)
        for node in ahead:
            if node.place and node.place[0] not in functions and (found := spot(node.place)):
                functions[node.place[0]] = found
            for operand in node.nodes():
                if operand not in seen:
                    seen[operand] = None
                    ahead.append(operand)
        return tuple(dict.fromkeys(text for found in functions.values() for text in found.references()))
