"""Readings of the upsets of a case: what leaves in each of those states, and what it adds to the year."""

from __future__ import annotations

import functools
from collections.abc import Callable

from pyrobal.arrays import FloatN, IntN
from pyrobal.flowsheet.results import Results
from pyrobal.plant.emissions import EmissionsResult
from pyrobal.readings.reading import Reading


def _of(compute: Callable[[EmissionsResult], FloatN]) -> Callable[[Results, str], FloatN]:
    def value(r: Results, name: str) -> FloatN:
        emitted = r.upsets[name].emissions
        assert emitted is not None
        return compute(emitted)

    return value


def _names(r: Results) -> list[str]:
    return list(r.inputs.upset)


def _why_none(r: Results, name: str) -> IntN:
    return r.upsets[name].unsolved.reasons["emissions"]


def _more(r: Results, name: str) -> FloatN:
    assert r.emissions is not None
    return r.inputs.upset[name].hours * (_of(lambda e: e.so2)(r, name) - r.emissions.so2)


_UPSET = functools.partial(Reading, needs="emissions", members=_names)
_IN_STATE = functools.partial(_UPSET, why=_why_none)

READINGS = (
    _UPSET("upset.<X>.hours", "h/a", "time of the year in this state",
           lambda r, name: r.inputs.upset[name].hours),
    _IN_STATE("upset.<X>.so2", "kg/h", "SO2 from all stacks and past the hoods in this state",
              _of(lambda e: e.so2)),
    _IN_STATE("upset.<X>.stack_so2", "mg/Nm3", "SO2 in the first stack in this state",
              _of(lambda e: e.stack.concentration("so2"))),
    _IN_STATE("upset.<X>.worst_stack_so2", "mg/Nm3", "SO2 in the stack that has most of it, in this state",
              _of(lambda e: e.worst("so2"))),
    _IN_STATE("upset.<X>.sulfur_capture", "%", "sulfur in acid and scrubber products, in this state",
              _of(lambda e: e.capture)),
    _IN_STATE("upset.<X>.so2_added", "t/a", "SO2 that these hours add to the year", _more),
)  # fmt: skip
