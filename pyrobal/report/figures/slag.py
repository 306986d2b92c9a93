"""Each slag within iron oxide, silica and the other fluxing oxides, with the usual working window."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from pyrobal.readings.messages import FE_SIO2_HIGH, FE_SIO2_LOW
from pyrobal.report.figures.figure import COLOURS, GREEN, GREY, MARKS, Figure, Traces, rounded, veiled
from pyrobal.report.numbers import number
from pyrobal.report.result import Line
from pyrobal.report.tables import Cell, Column, Table, stream_lines, words
from pyrobal.thermo.elements import ATOMIC_MASS_OF

_AXES: Final = ("CaO + Al2O3 + MgO", "SiO2", "iron as FeO")
_FEO_PER_FE: Final = 1.0 + ATOMIC_MASS_OF["O"] / ATOMIC_MASS_OF["Fe"]
_WINDOW_TOP: Final = 35.0  # % of other oxides up to which the window is drawn


def slags(lines: Sequence[Line]) -> Iterator[Figure]:
    """One figure of all slags there are."""
    streams = {head: stream for head, stream in stream_lines(lines).items() if _is_slag(stream)}
    if not streams:
        return
    corners = {words(head): _corners(stream) for head, stream in streams.items()}
    columns = (Column("slag"), *(Column(axis, "% of the three") for axis in _AXES))
    rows: list[tuple[Cell, ...]] = [(name, *values) for name, values in corners.items()]
    window = f"Fe/SiO2 {number(FE_SIO2_LOW)} to {number(FE_SIO2_HIGH)}"
    band = _window(window)
    silica, iron = _lowest(band, corners)
    yield Figure(
        "slag",
        "Slag composition",
        f"Iron oxide, silica and the other fluxing oxides of each slag. The shaded band is the usual working "
        f"window of an iron silicate smelting slag, {window} by mass (common practice). That is a ratio "
        f"alone: the band has no end at {number(_WINDOW_TOP)} % of {_AXES[0]}, it is only drawn up to there. "
        f"The triangle is a part of the whole, from {number(silica)} % SiO2 and {number(iron)} % FeO up.",
        {"": ([band, *_points(corners)], {})},
        _layout(silica, iron),
        Table("Slags within the three corners", columns, tuple(rows)),
        "smelting",
    )


def _is_slag(stream: Mapping[str, Line]) -> bool:
    return {"assay.SiO2", "assay.Fe", "assay.FeO"} <= stream.keys()


def _corners(stream: Mapping[str, Line]) -> tuple[float, ...]:
    """The three corners of one slag in per cent, all its iron as FeO."""
    keys = {f"assay.{oxide}" for oxide in ("CaO", "Al2O3", "MgO")} & stream.keys()
    others = sum(stream[key].value for key in keys)
    parts = (others, stream["assay.SiO2"].value, stream["assay.Fe"].value * _FEO_PER_FE)
    return tuple(100.0 * part / sum(parts) for part in parts)


def _points(corners: Mapping[str, tuple[float, ...]]) -> Traces:
    return [
        {
            "type": "scatterternary",
            "mode": "markers",
            "name": name,
            "a": rounded([a]),
            "b": rounded([b]),
            "c": rounded([c]),
            "marker": {"size": 12, "symbol": MARKS[i % len(MARKS)], "color": COLOURS[i % len(COLOURS)]},
            "hovertemplate": "%{a:.1f} % other oxides, %{b:.1f} % SiO2, %{c:.1f} % FeO<extra></extra>",
        }
        for i, (name, (a, b, c)) in enumerate(corners.items())
    ]


def _window(name: str) -> dict[str, Any]:
    """The band between two ratios of iron to silica, from no other oxides up."""
    low, high, top = FE_SIO2_LOW, FE_SIO2_HIGH, _WINDOW_TOP
    edge = [(0.0, low), (top, low), (top, high), (0.0, high), (0.0, low)]  # other oxides, ratio
    a = [others for others, _ in edge]
    b = [(100.0 - others) / (1.0 + ratio * _FEO_PER_FE) for others, ratio in edge]
    return {
        "type": "scatterternary",
        "mode": "lines",
        "name": f"usual window, {name}",
        "a": a,
        "b": b,
        "c": [100.0 - x - y for x, y in zip(a, b, strict=True)],
        "fill": "toself",
        "fillcolor": veiled(GREEN, 0.25),
        "line": {"color": GREEN, "dash": "dash", "width": 1.5},
        "hoverinfo": "name",
    }


def _lowest(band: Mapping[str, Any], corners: Mapping[str, tuple[float, ...]]) -> tuple[float, float]:
    """Where the axes of silica and iron begin, in tens of per cent: what lies beyond holds no slag."""
    silica, iron = (min(*band[axis], *(c[i] for c in corners.values())) for i, axis in ((1, "b"), (2, "c")))
    return 10.0 * (silica // 10.0), 10.0 * (iron // 10.0)


def _layout(silica: float, iron: float) -> dict[str, Any]:
    style = {"ticksuffix": " %", "gridcolor": veiled(GREY), "linecolor": GREY}
    titles = (_AXES[0], *(f"<br>{name}" for name in _AXES[1:]))  # clear of the numbers at the corners
    axes = {
        f"{letter}axis": {"title": {"text": name}, "min": low, **style}
        for letter, name, low in zip("abc", titles, (0.0, silica, iron), strict=True)
    }
    return {
        "height": 520,
        "ternary": {"sum": 100, "bgcolor": "rgba(0,0,0,0)", **axes},
        "legend": {"orientation": "h", "y": -0.16},
        "margin": {"l": 60, "r": 60, "t": 50, "b": 70},
    }
