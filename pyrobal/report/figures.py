"""Figures as plotly takes them, plain values that a page can carry; each with the table it is drawn from.

Colours are those of Okabe and Ito, told apart by the colour-blind; hatching and labels say the same again
in black and white. Text and lines take their colour from the page, so that a figure is right in the dark.
"""

from __future__ import annotations

import html
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from pyrobal.constants import TONNE_PER_HOUR
from pyrobal.readings.messages import FE_SIO2_HIGH, FE_SIO2_LOW
from pyrobal.report.flows import Flow, element_flows, labels
from pyrobal.report.numbers import number
from pyrobal.report.result import Line, Result
from pyrobal.report.tables import Cell, Column, Table, heat_lines, stream_lines, words
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS

BLUE, ORANGE, GREEN, RED = "#0072B2", "#E69F00", "#009E73", "#D55E00"
SKY, PURPLE, GREY = "#56B4E9", "#CC79A7", "#8A8A8A"
_COLOURS: Final = (BLUE, ORANGE, GREEN, PURPLE, SKY, RED, GREY)
_HATCHES: Final = ("", "/", "x", ".", "\\", "-", "+")
_MARKS: Final = ("circle", "square", "diamond", "triangle-up", "cross", "star")
_LONGEST: Final = 26  # letters of a name within a figure; the table has all
_FIRST: Final = ("Cu", "S", "Fe")  # elements offered first
_UNTOLD: Final = ("H", "C", "N", "Ar", "Rest")
_FEO_PER_FE: Final = 1.0 + ATOMIC_MASS[ELEMENTS.index("O")] / ATOMIC_MASS[ELEMENTS.index("Fe")]
_LEAST_HEAT: Final = 1e-4  # share of the largest item below which heat is not drawn


@dataclass(frozen=True)
class Figure:
    """One drawing, or one for each word of ``choices`` with the same layout.

    about : what it shows, for those who do not see it
    choices : word -> plotly traces
    table : the numbers behind it
    """

    name: str
    title: str
    about: str
    choices: Mapping[str, list[dict[str, Any]]]
    layout: dict[str, Any]
    table: Table


def figures(result: Result) -> list[Figure]:
    """What there is to draw of a single case; nothing where it has no answer."""
    if not result.results.solved.all():
        return []
    return [*_elements(result), *_heat(result.lines), *_slags(result.lines)]


def _elements(result: Result) -> Iterator[Figure]:
    flows = element_flows(result.results)
    present = {e for e in ELEMENTS if any(f.elements[ELEMENTS.index(e)] > 0 for f in flows)}
    told = [e for e in (*_FIRST, *ELEMENTS) if e in present and e not in _UNTOLD]
    names, elements = labels(flows), list(dict.fromkeys(told))
    rows: list[tuple[Cell, ...]] = [
        (names[f.source], names[f.target], *(_tonnes(f, e) for e in elements)) for f in flows
    ]
    columns = (Column("from"), Column("to"), *(Column(e, "t/h") for e in elements))
    yield Figure(
        "elements",
        "Where the elements go",
        "One element at a time, in t/h, from the feed through the steps of the plant to its products; what "
        "is put back runs back to the left.",
        {e: [_sankey([(names[f.source], names[f.target], _tonnes(f, e)) for f in flows], "t/h")]
         for e in elements},
        {"height": 430},
        Table("Elements from place to place", columns, tuple(rows), stub=2),
    )  # fmt: skip


def _tonnes(flow: Flow, element: str) -> float:
    return float(flow.elements[ELEMENTS.index(element)]) / TONNE_PER_HOUR


def _sankey(links: Sequence[tuple[str, str, float]], unit: str) -> dict[str, Any]:
    """Links of the first to the second place; places nothing runs through are left out."""
    drawn = [link for link in links if link[2] > 0]
    places = list(dict.fromkeys(place for source, target, _ in drawn for place in (source, target)))
    colours = {place: _COLOURS[i % len(_COLOURS)] for i, place in enumerate(places)}
    through = {place: _through(place, drawn) for place in places}
    return {
        "type": "sankey",
        "valueformat": ".4~g",
        "valuesuffix": f" {unit}",
        "node": {
            "label": [f"{_safe(p)} {number(through[p], 3)}" for p in places],
            "color": [colours[p] for p in places],
            "line": {"color": GREY, "width": 0.5},
            "pad": 18,
            "thickness": 14,
        },
        "link": {
            "source": [places.index(source) for source, _, _ in drawn],
            "target": [places.index(target) for _, target, _ in drawn],
            "value": [x for _, _, x in drawn],
            "color": [_veiled(colours[source]) for source, _, _ in drawn],
        },
    }


def _through(place: str, links: Sequence[tuple[str, str, float]]) -> float:
    """What runs into a place or out of it, whichever is more."""
    out, into = (sum(link[2] for link in links if link[side] == place) for side in (0, 1))
    return max(into, out)


def _heat(lines: Sequence[Line]) -> Iterator[Figure]:
    for step, (into, out) in heat_lines(lines).items():
        sides = (_drawn(into), _drawn(out))
        unit, name = into[0].unit, words(step)
        rows = [(side, *pair) for side, items in zip(("in", "out"), sides, strict=True) for pair in items]
        columns = (Column("side"), Column("item"), Column("", unit))
        table = Table(f"Heat of {name}", columns, tuple(rows), stub=2)
        yield Figure(
            f"heat-flow-{step.replace('.', '-')}",
            f"Heat through {name}",
            f"Heat brought into {name} on the left, heat taken out on the right.",
            {"": [_sankey(list(_heat_links(name, *sides)), unit)]},
            {"height": 380},
            table,
        )
        yield Figure(
            f"heat-bars-{step.replace('.', '-')}",
            f"Heat balance of {name}",
            f"Bars of the heat brought in and taken out, in {unit}; both sides add up to "
            f"{number(sum(x for _, x in sides[0]))} {unit}.",
            {"": list(_bars(sides))},
            _bar_layout(sides, unit),
            table,
        )


def _drawn(lines: Sequence[Line]) -> list[tuple[str, float]]:
    least = _LEAST_HEAT * max(abs(line.value) for line in lines)
    return [(words(line.key.rpartition(".")[2]), line.value) for line in lines if abs(line.value) > least]


def _heat_links(
    step: str, into: Sequence[tuple[str, float]], out: Sequence[tuple[str, float]]
) -> Iterator[tuple[str, str, float]]:
    """In on the left, out on the right; what is negative runs the other way."""
    both = {item for item, _ in into} & {item for item, _ in out}
    for item, value in into:
        place = f"{item} in" if item in both else item
        yield (place, step, value) if value > 0 else (step, place, -value)
    for item, value in out:
        place = f"{item} out" if item in both else item
        yield (step, place, value) if value > 0 else (place, step, -value)


def _bars(sides: tuple[Sequence[tuple[str, float]], ...]) -> Iterator[dict[str, Any]]:
    for side, items, colour, hatch in zip(("in", "out"), sides, (BLUE, ORANGE), ("", "/"), strict=True):
        yield {
            "type": "bar",
            "orientation": "h",
            "name": f"heat {side}",
            "y": [f"{item}, {side}" for item, _ in items],
            "x": [value for _, value in items],
            "text": [number(value, 3) for _, value in items],
            "textposition": "outside",
            "cliponaxis": False,
            "marker": {
                "color": colour,
                "pattern": {"shape": hatch, "fillmode": "overlay", "fgcolor": "#FFFFFF", "solidity": 0.25},
            },
            "hovertemplate": "%{y}: %{x:.4~g}<extra></extra>",
        }


def _bar_layout(sides: tuple[Sequence[tuple[str, float]], ...], unit: str) -> dict[str, Any]:
    return {
        "height": 110 + 26 * sum(map(len, sides)),
        "xaxis": {"title": {"text": unit}, "zeroline": True},
        "yaxis": {"autorange": "reversed", "automargin": True},
        "legend": {"orientation": "h", "y": 1.12},
        "bargap": 0.25,
    }


def _slags(lines: Sequence[Line]) -> Iterator[Figure]:
    streams = {head: stream for head, stream in stream_lines(lines).items() if _is_slag(stream)}
    if not streams:
        return
    corners = {words(head): _corners(stream) for head, stream in streams.items()}
    columns = (Column("slag"), *(Column(axis, "% of the three") for axis in _AXES))
    rows: list[tuple[Cell, ...]] = [(name, *values) for name, values in corners.items()]
    window = f"Fe/SiO2 {number(FE_SIO2_LOW)} to {number(FE_SIO2_HIGH)}"
    yield Figure(
        "slag",
        "Slag composition",
        f"Iron oxide, silica and the other fluxing oxides of each slag. The shaded band is the usual working "
        f"window of an iron silicate slag, {window} by mass (common practice).",
        {"": [_window(window), *_points(corners)]},
        _ternary_layout(),
        Table("Slags within the three corners", columns, tuple(rows)),
    )


_AXES: Final = ("CaO + Al2O3 + MgO", "SiO2", "iron as FeO")


def _is_slag(stream: Mapping[str, Line]) -> bool:
    return {"assay.SiO2", "assay.Fe", "assay.FeO"} <= stream.keys()


def _corners(stream: Mapping[str, Line]) -> tuple[float, ...]:
    """The three corners of one slag in per cent, all its iron as FeO."""
    keys = {f"assay.{oxide}" for oxide in ("CaO", "Al2O3", "MgO")} & stream.keys()
    others = sum(stream[key].value for key in keys)
    parts = (others, stream["assay.SiO2"].value, stream["assay.Fe"].value * _FEO_PER_FE)
    return tuple(100.0 * part / sum(parts) for part in parts)


def _points(corners: Mapping[str, tuple[float, ...]]) -> Iterator[dict[str, Any]]:
    for i, (name, (a, b, c)) in enumerate(corners.items()):
        yield {
            "type": "scatterternary",
            "mode": "markers+text",
            "name": name,
            "a": [a],
            "b": [b],
            "c": [c],
            "text": [name],
            "textposition": "top center",
            "marker": {"size": 12, "symbol": _MARKS[i % len(_MARKS)], "color": _COLOURS[i % len(_COLOURS)]},
            "hovertemplate": "%{a:.1f} % other oxides, %{b:.1f} % SiO2, %{c:.1f} % FeO<extra></extra>",
        }


def _window(name: str) -> dict[str, Any]:
    """The band between two ratios of iron to silica, from no other oxides to a third of them."""
    low, high = FE_SIO2_LOW, FE_SIO2_HIGH
    edge = [(0.0, low), (35.0, low), (35.0, high), (0.0, high), (0.0, low)]  # other oxides, ratio
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
        "fillcolor": _veiled(GREEN, 0.25),
        "line": {"color": GREEN, "dash": "dash", "width": 1.5},
        "hoverinfo": "name",
    }


def _ternary_layout() -> dict[str, Any]:
    style = {"min": 0, "ticksuffix": " %", "gridcolor": _veiled(GREY), "linecolor": GREY}
    axes = {
        f"{letter}axis": {"title": {"text": name}, **style} for letter, name in zip("abc", _AXES, strict=True)
    }
    return {
        "height": 520,
        "ternary": {"sum": 100, "bgcolor": "rgba(0,0,0,0)", **axes},
        "legend": {"orientation": "h", "y": -0.12},
        "margin": {"l": 60, "r": 60, "t": 50, "b": 60},
    }


def _safe(text: str) -> str:
    """A name for plotly, which reads some markup: nothing in it is markup."""
    line = "".join(c if c.isprintable() else " " for c in text)
    return html.escape(line if len(line) <= _LONGEST else f"{line[:_LONGEST]}...", quote=False)


def _veiled(colour: str, alpha: float = 0.35) -> str:
    r, g, b = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({r},{g},{b},{alpha})"
