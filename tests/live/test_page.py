"""The page of `pyrobal live` in a browser: moves, figures, wrong input, targets, a server that goes and comes."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from demos import CASES, balanced

from pyrobal.live.server import Server
from pyrobal.report.numbers import number

from ..report.browser import Page, needs_browser
from .opened import Live, served

pytestmark = needs_browser

ENRICHMENT, GRADE, SLAG = "smelting.enrichment", "smelting.matte_grade", "smelting.slag_temperature"
OXYGEN = "plant.oxygen"
RANGE = f'.handle:has([id="set-{ENRICHMENT}"]) input[type="range"]'


@pytest.fixture
def page(tab: Page, furnace: Server) -> Live:
    return Live(tab, furnace.address)


def oxygen(*settings: str) -> str:
    """What the engine says by itself."""
    return number(balanced("skerry_point", *settings)[OXYGEN].magnitude)


def test_it_opens_without_a_complaint_and_asks_nobody_else(page: Live, furnace: Server) -> None:
    assert page.tab.complaints == []
    assert page.tab.requests
    assert [one for one in page.tab.requests if not one.startswith((furnace.address, "data:,"))] == []
    assert page.figure(OXYGEN) == oxygen()
    assert "The furnace burns" in page.text("#verdict")
    assert page.seen("#picture svg.plant .band")
    assert "licensed practice" in page.text("#caution")


@pytest.fixture(scope="module", params=[1600, 1280, 390])
def filled(request: pytest.FixtureRequest, first: Page, furnace: Server) -> Iterator[tuple[Live, int]]:
    """A page of that width with a wrong value, and all that folds unfolded."""
    page = Live(first.another(), furnace.address, request.param)
    page.type(ENRICHMENT, "60 t")
    for more in ("limit", "hold"):
        page.tab.run(f"document.getElementById('{more}-more').open = true")
    yield page, request.param
    page.tab.close()


@pytest.mark.parametrize("dark", [False, True])
def test_it_fits_and_axe_finds_nothing(filled: tuple[Live, int], dark: bool) -> None:
    page, width = filled
    page.tab.resize(width, dark=dark)
    assert page.fault(ENRICHMENT)
    assert page.tab.run("document.documentElement.scrollWidth") <= width
    assert page.tab.findings("color-contrast" if dark else "") == []


def test_a_slider_is_dragged(page: Live) -> None:
    box = page.box(RANGE)
    y, knob = box["y"] + box["height"] / 2, box["x"] + box["width"] / 2  # the case stands in the middle
    page.drag([(knob + step, y) for step in range(0, 80, 8)])
    now = page.field(ENRICHMENT)
    assert 60 < float(now) < 70
    assert page.figure(OXYGEN) == oxygen(f"{ENRICHMENT}={now} %")
    assert page.text(f'.pin[data-key="{OXYGEN}"] .was').startswith(f"was {oxygen()} +")
    page.click("#back")  # the whole of it was one change
    assert page.figure(OXYGEN) == oxygen()
    assert page.field(ENRICHMENT) == "55"
    assert page.tab.run("document.getElementById('back').disabled")
    page.click("#forward")
    assert page.field(ENRICHMENT) == now
    page.click("#reset")
    assert page.field(ENRICHMENT) == "55"


def test_a_value_is_typed_with_a_unit_of_ones_own(page: Live) -> None:
    page.type(SLAG, "1550 K")
    assert page.field(SLAG) == "1276.85"
    assert page.figure(OXYGEN) == oxygen(f"{SLAG}=1550 K")
    page.type(SLAG, "1260")
    assert page.figure(OXYGEN) == oxygen(f"{SLAG}=1260 degC")
    page.type(SLAG, "")
    assert page.field(SLAG) == "1270"


@pytest.fixture(scope="module")
def used(first: Page, furnace: Server) -> Iterator[Live]:
    """A page that stays open from one wrong value to the next."""
    page = Live(first.another(), furnace.address)
    yield page
    page.tab.close()


@pytest.mark.parametrize("wrong", ["60 t/h", "60,5 %", "sixty", "140 %", "-3 %", "nan %"])
def test_what_cannot_be_read_is_said_beside_its_handle_and_the_last_answer_stays(
    used: Live, wrong: str
) -> None:
    used.click("#reset")
    used.type(ENRICHMENT, wrong)
    assert used.fault(ENRICHMENT)
    assert used.field(ENRICHMENT) == wrong
    assert used.figure(OXYGEN) == oxygen()
    used.type(GRADE, "66")  # the others go on
    assert used.figure(OXYGEN) == oxygen(f"{GRADE}=66 %")
    assert used.field(ENRICHMENT) == wrong
    used.type(ENRICHMENT, "60")
    assert used.fault(ENRICHMENT) == ""
    assert used.figure(OXYGEN) == oxygen(f"{GRADE}=66 %", f"{ENRICHMENT}=60 %")


def hold(page: Live, words: str, value: str, setting: str) -> None:
    page.tab.run("document.getElementById('hold-more').open = true")
    page.pick("#hold-reading input", words)
    page.write("#hold-value", value)
    page.pick("#hold-by input", setting)
    page.tab.press("Enter")
    page.settle()


def test_a_target_is_held_and_a_setting_follows(page: Live) -> None:
    hold(page, "smelting.fuel_heat", "3 MW", ENRICHMENT)
    assert page.field(ENRICHMENT) == "61.4122"  # as in the tutorial, by the command line
    assert page.tab.run(f"document.getElementById('set-{ENRICHMENT}').disabled")
    page.type(GRADE, "66")
    assert 57 < float(page.field(ENRICHMENT)) < 61
    page.click("#holds button")
    assert page.field(ENRICHMENT) == "55"


def test_a_target_that_cannot_be_met_says_so_and_the_last_answer_stays(page: Live) -> None:
    hold(page, "smelting.fuel_heat", "900 MW", ENRICHMENT)
    assert page.text("#holds .fault")
    assert page.seen("#old")
    assert page.figure(OXYGEN) == oxygen()
    page.write("#holds input", "3 MW")
    page.tab.press("Enter")
    page.settle()
    assert page.text("#holds .fault") == ""
    assert page.field(ENRICHMENT) == "61.4122"
    assert not page.seen("#old")


def test_a_plant_without_an_answer_is_an_answer(page: Live) -> None:
    page.type(GRADE, "79.8 %")
    assert page.text("#verdict .status") == "infeasible"
    assert page.figure(OXYGEN) == "-"
    assert page.seen("#picture .unsolved")
    page.click("#back")
    assert page.text("#verdict .status") == "ok"


def test_a_server_that_stops_is_told_of_and_the_page_comes_back(tab: Page) -> None:
    running = served(CASES / "skerry_point.toml")
    page = Live(tab, running.address)
    page.type(ENRICHMENT, "60 %")
    running.stop()
    page.until("document.body.classList.contains('stopped')")
    assert "The server has stopped" in page.text("#notices")
    assert page.figure(OXYGEN) == oxygen(f"{ENRICHMENT}=60 %")
    page.write(f'[id="set-{ENRICHMENT}"]', "65 %")  # a move while it is away
    tab.press("Enter")
    again = served(CASES / "skerry_point.toml", running.port, running.token)
    try:
        page.until("!document.body.classList.contains('stopped')")
        page.settle()
        assert page.text("#notices") == ""
        assert page.figure(OXYGEN) == oxygen(f"{ENRICHMENT}=65 %")
    finally:
        again.stop()


def test_two_tabs_do_not_know_of_each_other_and_a_link_brings_the_state(page: Live, furnace: Server) -> None:
    other = Live(page.tab.another(), furnace.address)
    page.type(ENRICHMENT, "60 %")
    page.type(GRADE, "62 %")
    other.type(ENRICHMENT, "50 %")
    assert page.figure(OXYGEN) == oxygen(f"{ENRICHMENT}=60 %", f"{GRADE}=62 %")
    assert other.figure(OXYGEN) == oxygen(f"{ENRICHMENT}=50 %")
    page.until("location.hash.includes('matte_grade')")
    third = Live(page.tab.another(), page.tab.run("location.href"))
    assert third.figure(OXYGEN) == page.figure(OXYGEN)
    for one in (other, third):
        one.tab.close()


def test_a_reload_keeps_the_state_the_way_back_and_the_pins(page: Live) -> None:
    page.pick("#pin-search input", "smelting slag viscosity")
    page.settle()
    page.type(ENRICHMENT, "60 %")
    page.tab.call("Page.reload")
    page.until("performance.now() > 50")
    page.settle()
    assert page.figure("smelting.slag.viscosity")
    assert page.figure(OXYGEN) == oxygen(f"{ENRICHMENT}=60 %")
    page.click("#back")
    assert page.figure(OXYGEN) == oxygen()


def test_a_fault_of_the_file_is_shown_by_line_and_mending_it_is_seen(tab: Page, tmp_path: Path) -> None:
    file = tmp_path / "case.toml"
    shutil.copy(CASES / "skerry_point.toml", file)
    text = file.read_text()
    running = served(file)
    try:
        page = Live(tab, running.address)
        page.type(GRADE, "66 %")
        file.write_text(text.replace('enrichment = "55 %"', 'enrichment = "55 kg"'))
        page.until("document.querySelector('#notices li')")
        line = 1 + text[: text.index('enrichment = "55 %"')].count("\n")
        assert f"line {line}" in page.text("#notices")
        assert page.figure(OXYGEN) == oxygen(f"{GRADE}=66 %")
        file.write_text(text.replace('enrichment = "55 %"', 'enrichment = "58 %"'))
        page.until("!document.querySelector('#notices li')")
        page.settle()
        assert page.figure(OXYGEN) == oxygen(f"{GRADE}=66 %", f"{ENRICHMENT}=58 %")
    finally:
        running.stop()


def test_fast_moves_never_queue_and_the_last_one_stands(page: Live) -> None:
    """Sixty moves within a blink: never two answers under way, and the figures are those of the last."""
    page.tab.run("""
        window.under = 0; window.most = 0; window.asked = 0;
        const real = window.fetch;
        window.fetch = async (path, options) => {
          if (path !== 'answer') return real(path, options);
          window.asked++; window.under++; window.most = Math.max(window.most, window.under);
          try { return await real(path, options); } finally { window.under--; }
        };""")
    page.tab.run(f"""(async () => {{
        const range = document.querySelector('{RANGE}');
        for (let i = 0; i < 60; i++) {{
          range.value = 45 + 0.25 * i;
          range.dispatchEvent(new Event('input'));
          await new Promise(done => setTimeout(done, 2));
        }}
      }})()""")
    page.settle()
    assert page.tab.run("window.most") == 1
    assert 1 < page.tab.run("window.asked") < 60
    assert page.field(ENRICHMENT) == "59.8"  # a step of the slider
    assert page.figure(OXYGEN) == oxygen(f"{ENRICHMENT}=59.8 %")


def test_it_can_be_used_by_keyboard_alone(page: Live) -> None:
    """Tab goes to the settings; arrows move a slider; a search is filled in; a state is kept and taken up."""
    page.tab.run("document.activeElement.blur()")
    page.tab.press("Tab")
    page.tab.press("Enter")  # skip to the settings
    for _ in range(40):
        page.tab.press("Tab")
        if page.tab.run(f"document.activeElement === document.querySelector('{RANGE}')"):
            break
    for _ in range(5):
        page.tab.press("ArrowRight")
    page.settle()
    assert page.field(ENRICHMENT) == "55.5"
    assert page.figure(OXYGEN) == oxygen(f"{ENRICHMENT}=55.5 %")
    page.focus("#pin-search input")
    page.tab.call("Input.insertText", text="viscosity")
    page.tab.press("ArrowDown")
    page.tab.press("ArrowUp")
    page.tab.press("Enter")
    page.settle()
    assert page.seen('.pin[data-key="smelting.slag.viscosity"]')
    page.write("#keep-name", "a little more")
    page.tab.press("Enter")
    page.type(ENRICHMENT, "70 %")
    page.until("!document.getElementById('kept').textContent.includes('...')")
    assert "a little more" in page.text("#kept")
    page.focus("#kept button")
    page.tab.press("Enter")
    page.settle()
    assert page.field(ENRICHMENT) == "55.5"
