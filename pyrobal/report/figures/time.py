"""What changes over time: the cycle of a converter, and the load on the acid plant."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from pyrobal.arrays import Floats
from pyrobal.constants import HOUR, NM3_PER_HOUR, TONNE, TONNE_PER_HOUR
from pyrobal.flowsheet.results import Results
from pyrobal.report.figures.figure import BLUE, COLOURS, DASHES, GREY, ORANGE, RED, Figure, Traces, rounded
from pyrobal.report.tables import Cell, Column, Table
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ATOMIC_MASS_OF

_SO2 = float(ATOMIC_MASS_OF["S"] + 2 * ATOMIC_MASS_OF["O"])  # kg/mol


def cycle(results: Results) -> Iterator[Figure]:
    """Melts, temperature and gas of one batch converter over its cycle."""
    converting = results.converting
    if converting is None or converting.cycle is None:
        return
    course = converting.cycle.course
    hours = course.end[0] / HOUR
    masses = {name: getattr(course, name)[0] / TONNE for name in ("matte", "copper", "slag")}
    gas, so2 = course.gas[0] / NM3_PER_HOUR, course.so2[0] * _SO2 / TONNE_PER_HOUR
    degrees = course.T[0] - 273.15
    table = Table(
        "Converter cycle",
        (Column("until", "h"), Column("what"), *(Column(name, "t") for name in masses),
         Column("melt", "degC"), Column("gas at the mouth", "Nm3/h"), Column("SO2", "t/h")),
        tuple(_rows(hours, course.labels, [*masses.values(), degrees, gas, so2])),
    )  # fmt: skip
    yield Figure(
        "cycle",
        "Converter cycle",
        "What one vessel holds and how hot its melt is after each time step of its cycle, and the gas "
        "it gives at the mouth, over the hours of the cycle. It begins empty, with the first charging.",
        {
            "melts": (_melts(hours, masses, degrees), _two_axes("melt, t", "temperature, degC")),
            "gas": (_gases(hours, gas, so2), _two_axes("gas, Nm3/h", "SO2, t/h")),
        },
        _layout("time, h"),
        table,
        "converting",
    )


def _rows(hours: Floats, labels: Sequence[str], columns: Sequence[Floats]) -> Iterator[tuple[Cell, ...]]:
    for i, label in enumerate(labels):
        yield (float(hours[i]), label, *(float(column[i]) for column in columns))


def _melts(hours: Floats, masses: dict[str, Floats], degrees: Floats) -> Traces:
    """From the empty vessel on, which has no temperature of a melt."""
    t = _since(0.0, hours)
    lines = [
        _line(name, t, _since(0.0, mass), COLOURS[i], DASHES[i], "linear", "t")
        for i, (name, mass) in enumerate(masses.items())
    ]
    melt = _line("temperature", t, _since(np.nan, degrees), RED, "dashdot", "linear", "degC")
    return [*lines, {**melt, "yaxis": "y2"}]


def _gases(hours: Floats, gas: Floats, so2: Floats) -> Traces:
    """Steady until the end of each moment: the line steps back from there."""
    t = _since(0.0, hours)
    return [
        _line("gas at the mouth", t, _since(0.0, gas), BLUE, "solid", "vh", "Nm3/h"),
        {**_line("SO2", t, _since(0.0, so2), ORANGE, "dash", "vh", "t/h"), "yaxis": "y2"},
    ]


def _since(start: float, values: Floats) -> Floats:
    """Values at the ends of the moments, after that at the start of the cycle."""
    return np.concatenate(([start], values))


def load(results: Results) -> Iterator[Figure]:
    """Gas and SO2 that reach the acid plant while the vessels follow their schedule."""
    if results.load is None:
        return
    hours = results.load.time[0] / HOUR
    flow, so2 = results.load.flow[0] / NM3_PER_HOUR, results.load.so2[0] * _SO2 / TONNE_PER_HOUR
    limits = results.load.limit[0] / np.array([NM3_PER_HOUR, TONNE_PER_HOUR / _SO2])
    rows = tuple((float(t), float(x), float(y)) for t, x, y in zip(hours, flow, so2, strict=True))
    yield Figure(
        "load",
        "Load on the acid plant over time",
        "SO2 and gas that come for the acid plant, dilution air included: means of 1/120 of the schedule "
        "period, with their mean and, where the case gives one, the limit; the "
        "excess by-passes the plant.",
        {
            "SO2": (_loads(hours, so2, float(limits[1]), "t/h"), _axis("SO2, t/h")),
            "gas": (_loads(hours, flow, float(limits[0]), "Nm3/h"), _axis("gas, dry, Nm3/h")),
        },
        _layout("time, h"),
        Table("Load over time", (Column("from", "h"), Column("gas", "Nm3/h"), Column("SO2", "t/h")), rows),
        "load",
    )  # fmt: skip


def acid_plant(results: Results) -> Iterator[Figure]:
    """What the beds and the stack make of the gas while it swings."""
    if results.acid_plant is None or results.load is None:
        return
    plant, hours = results.acid_plant, results.load.time[0] / HOUR
    course, working = plant.course, plant.settings.working()
    conversion, tail = 100.0 * course.conversion[0], 1e6 * course.tail.so2_share[0]
    beds = {f"bed {k}": course.outlet[0, :, k - 1] - 273.15 for k in working}
    strength = 100.0 * course.feed.so2_share[0]
    columns = [strength, conversion, tail, *beds.values()]
    rows = tuple((float(t), *(float(x[i]) for x in columns)) for i, t in enumerate(hours))
    yield Figure(
        "beds",
        "Acid plant over time",
        "Conversion, SO2 in the tail gas and the gas leaving each bed, in each time step as if steady. "
        "Catalyst and exchangers store heat, so real swings are smaller.",
        {
            "bed temperatures": (_beds(hours, beds, float(plant.settings.catalyst_limit[0]) - 273.15),
                                 _axis("gas leaving a bed, degC", "normal")),
            "conversion": (_with_mean(hours, conversion, 100.0 * float(plant.conversion[0]), "%"),
                           _axis("SO2 oxidised, %", "normal")),
            "tail gas": (_with_mean(hours, tail, 1e6 * float(_share(plant.tail)), "ppm"),
                         _axis("SO2 in the tail gas before a scrubber, ppm", "normal")),
        },
        _layout("time, h"),
        Table(
            "Acid plant over time",
            (Column("from", "h"), Column("SO2 in", "vol%"), Column("converted", "%"),
             Column("tail gas", "ppm"), *(Column(name, "degC") for name in beds)),
            rows,
        ),
        "acid",
    )  # fmt: skip


def _share(tail: Stream) -> float:
    """SO2 in the dry tail gas, that of a cycle mixed."""
    return float((tail.amount("SO2(g)") / (tail.total() - tail.amount("H2O(g)")))[0])


def _beds(hours: Floats, beds: dict[str, Floats], hottest: float) -> Traces:
    lines = [
        _line(name, hours, degrees, COLOURS[i % len(COLOURS)], DASHES[i % len(DASHES)], "hv", "degC")
        for i, (name, degrees) in enumerate(beds.items())
    ]
    return [*lines, _level("limit of the catalyst", hours, hottest, RED, "dot", "degC")]


def _with_mean(hours: Floats, course: Floats, mean: float, unit: str) -> Traces:
    return [
        _line("moment", hours, course, BLUE, "solid", "hv", unit),
        _level("of all that a cycle brings", hours, mean, GREY, "dash", unit),
    ]


def _loads(hours: Floats, load: Floats, limit: float, unit: str) -> Traces:
    level = [
        _line("load", hours, load, BLUE, "solid", "hv", unit),
        _level("mean", hours, float(load.mean()), GREY, "dash", unit),
    ]
    return [*level, _level("limit", hours, limit, RED, "dot", unit)] if np.isfinite(limit) else level


def _line(name: str, x: Floats, y: Floats, colour: str, dash: str, shape: str, unit: str) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": rounded(x.tolist()),
        "y": [None if np.isnan(value) else value for value in rounded(y.tolist())],
        "line": {"color": colour, "dash": dash, "shape": shape, "width": 2},
        "hovertemplate": f"at %{{x:.3~g}} h: {name} %{{y:.4~g}} {unit}<extra></extra>",
    }


def _level(name: str, x: Floats, y: float, colour: str, dash: str, unit: str) -> dict[str, Any]:
    ends = np.array([x[0], x[-1]])
    return _line(name, ends, np.array([y, y]), colour, dash, "linear", unit)


def _axis(title: str, range_mode: str = "tozero") -> dict[str, Any]:
    return {"yaxis": {"title": {"text": title}, "rangemode": range_mode}}


def _two_axes(left: str, right: str) -> dict[str, Any]:
    return {
        **_axis(left),
        "yaxis2": {
            "title": {"text": right},
            "overlaying": "y",
            "side": "right",
            "showgrid": False,
            "tickmode": "auto",
        },
    }


def _layout(x: str) -> dict[str, Any]:
    return {
        "height": 400,
        "xaxis": {"title": {"text": x}, "zeroline": False},
        "legend": {"orientation": "h", "y": 1.15},
        "margin": {"l": 70, "r": 70, "t": 40, "b": 50},
    }
