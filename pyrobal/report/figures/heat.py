"""Heat in and out of each step, as bars."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

from pyrobal.report.figures.figure import BLUE, ORANGE, Figure, Traces, rounded
from pyrobal.report.numbers import number
from pyrobal.report.result import Line
from pyrobal.report.tables import Cell, Column, Table, heat_lines, section, words

_ROOM: Final = 0.07  # of the axis, for the numbers beside the bars
_LEAST: Final = 1e-3  # share of the largest item below which heat is not drawn

Items = Sequence[tuple[str, float]]


def heat(lines: Sequence[Line]) -> Iterator[Figure]:
    """One figure of each step that has a heat balance."""
    for step, (into, out) in heat_lines(lines).items():
        unit, name = into[0].unit, words(step)
        sides = (_drawn(into), _drawn(out))
        rows: list[tuple[Cell, ...]] = [
            (side, *item) for side, items in zip(("in", "out"), sides, strict=True) for item in items
        ]
        yield Figure(
            f"heat-{step.replace('_', '-').replace('.', '-')}",
            f"{name.capitalize()}: heat in and out, {unit}",
            f"Heat brought in and taken out, in {unit}; both sides add up to "
            f"{number(sum(x for _, x in sides[0]))}.",
            {"": (list(_bars(sides, unit)), {"height": 110 + 26 * sum(map(len, sides))})},
            _layout(unit, [x for items in sides for _, x in items]),
            Table(
                f"{name.capitalize()}: heat",
                (Column("side"), Column("item"), Column("", unit)),
                tuple(rows),
                stub=2,
            ),
            section(step),
        )


def _drawn(lines: Sequence[Line]) -> Items:
    least = _LEAST * max(abs(line.value) for line in lines)
    return [(words(line.key.rpartition(".")[2]), line.value) for line in lines if abs(line.value) > least]


def _bars(sides: tuple[Items, Items], unit: str) -> Traces:
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
            "hovertemplate": f"%{{y}}: %{{x:.4~g}} {unit}<extra></extra>",
        }
        for side, items, colour, hatch in zip(("in", "out"), sides, (BLUE, ORANGE), ("", "/"), strict=True)
    ]


def _layout(unit: str, values: Sequence[float]) -> dict[str, Any]:
    low, high = min(0.0, *values), max(values)
    room = _ROOM * (high - low)
    ends = rounded([low - room if low < 0 else 0.0, high + room])
    return {
        "xaxis": {"title": {"text": f"heat, {unit}"}, "zeroline": True, "range": ends},
        "yaxis": {"autorange": "reversed", "automargin": True},
        "legend": {"orientation": "h", "y": 1.12},
        "bargap": 0.25,
    }
