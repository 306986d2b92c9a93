"""Figures are what plotly accepts, in the numbers of the tables."""

from __future__ import annotations

import plotly.graph_objects
import pytest

from pyrobal.report.figures import Figure, figures
from pyrobal.report.result import Result


def _named(result: Result, name: str) -> Figure:
    return next(f for f in figures(result) if f.name == name)


@pytest.mark.parametrize("name", ["skerry", "nasty"])
def test_plotly_accepts_every_figure(name: str, request: pytest.FixtureRequest) -> None:
    for figure in figures(request.getfixturevalue(name)):
        for traces in figure.choices.values():
            plotly.graph_objects.Figure(
                data=traces, layout=figure.layout
            )  # raises ValueError for a wrong key


def test_links_of_a_sankey_are_the_rows_of_its_table(skerry: Result) -> None:
    figure = _named(skerry, "elements")
    for i, element in enumerate(figure.choices):
        link = figure.choices[element][0]["link"]
        assert sorted(link["value"]) == sorted(row[2 + i] for row in figure.table.rows if row[2 + i] > 0)
        assert len(link["source"]) == len(link["target"]) == len(link["value"]) == len(link["color"])


def test_heat_bars_add_up_on_both_sides(skerry: Result) -> None:
    into, out = _named(skerry, "heat-bars-smelting").choices[""]
    total = skerry["smelting.heat.total"].magnitude
    assert sum(into["x"]) == pytest.approx(total, rel=1e-3)
    assert sum(out["x"]) == pytest.approx(total, rel=1e-3)


def test_the_window_lies_between_its_two_ratios(skerry: Result) -> None:
    """At each corner of the band the mass ratio of iron to silica is one of the two limits."""
    window, point = _named(skerry, "slag").choices[""]
    ratios = {round(c * 55.845 / 71.844 / b, 4) for b, c in zip(window["b"], window["c"], strict=True)}
    assert ratios == {1.0, 2.0}
    assert point["c"][0] * 55.845 / 71.844 / point["b"][0] == pytest.approx(
        skerry["smelting.slag.fe_sio2"].magnitude, rel=1e-3
    )


def test_nothing_is_drawn_without_an_answer(infeasible: Result) -> None:
    assert figures(infeasible) == []


def test_names_are_no_markup(nasty: Result) -> None:
    for figure in figures(nasty):
        for traces in figure.choices.values():
            for trace in traces:
                for label in trace.get("node", {}).get("label", ()):
                    assert "<" not in label
                    assert ">" not in label
