"""The window on a page: regions told apart without colour, the best point, nothing fetched, names harmless."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import plotly.graph_objects
import pytest

from pyrobal import units
from pyrobal.case.load import load_case
from pyrobal.cli import main
from pyrobal.errors import Reason
from pyrobal.report.figures.window import draw, shares
from pyrobal.report.window import window_html
from pyrobal.studies.edges import line, regions
from pyrobal.studies.limit import goal, limits
from pyrobal.studies.sweep import sweep
from pyrobal.studies.window import Window, window

from .browser import Page, needs_browser

SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"
LIMITS = ["smelting.heat.surplus >= 0 MW", "smelting.gas.flow_wet <= 42000 Nm3/h"]


@pytest.fixture(scope="module")
def found() -> Window:
    case = load_case(SKERRY)
    across, up = ("smelting.enrichment", "45 %:75 %:7"), ("smelting.matte_grade", "56 %:82 %:6")
    return window(case, across, up, limits(case, LIMITS), goal(case, "max:smelting.matte.grade"))


@pytest.fixture(scope="module")
def page(found: Window) -> str:
    return window_html(load_case(SKERRY), found)


def test_heat_closed_to_round_off_keeps_a_limit_of_nought(found: Window) -> None:
    """With fuel to close it the surplus is 1e-16 of either sign, which breaks nothing."""
    assert (np.abs(found.readings["smelting.heat.surplus"][found.reason == 0]) < 1e-9).any()
    assert not (found.verdict == 0).any()
    assert found.feasible.any()


def test_every_picture_is_what_plotly_takes_and_covers_the_grid(found: Window) -> None:
    figure = draw(found)
    assert list(figure.choices) == ["limits", *found.readings]
    for traces, layout in figure.choices.values():
        plotly.graph_objects.Figure(data=traces, layout={**figure.layout, **layout})
        assert len(traces[0]["y"]) == len(traces[0]["z"])
        assert len(traces[0]["x"]) == len(traces[0]["z"][0])


def test_regions_hold_the_verdict_of_every_grid_point(found: Window) -> None:
    """At the grid points the regions say what was solved; the legend has every region, line and the best."""
    parted = regions(found)
    for j, y in enumerate(found.y_values):
        for i, x in enumerate(found.x_values):
            kind = parted.kinds[parted.cells[np.abs(parted.y - y).argmin(), np.abs(parted.x - x).argmin()]]
            broken = tuple(np.flatnonzero(found.rooms[:, j, i] < 0).tolist())
            assert kind == (broken if found.reason[j, i] == Reason.SOLVED else Reason(found.reason[j, i]))
    figure = draw(found)
    assert len({key.fill for key in figure.legend if key.fill}) == len(parted.kinds)
    assert sum(bool(key.line) for key in figure.legend) == 1, "the gas; heat closed by fuel has no line"
    numbers = next(t for t in figure.choices["limits"][0] if t.get("mode") == "text")
    assert len(set(numbers["text"])) == len(numbers["text"]) <= len(parted.kinds)


def test_the_line_of_a_limit_is_where_the_exact_solution_meets_it(found: Window) -> None:
    """Each crossing solved again: the true place is within the stated error of it, in steps of the grid."""
    one, limit = line(found, 1), found.limits[1]
    assert len(one.crossings) > 4
    assert 0.0 < one.error < 0.2
    case = load_case(SKERRY)
    for x, y in one.crossings.tolist():
        steps = []
        for axis, at, other, value, values in (
            (found.x, x, found.y, y, found.x_values), (found.y, y, found.x, x, found.y_values),
        ):  # fmt: skip
            if np.isclose(values, at).any():
                continue  # on a line of the grid; the crossing lies along the other axis
            step = np.ptp(values) / (len(values) - 1)
            near = [
                f"{float(p)!r}{units.behind(axis.unit)}"
                for p in (at - one.error * step, at + one.error * step)
            ]
            asked = {axis.key: near, other.key: [f"{float(value)!r}{units.behind(other.unit)}"]}
            steps.append(sweep(case, asked, [limit.key])[limit.key] - limit.bound)
        for low, high in steps:
            assert low * high <= 0.0, "between the two the limit is met exactly"


def test_the_best_point_stands_in_what_keeps_every_limit(found: Window) -> None:
    """Even where the grid point next to it has no answer."""
    assert found.best is not None
    reason = found.reason.copy()
    row, column = (
        np.abs(found.y_values - found.best.y).argmin(),
        np.abs(found.x_values - found.best.x).argmin(),
    )
    reason[max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2] = Reason.OXYGEN_BEYOND_MATTE
    x, y = (float(v[i]) for v, i in ((found.x_values, column), (found.y_values, row)))
    best = dataclasses.replace(found.best, x=x - 0.3 * np.ptp(found.x_values) / 6, y=y)
    parted = regions(dataclasses.replace(found, reason=reason, best=best))
    at = parted.cells[np.abs(parted.y - best.y).argmin(), np.abs(parted.x - best.x).argmin()]
    assert parted.kinds[at] == ()
    there = parted.cells[np.abs(parted.y - y).argmin(), np.abs(parted.x - x).argmin()]
    assert parted.kinds[there] == Reason.OXYGEN_BEYOND_MATTE, "what was solved stays as it was"


def test_the_error_of_a_line_is_the_whole_step_where_its_bend_is_unknown() -> None:
    x, pair = np.linspace(0, 1, 4), np.array([0.0, 1.0])
    room = np.array([[-1.0, 1.0], [-1.0, 1.0], [-1.0, 1.0], [-1.0, 1.0]])
    bare = Window(*[None] * 2, pair, x, (None,), {}, np.stack([room]), np.zeros((4, 2), dtype=int))  # type: ignore[arg-type]
    assert line(bare, 0).error == 1.0


def test_a_saddle_and_a_closed_line() -> None:
    x = np.linspace(-1, 1, 21)
    saddle, ring = x[:, None] * x[None, :] + 0.001, 0.5 - x[:, None] ** 2 - x[None, :] ** 2
    bare = Window(*[None] * 2, x, x, (None,), {}, np.stack([saddle]), np.zeros((21, 21), dtype=int))  # type: ignore[arg-type]
    assert len(line(bare, 0).pieces) == 2
    (closed,) = line(dataclasses.replace(bare, rooms=np.stack([ring])), 0).pieces
    assert closed[0] == closed[-1]
    assert np.hypot(*np.array(closed).T) == pytest.approx(np.sqrt(0.5), abs=0.002)


def test_shares_add_up(found: Window) -> None:
    rows = shares(found).rows
    assert sum(float(row[2]) for row in rows) == pytest.approx(100.0)
    assert float(rows[0][2]) == pytest.approx(100.0 * found.feasible.mean())


def test_a_fine_window_is_thinned_to_what_can_be_seen(found: Window) -> None:
    rows, columns = 400, 500
    fine = dataclasses.replace(
        found,
        x_values=np.linspace(45, 75, columns),
        y_values=np.linspace(56, 82, rows),
        readings={key: np.ones((rows, columns)) for key in found.readings},
        rooms=np.ones((2, rows, columns)),
        reason=np.zeros((rows, columns), dtype=np.int64),
    )
    text = window_html(load_case(SKERRY), fine)
    assert len(text) < 2_000_000
    assert max(len(row) for row in draw(fine).choices["limits"][0][0]["z"]) <= 500


def test_the_page_tells_limits_best_point_and_case(page: str, found: Window) -> None:
    for text in ("smelting.heat.surplus &gt;= 0 MW", "Best point", "autumn blend", "local codes"):
        assert text in page
    inside = json.loads(page.split('id="result">')[1].split("</script>")[0])
    assert found.best is not None
    assert inside["best"]["x"] == found.best.x
    assert inside["feasible"] == pytest.approx(float(found.feasible.mean()))


def test_a_window_without_a_feasible_point_says_where_it_is_nearest(found: Window) -> None:
    rooms = -np.abs(found.rooms) - 0.1
    none = dataclasses.replace(found, rooms=rooms, best=None)
    text = window_html(load_case(SKERRY), none)
    assert "No point keeps every limit" in text
    assert 'href="#best"' not in text


def test_hostile_names_are_text(found: Window) -> None:
    case = load_case(SKERRY)
    hostile = dataclasses.replace(
        case, inputs=dataclasses.replace(case.inputs, title="<script>alert(1)</script>")
    )
    text = window_html(hostile, found)
    assert "<script>alert" not in text


def test_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "window.html"
    asked = ["window", str(SKERRY), "--x", "smelting.enrichment=50 %:60 %:3", "--y",
             "smelting.matte_grade=60 %:64 %:2", "--limit", LIMITS[0], "--html"]  # fmt: skip
    assert main([*asked, str(file)]) == 0
    assert "every limit is kept" in capsys.readouterr().out
    assert file.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert main([*asked, str(tmp_path)]) == 2
    assert "directory" in capsys.readouterr().err


@needs_browser
def test_in_a_browser_every_picture_draws_without_error_or_request(
    tab: Page, page: str, tmp_path: Path
) -> None:
    file = tmp_path / "window.html"
    file.write_text(page, encoding="utf-8")
    tab.open(file)
    assert tab.run("document.querySelectorAll('#drawing-window .heatmaplayer image').length") == 1
    tab.run("const s = document.getElementById('choice-window'); s.value = 'smelting.gas.flow_wet'; "
            "s.dispatchEvent(new Event('change'))")  # fmt: skip
    assert tab.run("document.querySelectorAll('#drawing-window .contourlines path').length") > 0
    assert tab.complaints == []
    assert all(one.startswith(("file:", "data:")) for one in tab.requests)
    assert tab.run("document.documentElement.scrollWidth") <= 1200
