"""Heat in and out of each step, as bars."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

from pyrobal.report.figures.figure import BLUE, ORANGE, Figure, Traces, rounded
from pyrobal.report.numbers import number
from pyrobal.report.result import Line
from pyrobal.report.tables import Cell, Column, Table, heat_lines, words

_LEAST: Final = 1e-3  # share of the largest item below which heat is not drawn

Items = Sequence[tuple[str, float]]


def heat(lines: Sequence[Line]) -> Iterator[Figure]:
    """Every step that has a heat balance, a step at a time."""
    steps = {words(step): (_drawn(into), _drawn(out)) for step, (into, out) in heat_lines(lines).items()}
    if not steps:
        return
    unit = next(line.unit for line in lines if ".heat.in." in line.key)
    rows: list[tuple[Cell, ...]] = [
        (step, side, *item)
        for step, sides in steps.items()
        for side, items in zip(("in", "out"), sides, strict=True)
        for item in items
    ]
    columns = (Column("step"), Column("side"), Column("item"), Column("", unit))
    table = Table("Heat by step", columns, tuple(rows), stub=3)
    yield Figure(
        "heat-bars",
        "Heat balance of a step",
        f"Bars of the heat brought in and taken out, in {unit}, a step at a time. Both sides add up to "
        f"{', '.join(f'{number(sum(x for _, x in into))} in {step}' for step, (into, _) in steps.items())}.",
        {
            step: (list(_bars(sides)), {"height": 110 + 26 * sum(map(len, sides))})
            for step, sides in steps.items()
        },
        _layout(unit),
        table,
    )


def _drawn(lines: Sequence[Line]) -> Items:
    least = _LEAST * max(abs(line.value) for line in lines)
    return [(words(line.key.rpartition(".")[2]), line.value) for line in lines if abs(line.value) > least]


def _bars(sides: tuple[Items, Items]) -> Traces:
    return [
        {
            "type": "bar",
            "orientation": "h",
            "name": f"heat {side}",
            "y": [f"{item}, {side}" for item, _ in items],
            "x": rounded([value for _, value in items]),
            "text": [number(value, 3) for _, value in items],
            "textposition": "outside",
            "cliponaxis": False,
            "marker": {
                "color": colour,
                "pattern": {"shape": hatch, "fillmode": "overlay", "fgcolor": "#FFFFFF", "solidity": 0.25},
            },
            "hovertemplate": "%{y}: %{x:.4~g}<extra></extra>",
        }
        for side, items, colour, hatch in zip(("in", "out"), sides, (BLUE, ORANGE), ("", "/"), strict=True)
    ]


def _layout(unit: str) -> dict[str, Any]:
    return {
        "xaxis": {"title": {"text": unit}, "zeroline": True},
        "yaxis": {"autorange": "reversed", "automargin": True},
        "legend": {"orientation": "h", "y": 1.12},
        "bargap": 0.25,
    }
