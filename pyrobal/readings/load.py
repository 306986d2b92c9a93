"""Readings of the load on the acid plant over time. Peaks are means over 1/120 of the repeat."""

from __future__ import annotations

import functools
from collections.abc import Callable

from pyrobal.arrays import FloatN
from pyrobal.flowsheet.results import Results
from pyrobal.plant.load import LoadResult
from pyrobal.readings.acid import acid_plant
from pyrobal.readings.reading import Reading
from pyrobal.streams.time_steps import GasOverTime
from pyrobal.thermo.acid_solution import M_SO2


def load(r: Results) -> LoadResult:
    """The load over time of a case that has batch vessels and an acid plant."""
    assert r.load is not None
    return r.load


def _of(compute: Callable[[LoadResult], FloatN]) -> Callable[[Results], FloatN]:
    return lambda r: compute(load(r))


def _taken(compute: Callable[[GasOverTime], FloatN]) -> Callable[[Results], FloatN]:
    """Of the gas that the acid plant takes, over time."""
    return lambda r: compute(acid_plant(r).course.feed)


def _vessels(r: Results) -> list[str]:
    return [str(k) for k in range(1, load(r).settings.count + 1)]


def _start(r: Results, vessel: str) -> FloatN:
    start: FloatN = load(r).starts[:, int(vessel) - 1]
    return start


_READING = functools.partial(Reading, needs="load+acid_plant")

READINGS = (
    _READING("acid.so2_load_peak", "t/h", "highest SO2 that reaches the acid plant over the schedule period",
             _taken(lambda x: x.so2.max(axis=1) * M_SO2)),
    _READING("acid.inlet_flow_peak", "Nm3/h", "highest gas flow that reaches it, dry",
             _taken(lambda x: x.flow.max(axis=1))),
    _READING("load.so2_mean", "t/h", "SO2 that reaches the acid plant with this schedule, mean",
             _taken(lambda x: x.so2.mean(axis=1) * M_SO2)),
    _READING("load.so2_lowest", "t/h", "least SO2", _taken(lambda x: x.so2.min(axis=1) * M_SO2)),
    _READING("load.flow_mean", "Nm3/h", "gas with this schedule, mean",
             _taken(lambda x: x.flow.mean(axis=1))),
    _READING("load.flow_lowest", "Nm3/h", "least gas", _taken(lambda x: x.flow.min(axis=1))),
    _READING("load.strength_highest", "vol%", "strongest gas", _taken(lambda x: x.so2_share.max(axis=1))),
    _READING("load.strength_lowest", "vol%", "weakest gas", _taken(lambda x: x.so2_share.min(axis=1))),
    _READING("load.period", "h", "time after which every vessel begins again", _of(lambda x: x.period)),
    _READING("load.period_wanted", "h", "the same as the matte asks for", _of(lambda x: x.wanted)),
    _READING("load.start.<X>", "h", "when a vessel begins its cycle, after the first", _start, _vessels),
    _READING("load.cycles", "1/h", "cycles of all vessels together", _of(lambda x: x.cycles)),
    _READING("load.time_over", "%", "time above a limit the case gives; nil where it gives none",
             _of(lambda x: x.over)),
    _READING("load.hours_over", "h/a", "the same in a year of site.operating_time",
             lambda r: load(r).over * r.inputs.site.operating_time),
    _READING("load.lost", "%", "cycles asked for that there is no time for; their matte is put aside",
             _of(lambda x: x.lost)),
)  # fmt: skip
