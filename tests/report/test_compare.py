"""Two cases: what was changed, what it did, the most affected first, and nothing where nothing changed."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import math
from pathlib import Path

import openpyxl
import plotly.graph_objects
import pytest
from demos import balanced
from rich.console import Console

from pyrobal.cli import main
from pyrobal.errors import CaseError
from pyrobal.report.compare import (
    Comparison,
    answer_table,
    bars,
    compare,
    feed_table,
    letter,
    readings_table,
    settings_table,
    verdict,
)
from pyrobal.report.compare_page import compare_html, streams_table
from pyrobal.report.console import show_comparison
from pyrobal.report.result import Result, balance

from .browser import Page, needs_browser

SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"


@pytest.fixture(scope="module")
def richer(skerry: Result) -> Comparison:
    return compare(skerry, balanced("skerry_point", "smelting.enrichment=65 %"))


def test_the_same_case_differs_in_nothing(skerry: Result) -> None:
    same = compare(skerry, balance(skerry.case))
    assert (same.settings, same.readings, same.said) == ((), (), ())
    assert same.same == len(skerry)
    assert bars(same) == []


def test_one_setting_changed_is_one_setting_listed(richer: Comparison) -> None:
    assert [(d.key, d.texts) for d in richer.settings] == [("smelting.enrichment", ("55 vol%", "65 vol%"))]


def test_readings_are_sorted_by_effect_and_hold_both_values(richer: Comparison, skerry: Result) -> None:
    effects = [change.effect for change in richer.readings]
    assert effects == sorted(effects, reverse=True)
    change = next(c for c in richer.readings if c.key == "smelting.gas.so2")
    assert change.values == tuple(r["smelting.gas.so2"].magnitude for r in (skerry, richer.cases[1]))
    assert change.relative == pytest.approx(change.values[1] / change.values[0] - 1)
    assert richer.same + len(richer.readings) == len(skerry)


def test_rounding_is_no_change(richer: Comparison) -> None:
    assert not [c for c in richer.readings if c.key.startswith("balance.")]


def test_effects_of_edge_values(richer: Comparison) -> None:
    one = dataclasses.replace(richer.readings[0], scale=0.0)
    rise, fall, came = (dataclasses.replace(one, values=(a, b)) for a, b in ((1, 2), (2, 0), (0, 3)))
    assert (rise.relative, fall.relative, came.relative) == (1.0, -1.0, math.inf)
    assert (rise.effect, fall.effect, came.effect) == (0.5, 1.0, 1.0)
    assert dataclasses.replace(one, values=(1.0, math.nan)).missing


def test_a_trace_that_doubles_matters_less_than_a_main_number_that_does(richer: Comparison) -> None:
    one = richer.readings[0]
    trace, main = (dataclasses.replace(one, values=(x, 2 * x), scale=100.0) for x in (1e-6, 10.0))
    assert trace.effect < 1e-3 * main.effect


def test_round_off_is_neither_listed_nor_first(whole_plant: Result) -> None:
    """Heats and shares of 1e-12 come and go; none of them is news."""
    again = balanced("marram_sound", "smelting.enrichment=62 %")
    found = compare(whole_plant, again)
    raw = {line.key: line.value for line in whole_plant.lines if line.value and not line.shown}
    assert raw
    cautions = [{m.key for m in r.messages if m.level == "caution"} for r in (whole_plant, again)]
    for i in (0, 1):
        assert {m.key for at, m in found.said if at == (i,)} == cautions[i] - cautions[1 - i]
    assert not raw.keys() & {c.key for c in found.readings}
    assert "smelting.fuel" in [c.key for c in found.readings[:5]]


def test_what_only_one_case_has_comes_last(skerry: Result, whole_plant: Result) -> None:
    missing = [c.missing for c in compare(skerry, whole_plant).readings]
    assert missing == sorted(missing)
    assert any(missing)
    assert not missing[0]


def test_a_step_of_one_case_only_is_one_row_on_the_terminal_and_whole_in_html(
    skerry: Result, whole_plant: Result
) -> None:
    found = compare(skerry, whole_plant)
    short, whole = (settings_table(found, whole=whole) for whole in (False, True))
    row = next(row for row in short.rows if row[0] == "converting")
    members = [d.key for d in found.settings if d.key.startswith("converting.")]
    assert row == ("converting", "-", "given", f"{len(members)} settings of one case only")
    assert len(members) > 20
    assert {row[0] for row in whole.rows} == {d.key for d in found.settings}


def test_steps_that_only_one_case_has(skerry: Result, whole_plant: Result) -> None:
    found = compare(skerry, whole_plant)
    new = {c.key for c in found.readings if math.isnan(c.values[0])}
    assert "converting.blister.rate" in new
    assert ("converting.kind", ("", "batch")) in [(d.key, d.texts) for d in found.settings]
    for table in (settings_table(found), answer_table(found), readings_table(found)):
        assert {len(row) for row in table.rows} == {len(table.columns)}


def test_an_infeasible_case_can_be_compared(skerry: Result, infeasible: Result) -> None:
    found = compare(skerry, infeasible)
    assert ("limit", (1,)) in [(m.level, at) for at, m in found.said]
    assert all(math.isnan(c.values[1]) for c in found.readings if not math.isnan(c.values[0]))
    assert "no solution: B" in verdict(found)
    compare_html(found)


def test_on_the_terminal(richer: Comparison) -> None:
    file = io.StringIO()
    show_comparison(richer, 10, Console(file=file, width=80))
    text = file.getvalue()
    assert max(map(len, text.splitlines())) <= 80
    assert "smelting.enrichment" in text
    for change in richer.readings[:10]:
        assert change.key in text.split(), "a key in one piece"
    assert f"{len(richer.readings) - 10} more changed less." in text


def test_the_bars_are_what_plotly_takes(richer: Comparison) -> None:
    for figure in bars(richer):
        traces, layout = figure.choices[""]
        plotly.graph_objects.Figure(data=traces, layout=layout)
        assert len(traces[0]["x"]) == len(traces[0]["y"]) <= 20


def test_in_html_every_change_is_told_and_hostile_names_are_text(richer: Comparison, nasty: Result) -> None:
    text = compare_html(richer)
    for change in richer.readings:
        assert change.key in text
    inside = text.split('id="result">')[1].split("</script>")[0]
    told = json.loads(inside)["readings"]
    assert all(tuple(told[c.key]["values"]) == c.values for c in richer.readings if not c.missing)
    hostile = compare_html(compare(nasty, richer.cases[0]))
    assert "<script>alert" not in hostile
    assert "<img" not in hostile


def test_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "compare.html"
    arguments = [
        "compare",
        str(SKERRY),
        str(SKERRY),
        "--set",
        "smelting.matte_grade=68 %",
        "--html",
        str(file),
    ]
    assert main(arguments) == 0
    out = capsys.readouterr().out
    assert "smelting.matte_grade" in out
    assert file.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert main([*arguments[:3], "--set", "smelting.matte_grade=79.8 %"]) == 1
    assert main(["compare", "-", "-"]) == 2


def test_any_number_of_cases_with_names_that_differ(
    skerry: Result, richer: Comparison, whole_plant: Result
) -> None:
    found = compare(skerry, richer.cases[1], whole_plant, skerry)
    assert len(set(found.names)) == 4
    assert found.names[1].endswith("smelting.enrichment=65 %")
    assert found.names[2] == whole_plant.case.title
    assert [letter(i) for i in (0, 25, 26, 27, 701, 702)] == ["A", "Z", "AA", "AB", "ZZ", "AAA"]
    change = next(c for c in found.every if c.key == "smelting.gas.so2")
    assert change.values == tuple(r["smelting.gas.so2"].magnitude for r in found.cases)
    file = io.StringIO()
    show_comparison(found, 5, Console(file=file, width=80))
    lines = file.getvalue().splitlines()
    assert max(map(len, lines)) <= 80
    compare_html(found)


def test_round_off_between_readings_asked_for_is_no_change(skerry: Result) -> None:
    rounded = balanced("skerry_point", "smelting.matte_grade=64.0000000000006 %")
    found = compare(skerry, rounded, read=["smelting.matte.grade"])
    (row,) = readings_table(found).rows
    at = [column.heading for column in readings_table(found).columns]
    assert found.every[0].difference != 0.0, "1e-14 of the setting"
    assert (row[at.index("change")], row[at.index("%")]) == (0.0, 0.0)
    assert bars(found) == []


def test_only_the_readings_asked_for_as_asked(skerry: Result, richer: Comparison) -> None:
    asked = ["smelting.matte.grade", "smelting.fuel"]
    found = compare(skerry, richer.cases[1], read=asked)
    assert [row[0] for row in readings_table(found).rows] == asked
    assert answer_table(found).rows == ()
    with pytest.raises(CaseError, match=r"smelting.fuell: is no reading of these cases; .*smelting.fuel"):
        compare(skerry, richer.cases[1], read=["smelting.fuell"])


def test_concentrates_stand_as_columns_where_they_differ(skerry: Result, richer: Comparison) -> None:
    assert feed_table(richer) is None
    more = balanced("skerry_point", "concentrate.Tolven.rate=32 t/h")
    table = feed_table(compare(skerry, more))
    assert table is not None
    at = [c.heading for c in table.columns].index("Tolven")
    assert table.rows[1][at] == pytest.approx(32.0)
    assert [row[-1] for row in table.rows] == pytest.approx(
        [r["feed.dry_rate"].magnitude for r in (skerry, more)]
    )


def test_the_numbers_of_the_pictures_are_those_of_the_balances(richer: Comparison) -> None:
    table = streams_table(richer.cases)
    row = next(r for r in table.rows if r[:4] == ("smelting", "outside", "matte", "mass"))
    assert row[4:] == pytest.approx([r["smelting.matte.rate"].magnitude for r in richer.cases], rel=1e-6)


def test_tables_for_a_spreadsheet(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], richer: Comparison
) -> None:
    asked = ["compare", str(SKERRY), str(SKERRY), "--set", "smelting.enrichment=65 %", "--out"]
    assert main([*asked, str(tmp_path / "a.csv")]) == 0
    rows = list(csv.reader((tmp_path / "a.csv").read_text(encoding="utf-8").splitlines()))
    assert rows[0] == ["reading", "label", "unit", *richer.names, "meaning"]
    told = {row[0]: row[3:5] for row in rows[1:]}
    for change in richer.every:
        assert [float(x) if x else math.nan for x in told[change.key]] == pytest.approx(
            list(change.values), nan_ok=True
        )
    assert main([*asked, str(tmp_path / "a.xlsx")]) == 0
    sheet = openpyxl.load_workbook(tmp_path / "a.xlsx")["readings"]
    assert {row[0].value for row in sheet.iter_rows(min_row=2)} == set(told)
    assert main([*asked, str(tmp_path / "a.doc")]) == 2
    assert main([*asked, str(SKERRY)]) == 2
    assert "is read as CASE" in capsys.readouterr().err
    assert main(["compare", str(SKERRY)]) == 2


@needs_browser
def test_in_a_browser_it_draws_without_error_request_or_scrolling_sideways(
    tab: Page, richer: Comparison, nasty: Result, tmp_path: Path
) -> None:
    pages = {"plain": richer, "hostile": compare(nasty, richer.cases[0])}
    for name, found in pages.items():
        file = tmp_path / f"{name}.html"
        file.write_text(compare_html(found), encoding="utf-8")
        for width in (380, 1200):
            tab.open(file, width=width)
            assert tab.complaints == []
            assert tab.requests == [file.as_uri()]
            assert tab.run("document.documentElement.scrollWidth") <= width
    assert tab.run("document.querySelectorAll('img, main script').length") == 0
