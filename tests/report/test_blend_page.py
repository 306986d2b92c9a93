"""A blend on a page: what to take, what binds, the other blends, in the unit of the goal."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import plotly.graph_objects
import pytest

from pyrobal.case.load import load_case
from pyrobal.cli import main
from pyrobal.report.blend import _figure, blend_html
from pyrobal.report.numbers import number
from pyrobal.studies.blend import Advice, blend
from pyrobal.studies.blending import MARGIN
from pyrobal.studies.limit import limits
from pyrobal.studies.terms import without_prices

from .browser import Page, needs_browser

SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"
LIMIT = "feed.assay.SiO2 <= 7 wt%"


@pytest.fixture(scope="module")
def found() -> Advice:
    case = load_case(SKERRY)
    return blend(case, without_prices(case), limits(case, [LIMIT, "smelting.slag.copper <= 1.4 %"]))


@pytest.fixture(scope="module")
def page(found: Advice) -> str:
    return blend_html(load_case(SKERRY), found)


def test_the_page_carries_rates_limits_and_worth_in_the_unit_of_the_goal(page: str, found: Advice) -> None:
    for parcel in found.terms.parcels:
        rate = found.best.rates[parcel.name]
        row = f'<th scope="row">{parcel.name}<td>{number(rate)}<td>{number(100 * rate / found.best.charge)}'
        assert row in page
    binding = [limit for limit, worth in found.limit_worth.items() if worth]
    assert LIMIT in map(str, binding)
    assert page.count('<td class="t">binds') == len(binding)
    assert "t/h Cu" in page
    assert "per h" not in page
    inside = json.loads(page.split('id="result">')[1].split("</script>")[0])
    assert inside["rates"] == dict(found.best.rates)
    assert inside["feasible"] is True


def test_money_is_per_hour(found: Advice) -> None:
    text = blend_html(load_case(SKERRY), dataclasses.replace(found, goal=MARGIN))
    assert "Most margin" in text
    assert '<span class="unit">per h</span>' in text


def test_bars_are_the_rates_of_each_blend(found: Advice) -> None:
    blends = {"the blend": found.best, "<b>other</b>": found.best}
    figure = _figure(found, blends)
    (traces, layout) = figure.choices[""]
    plotly.graph_objects.Figure(data=traces, layout={**figure.layout, **layout})
    assert [trace["x"][0] for trace in traces] == pytest.approx(list(found.best.rates.values()), rel=1e-5)
    assert not [label for label in traces[0]["y"] if "<" in label]


def test_what_cannot_be_met_together_is_said(found: Advice) -> None:
    best = dataclasses.replace(found.best, feasible=False)
    none = Advice(found.goal, found.terms, best, conflict=("first <= 1", "second >= 2"))
    text = blend_html(load_case(SKERRY), none)
    assert "No blend of these parcels keeps every limit" in text
    assert "first &lt;= 1; second &gt;= 2" in text


def test_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "blend.html"
    assert main(["blend", str(SKERRY), "--limit", LIMIT, "--html", str(file)]) == 0
    assert "most copper" in capsys.readouterr().out
    assert file.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


@needs_browser
def test_in_a_browser_it_draws_without_error_or_request(
    tab: Page, page: str, found: Advice, tmp_path: Path
) -> None:
    file = tmp_path / "blend.html"
    file.write_text(page, encoding="utf-8")
    assert found.taking or found.without
    tab.open(file)
    assert tab.run("document.querySelectorAll('#drawing-blends .bars .point').length") > 0
    assert tab.complaints == []
    assert tab.requests == [file.as_uri()]
    assert tab.run("document.documentElement.scrollWidth") <= 1200
