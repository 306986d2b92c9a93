"""One case solved with every call written down, and its readings explained one by one."""

from __future__ import annotations

import dataclasses
import math
from functools import cached_property
from typing import Final

import numpy as np

from pyrobal.case.load import Case
from pyrobal.flowsheet.solve import settled, solve
from pyrobal.readings import registry
from pyrobal.report.explain.ground import Ground
from pyrobal.report.explain.node import Explanation
from pyrobal.report.explain.record import Record, recording
from pyrobal.report.explain.tree import Tracer
from pyrobal.report.result import Line, Result

_STEPS: Final = 2000  # the nearest; a plant with recycles has tens of thousands, which name the same settings
_ROUND: Final = 1e9  # a number that is whole after so much is found everywhere by chance


class Story:
    """A single case solved with every call written down, to explain any of its readings.

    Of the recycles only the last round is written down, the one that the results are of.
    """

    def __init__(self, case: Case) -> None:
        self._record = Record(settled.__code__)
        with recording(self._record), np.errstate(all="ignore"):
            results = solve(case.inputs)
            for name, kept in vars(type(results)).items():
                if isinstance(kept, cached_property):  # worked out when first asked for
                    getattr(results, name)
        self.result = Result(case, results)
        self._lines = {line.key: line for line in self.result.lines}
        self._values = {key: value for _, key, value in registry.evaluate_all(results)}

    def explain(self, key: str) -> Explanation:
        """The way from the inputs to one reading.

        Raises KeyError, with the nearest key, for a reading the case does not have.
        """
        reading, member = registry.find(key)
        if key not in self._lines:
            raise KeyError(f"{key} has no value in this case")
        ground = Ground(self.result.case.inputs)
        with np.errstate(all="ignore"):
            with recording(self._record):
                reading.compute(self.result.results, *([member] if member else []))
            tracer = Tracer(self._record, ground, self._known(key))
            root = tracer.reading(self._lines[key], float(self._values[key][0]), self._record.tops[-1])
            steps = sum(1 for _ in root.walk(_STEPS))  # each is told, so that settings and sources are met
        return dataclasses.replace(ground.rests, root=root, steps=steps, far=steps >= _STEPS)

    def _known(self, key: str) -> dict[str, tuple[Line, float]]:
        """Value -> the reading that has it, but for the one explained and values that are met by chance."""
        own = self._values[key][0]
        found: dict[str, tuple[Line, float]] = {}
        for other, values in self._values.items():
            value = float(values[0])
            if math.isfinite(value) and value != own and value * _ROUND % 1.0:
                found.setdefault(value.hex(), (self._lines[other], value))
        return found
