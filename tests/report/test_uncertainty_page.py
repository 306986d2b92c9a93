"""Uncertainty on a page: every number of the study, bars with their intervals, nothing fetched."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import plotly.graph_objects
import pytest

from pyrobal.case.load import load_case
from pyrobal.cli import main
from pyrobal.report.numbers import number
from pyrobal.report.uncertainty import _figures, uncertainty_html
from pyrobal.studies.limit import limits
from pyrobal.studies.spread import Source
from pyrobal.studies.uncertainty import Uncertainty, uncertainty

from .browser import Page, needs_browser

SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"
READ = ["smelting.oxygen.demand", "smelting.slag.copper"]


@pytest.fixture(scope="module")
def found() -> Uncertainty:
    case = load_case(SKERRY)
    return uncertainty(case, READ, limits=limits(case, ["smelting.slag.copper <= 0.82 %"]), samples=16)


@pytest.fixture(scope="module")
def page(found: Uncertainty) -> str:
    return uncertainty_html(load_case(SKERRY), found)


def test_the_page_carries_every_number_of_the_study(page: str, found: Uncertainty) -> None:
    for key, s in found.scatter.items():
        assert key in page
        for value in (s.mean, s.deviation, *s.percentiles):
            assert f"<td>{number(value)}" in page
    (risk,) = found.risks
    assert f"<td>{number(100 * risk.chance)}<td>{number(100 * risk.low)}<td>{number(100 * risk.high)}" in page
    for source in found.sources:
        for spread in source.spreads:
            assert spread.variable.key in page
            assert spread.text() in page
    inside = json.loads(page.split('id="result">')[1].split("</script>")[0])
    assert inside["readings"][READ[0]]["mean"] == found.scatter[READ[0]].mean
    assert inside["seed"] == found.seed


def test_bars_are_the_indices_with_their_intervals(found: Uncertainty) -> None:
    (figure,) = _figures(found)
    assert list(figure.choices) == READ
    for key, (traces, layout) in figure.choices.items():
        plotly.graph_objects.Figure(data=traces, layout={**figure.layout, **layout})
        total = found.indices[key].total
        assert traces[1]["x"] == pytest.approx(100 * np.sort(total[total >= 0.01])[::-1], rel=1e-5)
        ends = [x + more for x, more in zip(traces[1]["x"], traces[1]["error_x"]["array"], strict=True)]
        high = {s.name: 100 * found.indices[key].total_range[g][1] for g, s in enumerate(found.sources)}
        assert ends == pytest.approx([high[name] for name in traces[1]["y"]], rel=1e-4)


def test_a_reading_that_nothing_moves_has_no_bars(found: Uncertainty) -> None:
    still = {
        key: dataclasses.replace(one, total=np.full_like(one.total, np.nan))
        for key, one in found.indices.items()
    }
    nothing = dataclasses.replace(found, indices=still, risks=())
    assert list(_figures(nothing)) == []
    assert "<figure" not in uncertainty_html(load_case(SKERRY), nothing)


def test_hostile_names_are_text(found: Uncertainty) -> None:
    sources = tuple(Source(f"<b>{s.name}</b>", s.spreads) for s in found.sources)
    (figure,) = _figures(dataclasses.replace(found, sources=sources))
    assert not [name for traces, _ in figure.choices.values() for name in traces[0]["y"] if "<" in name]


def test_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "uncertainty.html"
    asked = ["uncertainty", str(SKERRY), "--read", READ[0], "--only", "--vary",
             "smelting.matte_grade=+-1 %", "--samples", "4", "--html"]  # fmt: skip
    assert main([*asked, str(file)]) == 0
    assert "smelting.oxygen.demand" in capsys.readouterr().out
    assert file.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert main([*asked, "-"]) == 0
    assert capsys.readouterr().out.startswith("<!DOCTYPE html>")


@needs_browser
def test_in_a_browser_it_draws_without_error_or_request(tab: Page, page: str, tmp_path: Path) -> None:
    file = tmp_path / "uncertainty.html"
    file.write_text(page, encoding="utf-8")
    for width in (380, 1200):
        tab.open(file, width=width)
        assert tab.run("document.querySelectorAll('#drawing-shares .bars .point').length") > 0
        assert tab.complaints == []
        assert tab.requests == [file.as_uri()]
        assert tab.run("document.documentElement.scrollWidth") <= width
