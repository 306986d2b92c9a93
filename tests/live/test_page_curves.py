"""Curves under the sliders, the window with its dot, limits added in the page, and what is kept, in a browser."""

from __future__ import annotations

import json
import statistics
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from demos import balanced

from pyrobal.case.load import load_case
from pyrobal.live.server import Server
from pyrobal.report.compare import compare
from pyrobal.report.numbers import number

from ..report.browser import Page, needs_browser
from .opened import Live

pytestmark = needs_browser

ENRICHMENT, GRADE = "smelting.enrichment", "smelting.matte_grade"
OXYGEN, FUEL = "plant.oxygen", "smelting.fuel_heat"
HANDLE = f'.handle:has([id="set-{ENRICHMENT}"])'
SETTLED = "!document.querySelector('.curve.stale') && document.querySelector('.curve .line')"
MOVES = 20


@pytest.fixture
def page(tab: Page, furnace: Server) -> Iterator[Live]:
    page = Live(tab, furnace.address)
    page.until(SETTLED)
    yield page
    assert tab.complaints == []


def figure(key: str, *settings: str) -> float:
    """What the engine says by itself, in the unit of the page."""
    return float(balanced("skerry_point", *settings)[key].magnitude)


def limit(page: Live, words: str, value: str, side: str = "<=") -> None:
    page.tab.run("document.getElementById('limit-more').open = true")
    page.pick("#limit-reading input", words)
    page.tab.run(f"document.getElementById('limit-side').value = {json.dumps(side)}")
    page.write("#limit-value", value)
    page.tab.press("Enter")
    page.settle()
    page.until(SETTLED)


def test_the_curve_tells_what_the_balance_says_and_goes_to_the_autogenous_point(page: Live) -> None:
    said = page.tab.run(f"document.querySelector('{HANDLE} .plot').getAttribute('aria-label')")
    low, high = (
        figure(FUEL, f"{ENRICHMENT}={page.text(f'{HANDLE} .ends span:{end}-child')} %")
        for end in ("first", "last")
    )
    assert f"{number(high)} to {number(low)} MW" in said
    autogenous = figure("smelting.heat.autogenous_enrichment")
    assert page.text(f"{HANDLE} .marks .autogenous") == f"{number(autogenous)} vol% autogenous"
    page.click(f"{HANDLE} .marks .autogenous")
    assert float(page.field(ENRICHMENT)) == pytest.approx(autogenous, rel=1e-4)
    assert float(page.figure(FUEL)) == pytest.approx(0.0, abs=2e-3)
    page.until(SETTLED)


def test_another_figure_is_chosen_for_the_curves(page: Live) -> None:
    page.pick("#curve-choice input", OXYGEN)
    page.until(SETTLED)
    said = page.tab.run(f"document.querySelector('{HANDLE} .plot').getAttribute('aria-label')")
    assert "Plant oxygen over this range" in said


def test_a_limit_is_added_marked_broken_and_taken_off(page: Live) -> None:
    limit(page, OXYGEN, "20500")
    assert page.text("#uses dt").startswith("plant oxygen limit")
    crossing = float(page.text(f"{HANDLE} .marks .crossing strong").split()[0])
    assert figure(OXYGEN, f"{ENRICHMENT}={crossing} %") == pytest.approx(20500, rel=1e-3)
    page.type(ENRICHMENT, f"{crossing + 2} %")
    assert page.seen("#uses .broken")
    page.click("#uses button")
    assert page.seen("#no-limits")
    limit(page, OXYGEN, "20 MW")  # a heat, where a flow is asked for
    assert page.text("#limit-fault")
    assert page.seen("#no-limits")


def test_the_dot_of_the_window_is_dragged_and_steps_by_keys(page: Live) -> None:
    limit(page, OXYGEN, "22000")
    limit(page, FUEL, "8 MW")
    page.until(
        "document.querySelector('#window-drawing .kept') && !document.querySelector('#window-drawing .stale')"
    )
    assert "every limit is kept" in page.text("#window .legend")
    assert page.text("#window-told").endswith("every limit is kept")
    box = page.box("#window .point")
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.drag([(x, y), (x + 20, y - 5), (x + 40, y - 10)])
    now = [float(page.field(key)) for key in (ENRICHMENT, GRADE)]
    assert now[0] > 57
    assert now[1] > 64
    assert page.figure(OXYGEN) == number(figure(OXYGEN, f"{ENRICHMENT}={now[0]} %", f"{GRADE}={now[1]} %"))
    page.click("#back")
    assert (page.field(ENRICHMENT), page.field(GRADE)) == ("55", "64")
    page.focus("#window .dot")
    page.tab.press("ArrowRight")
    page.tab.press("ArrowUp")
    page.settle()
    assert float(page.field(ENRICHMENT)) > 55
    assert float(page.field(GRADE)) > 64


def kept(page: Live, button: str, folder: Path) -> str:
    """What stands in the file that a button saves."""
    page.tab.call("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(folder))
    page.tab.run("document.getElementById('keep-said').textContent = ''")
    page.tab.run(f"document.getElementById('{button}').click()")
    page.until("document.getElementById('keep-said').textContent")
    file = folder / page.text("#keep-said").split(" is in your downloads")[0]
    end = time.monotonic() + 20.0
    while not file.exists() and time.monotonic() < end:  # the browser names it so when it is whole
        time.sleep(0.02)
    return file.read_text()


def test_the_case_the_report_and_the_command_lines_hold_the_state(page: Live, tmp_path: Path) -> None:
    page.type(ENRICHMENT, "60 %")
    case = kept(page, "write-case", tmp_path)
    assert "# dry solids" in case
    again = balanced("skerry_point", f"{ENRICHMENT}=60 %")
    assert load_case(case).inputs.smelting.enrichment == again.case.inputs.smelting.enrichment
    assert f"{number(figure(OXYGEN, f'{ENRICHMENT}=60 %'))} Nm3/h" in kept(page, "write-report", tmp_path)
    page.click("#show-commands")
    page.until("!document.getElementById('commands').hidden")
    assert "--set 'smelting.enrichment=60 %'" in page.text("#commands")


def test_from_the_move_to_the_figures(page: Live) -> None:
    """Twenty moves of the enrichment: how long until the figures stand in the page. Printed; the load of a machine
    is no matter of a test, that each of them ends with its own figures is."""
    times, ends = page.tab.run(f"""(async () => {{
        const range = document.querySelector('{HANDLE} input[type="range"]');
        const main = document.getElementById('main');
        const value = document.querySelector('.pin[data-key="{OXYGEN}"] strong');
        const [times, ends] = [[], []];
        for (let i = 0; i < {MOVES}; i++) {{
          range.value = 45 + 0.5 * i;
          const before = performance.now();
          range.dispatchEvent(new Event('input'));
          while (main.dataset.asked !== main.dataset.answered) await new Promise(requestAnimationFrame);
          times.push(performance.now() - before);
          ends.push(value.textContent);
          await new Promise(done => setTimeout(done, 20));
        }}
        return [times, ends];
      }})()""")
    times.sort()
    print(
        f"\nfurnace: move to figures {statistics.median(times):.0f} ms, 95 of 100 within {times[int(0.95 * MOVES) - 1]:.0f} ms"
    )
    assert len(set(ends)) == MOVES
    assert ends[-1] == number(figure(OXYGEN, f"{ENRICHMENT}={45 + 0.5 * (MOVES - 1)} %"))


def test_what_moved_most_is_told_as_compare_tells_it(page: Live) -> None:
    page.type(GRADE, "68 %")
    page.until("document.querySelector('#moved-list tbody tr')")
    found = compare(balanced("skerry_point"), balanced("skerry_point", f"{GRADE}=68 %"))
    rows = page.tab.run(
        "[...document.querySelectorAll('#moved-list tbody tr')].map(r => [r.cells[0].title, r.cells[2].textContent])"
    )
    assert [title.split(": ")[0] for title, _ in rows] == [c.key for c in found.readings[: len(rows)]]
    assert [now for _, now in rows] == [number(c.told.values[1]) for c in found.readings[: len(rows)]]
    page.click("#moved-list button")
    assert page.seen(f'.pin[data-key="{found.readings[0].key}"]')
    page.click("#back")
    page.until("!document.querySelector('#moved-list tbody tr')")


def test_with_all_of_it_in_use_it_fits_a_small_screen_and_axe_finds_nothing(page: Live) -> None:
    limit(page, OXYGEN, "22000")
    page.type(ENRICHMENT, "60 %")
    page.write("#keep-name", "richer")
    page.tab.press("Enter")
    page.click(f'.pin[data-key="{FUEL}"] .acts button')  # hold: the form is filled in with what it is now
    page.write("#hold-value", "2.5")
    page.tab.press("Enter")
    page.settle()
    assert page.text("#holds .fault") == ""
    assert float(page.figure(FUEL)) == pytest.approx(2.5, rel=1e-3)
    page.until("document.getElementById('window-told').textContent.includes('follows a target')")
    page.click("#show-commands")
    page.until("!document.getElementById('commands').hidden && document.querySelector('#moved-list tr')")
    fits(page, 1280)
    page.click("#holds button")  # released
    page.until(
        "document.querySelector('#window-drawing .kept') && !document.querySelector('#window-drawing .stale')"
    )
    fits(page, 390)


def fits(page: Live, width: int) -> None:
    page.tab.resize(width)
    page.settle()
    assert page.tab.run("document.documentElement.scrollWidth") <= width
    assert page.tab.findings() == []
