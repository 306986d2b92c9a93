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
        for traces, own in figure.choices.values():
            layout = {**figure.layout, **own}
            plotly.graph_objects.Figure(data=traces, layout=layout)  # raises ValueError for a wrong key


def test_heat_bars_add_up_on_both_sides(whole_plant: Result) -> None:
    bars = [figure for figure in figures(whole_plant) if figure.name.startswith("heat-")]
    assert len(bars) > 3
    for figure in bars:
        into, out = figure.choices[""][0]
        assert sum(out["x"]) == pytest.approx(sum(into["x"]), rel=5e-3), figure.name
    into = _named(whole_plant, "heat-smelting").choices[""][0][0]
    assert sum(into["x"]) == pytest.approx(whole_plant["smelting.heat.total"].magnitude, rel=5e-3)


def test_the_window_lies_between_its_two_ratios(skerry: Result) -> None:
    """At each corner of the band the mass ratio of iron to silica is one of the two limits."""
    window, point = _named(skerry, "slag").choices[""][0]
    ratios = {round(c * 55.845 / 71.844 / b, 4) for b, c in zip(window["b"], window["c"], strict=True)}
    assert ratios == {1.0, 2.0}
    assert point["c"][0] * 55.845 / 71.844 / point["b"][0] == pytest.approx(
        skerry["smelting.slag.fe_sio2"].magnitude, rel=1e-3
    )


def test_the_cycle_ends_as_the_balance_says(whole_plant: Result) -> None:
    figure = _named(whole_plant, "cycle")
    last = figure.table.rows[-1]
    assert last[0] == pytest.approx(whole_plant.results.converting.cycle.time[0] / 3600)
    melts, _ = figure.choices["melts"]
    assert [trace["name"] for trace in melts] == ["matte", "copper", "slag", "temperature"]
    assert len({trace["line"]["dash"] for trace in melts}) == len(melts)  # told apart without colour


def test_the_cycle_begins_with_the_empty_vessel(whole_plant: Result) -> None:
    """The first charging is drawn whole, from nothing at the start; the gas of it is none."""
    figure = _named(whole_plant, "cycle")
    course = whole_plant.results.converting.cycle.course
    matte, *_, melt = figure.choices["melts"][0]
    assert matte["x"][:2] == pytest.approx([0.0, course.duration[0, 0] / 3600], rel=1e-5)
    assert matte["y"][:2] == pytest.approx([0.0, course.matte[0, 0] / 1000], rel=1e-5)
    assert melt["y"][0] is None
    for trace in figure.choices["gas"][0]:
        assert trace["x"][0] == 0.0
        assert trace["y"][0] == 0.0


def test_the_load_over_time_has_the_mean_and_peak_of_the_readings(whole_plant: Result) -> None:
    so2 = _named(whole_plant, "load").choices["SO2"][0][0]["y"]
    assert max(so2) == pytest.approx(whole_plant["acid.so2_load_peak"].magnitude, rel=1e-4)
    assert sum(so2) / len(so2) == pytest.approx(whole_plant["load.so2_mean"].magnitude, rel=1e-4)


def test_beds_and_tail_gas_over_the_cycle_are_those_of_the_readings(whole_plant: Result) -> None:
    choices = _named(whole_plant, "beds").choices
    assert list(choices) == ["bed temperatures", "conversion", "tail gas"]
    *beds, limit = choices["bed temperatures"][0]
    for trace in beds:
        hottest = whole_plant[f"acid.{trace['name'].replace(' ', '.')}.hottest"].magnitude
        assert max(trace["y"]) == pytest.approx(hottest, rel=1e-4)
    assert max(beds[0]["y"]) - min(beds[0]["y"]) > 1.0 and limit["y"] == [630.0, 630.0]
    moments, mean = (trace["y"] for trace in choices["conversion"][0])
    assert min(moments) == pytest.approx(whole_plant["acid.conversion_lowest"].magnitude, rel=1e-4)
    assert mean[0] == pytest.approx(whole_plant["acid.conversion"].magnitude, rel=1e-4)
    assert choices["tail gas"][0][1]["y"][0] == pytest.approx(
        whole_plant["acid.tail.so2"].magnitude, rel=1e-4
    )


def test_nothing_is_drawn_without_an_answer(infeasible: Result) -> None:
    assert figures(infeasible) == []


def test_names_are_no_markup(nasty: Result) -> None:
    for figure in figures(nasty):
        for traces, _ in figure.choices.values():
            for trace in traces:
                nodes, links = (trace.get(part, {}).get("label", ()) for part in ("node", "link"))
                for label in (*nodes, *links):
                    assert "<" not in label.replace("<br>", "", 1)  # the line is parted once
                    assert ">" not in label.replace("<br>", "", 1)


def test_the_corners_drawn_hold_every_slag_and_the_whole_window(whole_plant: Result) -> None:
    figure = _named(whole_plant, "slag")
    lowest = [figure.layout["ternary"][f"{axis}axis"]["min"] for axis in "abc"]
    assert lowest[1] > 0 and lowest[2] > 0
    for trace in figure.choices[""][0]:
        for axis, low in zip("abc", lowest, strict=True):
            assert min(trace[axis]) >= low


def test_it_is_said_where_the_band_and_the_triangle_end(whole_plant: Result) -> None:
    figure = _named(whole_plant, "slag")
    window, *_ = figure.choices[""][0]
    silica, iron = (figure.layout["ternary"][f"{axis}axis"]["min"] for axis in "bc")
    assert f"no end at {max(window['a']):g} % of CaO + Al2O3 + MgO" in figure.about
    assert f"from {silica:g} % SiO2 and {iron:g} % FeO up" in figure.about
