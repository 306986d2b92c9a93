"""The pages beside the balance report, of every study: one anatomy, as Chromium shows it, at three widths, in two
themes and in print; what is drawn is what was found."""

from __future__ import annotations

import dataclasses
import functools
import json
import math
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import plotly.graph_objects
import pytest
from demos import CASES, balanced, demo

import pyrobal
from pyrobal.case.load import load_case
from pyrobal.cli import main
from pyrobal.report.compare import compare
from pyrobal.report.compare_page import compare_html
from pyrobal.report.result import Result
from pyrobal.report.sensitivity import sections as of_sensitivity
from pyrobal.report.sensitivity import sensitivity_html, sides
from pyrobal.report.sweep import crossings, curves, sweep_html
from pyrobal.report.sweep import sections as of_sweep
from pyrobal.studies.limit import in_force
from pyrobal.studies.sensitivity import sensitivity
from pyrobal.studies.sweep import sweep
from pyrobal.studies.table import StudyTable

from .browser import Page, needs_browser

SKERRY = CASES / "skerry_point.toml"
LIMITED = "limit.fuel.most=6 MW"
READ = ["smelting.fuel_heat", "smelting.gas.so2"]
WIDTHS = (1440, 1024, 390)


@functools.cache
def limited() -> Any:
    """A case with a limit of its own on a reading that the sweep shows."""
    text = SKERRY.read_text(encoding="utf-8")
    return load_case(f'{text}\n[[limit]]\nname = "fuel"\nreading = "smelting.fuel_heat"\nmost = "6 MW"\n')


@functools.cache
def swept() -> StudyTable:
    over = {"smelting.enrichment": "45 %:65 %:9", "smelting.matte_grade": ["62 %", "66 %"]}
    return sweep(limited(), over, READ)


@functools.cache
def effects() -> Any:
    return sensitivity(demo("skerry_point"), READ, ["smelting"])


def _sensitivity() -> str:
    return sensitivity_html(
        demo("skerry_point"), effects(), {"smelting.fuel_heat": "MW", "smelting.gas.so2": "vol%"}
    )


def _page(study: Any) -> str:
    text: str = study._page()
    return text


def _reconciled(count: int) -> str:
    """The first days of the demo, an empty one among them."""
    rows = (CASES / "skerry_point_days.csv").read_text(encoding="utf-8").splitlines()
    with TemporaryDirectory() as folder:
        file = Path(folder) / "days.csv"
        file.write_text("\n".join(rows[: 2 + count]), encoding="utf-8")
        return _page(
            pyrobal.reconcile(SKERRY, file, fit=["smelting.heat_loss", "smelting.slag_entrained_matte"])
        )


PAGES: dict[str, Callable[[], str]] = {
    "compare": lambda: compare_html(
        compare(balanced("skerry_point"), balanced("skerry_point", "smelting.enrichment=65 %"), balanced("marram_sound"))
    ),
    "window": lambda: _page(
        pyrobal.window(
            SKERRY, "smelting.enrichment=45 %:75 %:7", "smelting.matte_grade=56 %:82 %:6",
            limit=["smelting.fuel_heat <= 9 MW", "smelting.gas.flow_wet <= 42000 Nm3/h"], best="max:smelting.matte.rate",
        )
    ),
    "sweep": lambda: sweep_html(limited(), swept()),
    "sensitivity": _sensitivity,
    "uncertainty": lambda: _page(
        pyrobal.uncertainty(SKERRY, READ, vary={"smelting.heat_loss": "+-1 MW"}, only=True, samples=8)
    ),
    "blend": lambda: _page(pyrobal.blend(SKERRY, limit="feed.assay.As <= 0.12 %")),
    "reconcile": lambda: _reconciled(12),
}  # fmt: skip


@functools.cache
def html(name: str) -> str:
    return PAGES[name]()


@pytest.fixture(scope="module", params=PAGES)
def shown(
    request: pytest.FixtureRequest, tab: Page, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Page]:
    """The page of a study, opened once in a narrow window; each test gives it the width it asks for."""
    file = tmp_path_factory.mktemp("study") / f"{request.param}.html"
    file.write_text(html(request.param), encoding="utf-8")
    tab.open(file, width=min(WIDTHS))
    yield tab
    tab.resize(1200)


@needs_browser
def test_at_every_width_and_in_both_themes_it_draws_and_nothing_reaches_over_the_edge(shown: Page) -> None:
    """Also where a window that was narrow is made wider."""
    for width in reversed(WIDTHS):
        for dark in (False, True):
            shown.resize(width, dark=dark)
            assert shown.until(f"document.documentElement.scrollWidth <= {width}")
            assert shown.until(
                "[...document.querySelectorAll('.drawing')].every(d => d.querySelectorAll('svg path').length"
                " && Math.abs(d.clientWidth - d.querySelector('svg.main-svg').clientWidth) < 2)"
            )
    assert shown.complaints == []
    assert [one for one in shown.requests if not one.startswith("data:")] == [shown.run("location.href")]


@needs_browser
def test_axe_finds_nothing(shown: Page) -> None:
    """Of the other theme only the colours differ."""
    shown.resize(1440)
    assert shown.findings() == []
    shown.resize(1440, dark=True)
    assert shown.findings("color-contrast") == []


@needs_browser
def test_on_paper_nothing_reaches_over_the_edge_and_a_figure_says_what_it_shows(
    shown: Page, tmp_path: Path
) -> None:
    shown.resize(688)  # between the margins of A4
    shown.call("Emulation.setEmulatedMedia", media="print")
    assert (
        shown.run(
            "[...document.querySelectorAll('main table')].filter(t => t.offsetWidth > 690).map(t => t.innerText.slice(0, 99))"
        )
        == []
    )
    chosen = "[...document.querySelectorAll('figure select[id^=choice]')].every(s => s.closest('figure').querySelector('h3').textContent.includes(s.value))"
    assert shown.run(chosen)
    heads = "[...document.querySelectorAll('main > * thead th')].filter(h => h.textContent && !h.closest('details'))"
    assert shown.run(f"{heads}.every(h => (h.querySelector('button') ?? h).offsetHeight > 0)"), (
        "columns have headings"
    )
    shown.call("Emulation.setEmulatedMedia", media="")
    shown.resize(1200)
    shown.pdf(tmp_path / "page.pdf")
    sheets = len(re.findall(rb"/Type\s*/Page\b", (tmp_path / "page.pdf").read_bytes()))
    assert 1 <= sheets <= 16


@needs_browser
def test_it_has_the_anatomy_of_every_page(shown: Page) -> None:
    """Head, verdict, figures with titles and numbers, tables that can be searched, sorted and saved."""
    shown.resize(1200)
    assert shown.run("document.querySelectorAll('h1').length") == 1
    assert len(shown.run("document.querySelector('header .verdict').textContent").strip()) > 20
    assert shown.run("document.querySelectorAll('figure').length") > 0
    assert shown.run(
        "[...document.querySelectorAll('figure')].every(f => f.querySelector('h2, h3') && f.querySelector('details'))"
    )
    assert (
        shown.run(
            "[...document.querySelectorAll('main table')].filter(t => t.rows.length > 9 && !t.closest('.listed')).length"
        )
        == 0
    )
    lists = shown.run("document.querySelectorAll('.listed').length")
    if lists:
        count = "[...document.querySelectorAll('.listed')].at(-1)"
        rows = shown.run(f"{count}.querySelector('table').tBodies[0].rows.length")
        shown.run(
            f"{{const i = {count}.querySelector('input'); i.value = 'no such word'; i.dispatchEvent(new Event('input'))}}"
        )
        assert shown.run(f"{count}.querySelector('[role=status]').textContent") == f"0 of {rows}"
        shown.run(
            f"{{const i = {count}.querySelector('input'); i.value = ''; i.dispatchEvent(new Event('input'))}}"
        )
        shown.run(f"{count}.querySelector('thead button').click()")
        first = shown.run(
            f"[...{count}.querySelector('table').tBodies[0].rows].map(r => r.cells[0].textContent)"
        )
        assert first == shown.run(
            f"{json.dumps(first)}.sort((a, b) => Number(a) - Number(b) || a.localeCompare(b, 'en', {{numeric: true}}))"
        )


@needs_browser
def test_a_long_table_shows_its_first_rows_until_more_are_asked_for(shown: Page) -> None:
    shown.resize(1200)
    seen = (
        "[...document.querySelectorAll('.listed')].map(l => [...l.querySelector('table').tBodies[0].rows]"
        ".filter(r => getComputedStyle(r).display != 'none').length)"
    )
    whole = shown.run(
        "[...document.querySelectorAll('.listed')].map(l => l.querySelector('table').tBodies[0].rows.length)"
    )
    assert shown.run(seen) == [min(rows, 35) for rows in whole]
    for i, rows in enumerate(whole):
        place = f"document.querySelectorAll('.listed')[{i}]"
        assert (shown.run(f"{place}.querySelector('.all')") is None) == (rows <= 35)
        if rows > 35:
            find = f"(text => {{const i = {place}.querySelector('input'); i.value = text; i.dispatchEvent(new Event('input'))}})"
            last = shown.run(f"{place}.querySelector('table').tBodies[0].rows[{rows - 1}].textContent.trim()")
            shown.run(f"{find}({json.dumps(last)})")
            assert shown.run(seen)[i] >= 1, "a row that is looked for is found beyond the first"
            shown.run(f"{find}('')")
            assert shown.run(seen)[i] == 35
            shown.run(f"{place}.querySelector('.all').click()")
    assert shown.run(seen) == whole


@needs_browser
def test_plants_beside_each_other_stand_at_one_height_and_leave_no_blank(tab: Page, tmp_path: Path) -> None:
    """Whatever the lines of their names; and one below the other a small plant takes little room."""
    file = tmp_path / "compare.html"
    file.write_text(html("compare"), encoding="utf-8")
    shown = (
        "[...document.querySelectorAll('.beside svg.plant')].filter(s => s.getBoundingClientRect().height)"
    )
    tab.open(file, width=1440)
    tops = tab.run(f"{shown}.map(s => s.querySelector('.card').getBoundingClientRect().top)")
    assert len(tops) == 3
    assert max(tops) - min(tops) < 1
    tab.resize(390)
    small, _, whole = tab.run(f"{shown}.map(s => s.getBoundingClientRect().height)")
    assert small < 0.5 * whole


def test_curves_are_the_scenarios_and_the_limit_is_where_they_meet_it() -> None:
    found, drawn = swept(), curves(swept())
    assert drawn.across is not None and drawn.across.key == "smelting.enrichment"
    assert len(drawn.curves) == 2
    (section, _) = of_sweep(limited(), found)
    for figure, key in zip(section.figures, READ, strict=True):
        traces, layout = figure.choices[""]
        plotly.graph_objects.Figure(data=traces, layout={**figure.layout, **layout})
        for trace, rows in zip(traces, drawn.curves.values(), strict=False):
            assert trace["y"] == pytest.approx(found[key][rows], rel=1e-5)
            assert trace["x"] == pytest.approx(found["smelting.enrichment"][rows], rel=1e-5)
    crossed = crossings(found, drawn, in_force(limited(), (), ()))
    assert [limit.key for limit, _, _ in crossed] == ["smelting.fuel_heat"] * 2
    step = 20.0 / 8
    for (_, name, x), grade in zip(crossed, ("62", "66"), strict=True):
        assert grade in name
        near = sweep(limited(), {"smelting.enrichment": [f"{x - 0.1 * step} %", f"{x + 0.1 * step} %"],
                                 "smelting.matte_grade": [f"{grade} %"]}, READ[:1])[READ[0]]  # fmt: skip
        assert near[0] > 6.0 > near[1]
    assert "is just met at" in section.sentences[0]


def test_a_list_of_scenarios_is_drawn_by_its_number(tmp_path: Path) -> None:
    listed = tmp_path / "listed.csv"
    listed.write_text(
        "smelting.enrichment [%],smelting.matte_grade [%]\n50,62\n55,66\n52,64\n", encoding="utf-8"
    )
    found = sweep(demo("skerry_point"), {}, READ[:1], scenarios=listed)
    drawn = curves(found)
    assert drawn.across is None and drawn.title == "scenario"
    assert list(drawn.curves.values()) == [[0, 1, 2]]
    assert sweep_html(demo("skerry_point"), found).startswith("<!DOCTYPE html>")


def test_bars_to_both_sides_are_the_effects_and_end_at_the_range() -> None:
    case = demo("skerry_point")
    first, second = of_sensitivity(case, effects(), {"smelting.fuel_heat": "MW", "smelting.gas.so2": "vol%"})
    for section, key in ((first, READ[0]), (second, READ[1])):
        (figure,) = section.figures
        down, up = figure.choices[""][0]
        plotly.graph_objects.Figure(data=[down, up], layout=figure.layout)
        both = [sides(case, e) for e in effects()[key][:15]]
        assert down["x"] == pytest.approx([d for d, _ in both if math.isfinite(d)], rel=1e-5)
        assert up["x"] == pytest.approx([u for _, u in both if math.isfinite(u)], rel=1e-5)
    e = next(e for e in effects()[READ[0]] if e.setting == "smelting.dust_return")
    assert e.step < 0 and math.isnan(sides(case, e)[1]), "all dust is recycled; no more can be"


def test_hostile_names_stay_text(nasty: Result) -> None:
    case, names = nasty.case, [c.name for c in nasty.case.inputs.concentrate]
    table = sweep(case, {"smelting.matte_grade": ["60 %", "62 %"]}, ["smelting.matte.rate"])
    found, compared = effects()[READ[0]], compare_html(compare(nasty, nasty))
    for name in names:
        column = dataclasses.replace(table.columns[0], key=f"concentrate.{name}.rate")
        effect = dataclasses.replace(found[0], setting=f"concentrate.{name}.rate")
        pages = (
            sweep_html(case, dataclasses.replace(table, columns=(column, table.columns[1]))),
            sensitivity_html(case, {READ[0]: (effect,)}, {READ[0]: "MW"}),
            compared,
        )
        (section, _) = of_sweep(case, dataclasses.replace(table, columns=(column, table.columns[1])))
        assert "<" not in section.figures[0].layout["xaxis"]["title"]["text"], "plotly reads markup"
        for text in pages:
            assert not [tag for tag in ("<script>alert", "<svg/onload", "<b>fire", "<img") if tag in text]


def test_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    grid = ["sweep", str(SKERRY), "--over", "smelting.enrichment=50 %:60 %:3", "--read", READ[0], "--html"]
    assert main([*grid, str(tmp_path / "sweep.html")]) == 0
    assert "smelting." in capsys.readouterr().out
    assert main([*grid, "-"]) == 0
    assert capsys.readouterr().out.startswith("<!DOCTYPE html>")
    assert main([*grid, str(SKERRY)]) == 2
    assert main([*grid, str(tmp_path / "a.html"), "--out", str(tmp_path / "a.csv")]) == 2
    assert "--html and --out" in capsys.readouterr().err
    ranked = ["sensitivity", str(SKERRY), "--read", READ[0], "--to", "smelting.heat_loss", "--html"]
    assert main([*ranked, str(tmp_path / "effects.html")]) == 0
    assert "smelting.heat_loss" in capsys.readouterr().out
    text = (tmp_path / "effects.html").read_text(encoding="utf-8")
    inside = json.loads(text.split('id="result">')[1].split("</script>")[0])
    (effect,) = inside["readings"][READ[0]]["effects"]
    assert np.isclose(
        effect["change"],
        sensitivity(demo("skerry_point"), READ[:1], ["smelting.heat_loss"])[READ[0]][0].change,
    )
