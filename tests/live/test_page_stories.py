"""The three users of the gallery, each with their question in the page alone: what it shows is what is printed there."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from demos import CASES

from pyrobal.live.server import Server

from ..report.browser import Page, needs_browser
from .opened import Live, served

pytestmark = needs_browser

DOCS = Path(__file__).parents[2] / "docs"
ENRICHMENT, GRADE = "smelting.enrichment", "smelting.matte_grade"
FUEL, DEMAND = "smelting.fuel_heat", "smelting.oxygen.demand"


@pytest.fixture(scope="module")
def plant() -> Iterator[Server]:
    running = served(CASES / "marram_sound.toml", processes=True)
    yield running
    running.stop()


def printed(page: str, command: str) -> str:
    """What a page of the docs has below a command that holds these words."""
    text = (DOCS / page).read_text(encoding="utf-8")
    return text[text.index(command) :].partition("```")[0]


def row(block: str, key: str) -> list[str]:
    """The figures behind a name."""
    line = next(line for line in block.splitlines() if line.split()[:1] == [key])
    return line.split()[1:]


def pinned(page: Live, key: str) -> str:
    """A figure by its key, pinned first."""
    page.pick("#pin-search input", key)
    page.settle()
    return page.figure(key)


def compared(page: Live, block: str, keys: list[str]) -> None:
    """Now and before of figures, as ``pyrobal compare`` has printed them."""
    for key in keys:
        pinned(page, key)
    page.tab.run(
        "(() => { const s = document.getElementById('baseline'); s.value = 'case';"
        " s.dispatchEvent(new Event('change')); })()"
    )
    for key in keys:
        before, now = row(block, key)[:2]
        assert page.figure(key) == now, key
        page.until(
            f"""document.querySelector('.pin[data-key="{key}"] .was').textContent.startsWith('was {before} ')"""
        )


def part(page: Live, word: str) -> str:
    """The tables of a part of the report, a row to a line."""
    page.tab.run("document.getElementById('tables-more').open = true")
    page.until("document.querySelector('#tables-list table')")
    page.tab.run(
        f"(() => {{ const s = document.getElementById('tables-word'); s.value = {json.dumps(word)};"
        " s.dispatchEvent(new Event('change')); })()"
    )
    page.until(f"document.getElementById('tables-of').textContent === {json.dumps(word)}")
    return str(
        page.tab.run(
            "[...document.querySelectorAll('#tables-list tr')].map(r => [...r.children]"
            ".map(c => c.textContent).join('  ')).join('\\n')"
        )
    )


def set_by_name(page: Live, key: str, value: str) -> None:
    """Any setting by its key, then its value."""
    page.pick("#handle-search input", key)
    page.settle()
    page.type(key, value)
    assert page.fault(key) == ""


def test_the_pyrometallurgist_asks_what_to_blow_at_another_grade(first: Page, furnace: Server) -> None:
    tab = first.another()
    page = Live(tab, furnace.address, width=1440)
    page.type(GRADE, "68 %")
    block = printed("gallery.md", "smelting.matte_grade=68 %")
    keys = [FUEL, "smelting.matte.rate", "smelting.slag.copper", "smelting.gas.so2", DEMAND]
    compared(page, block, [*keys, "smelting.heat.autogenous_enrichment"])
    mark = f'.handle:has([id="set-{ENRICHMENT}"]) .marks .autogenous strong'
    page.until(f"document.querySelector('{mark}') && !document.querySelector('.curve.stale')")
    assert page.text(mark) == f"{row(block, 'smelting.heat.autogenous_enrichment')[1]} vol%"
    page.until("document.querySelector('#moved tbody tr')")
    for cell in row(block, "emissions.co2_from.smelting_fuel")[
        :2
    ]:  # by as many per cent as all that is burnt
        assert cell in page.text("#moved")
    page.click("#reset")
    page.click(f'.pin[data-key="{DEMAND}"] [title="how it came about"]')
    page.until("document.getElementById('explained-lines').textContent")
    why = printed("gallery.md", "pyrobal explain cases/skerry_point.toml smelting.oxygen.demand")
    told = page.text("#explained-lines")
    for line in ("= oxygen / 2 / smelting.oxygen_efficiency", "80.4 % SO2 = 221.237 mol/s"):
        assert line in why
        assert line in told
    assert tab.complaints == []
    tab.close()


def test_the_environmental_engineer_asks_what_leaves(first: Page, plant: Server) -> None:
    tab = first.another()
    page = Live(tab, plant.address, width=1440)
    block = printed("gallery.md", "--detail load --detail emissions")
    for word, keys in {
        "load": ["so2_mean", "so2_lowest", "strength_highest", "period"],
        "emissions": ["so2", "so2_from.secondary", "so2_highest.10_min", "stack.secondary.so2", "sulfur_capture"],
    }.items():  # fmt: skip
        told = part(page, word)
        for key in keys:
            assert row(told, key)[0] == row(block, key)[0], key
    page.tab.run("document.getElementById('limit-more').open = true")
    page.pick("#limit-reading input", "emissions.so2_highest.10_min")
    page.write("#limit-value", "1300")
    page.tab.press("Enter")
    page.settle()
    assert "1389 kg/h, at most 1300 kg/h: beyond" in page.text("#uses .broken")
    sweep = printed("tutorials/emissions.md", "emissions.converting_escape=1:6 %:6")
    set_by_name(page, "emissions.converting_escape", "2 %")
    assert page.figure("emissions.so2") == row(sweep, "2")[0]
    page.type("emissions.converting_escape", "")
    set_by_name(page, "upset.bed out.hours", "40 h/a")
    set_by_name(page, "upset.bed out.acid_plant.bypassed_bed", "3")
    block, told = printed("tutorials/emissions.md", "upset.bed out.hours=40 h/a"), part(page, "upset")
    for key in ("out.so2", "out.stack_so2"):
        (there,) = (line.split() for line in block.splitlines() if line.split()[1:2] == [key])
        (here,) = (line.split() for line in told.splitlines() if line.split()[1:2] == [key])
        assert here[2] == there[2], key
    assert tab.complaints == []
    tab.close()


def test_the_planner_tries_a_richer_blend_and_a_new_concentrate(first: Page, furnace: Server) -> None:
    tab = first.another()
    page = Live(tab, furnace.address, width=390)
    page.type("concentrate.Tolven.rate", "32 t/h")
    keys = ["feed.dry_rate", FUEL, "smelting.matte.rate", "plant.oxygen", "recovery.Cu"]
    block = printed("gallery.md", "concentrate.Tolven.rate=32 t/h")
    compared(page, block.replace("smelting.oxygen.industrial", "plant.oxygen"), keys)

    page.type("concentrate.Tolven.rate", "8.5")
    page.tab.run("document.getElementById('concentrate-more').open = true")
    page.until("document.querySelector('.assay-line')")
    for name, text in {"name": "Kelda", "feed": "8.5", "moisture": "9"}.items():
        page.write(f"#concentrate-{name}", text)
    sheet = "Cu\\t33.0\\nFe\\t22.0\\nS\\t27.5\\nSiO2\\t9.0\\nAl2O3\\t2.0\\nAs\\t0.9\\nZnn\\t0.6\\nAu\\t22 g/t"
    page.tab.run(
        f"(() => {{ const sheet = new DataTransfer(); sheet.setData('text', '{sheet}'); document.querySelector("
        "'.assay-line input').dispatchEvent(new ClipboardEvent('paste', { clipboardData: sheet, bubbles: true, cancelable: true })); })()"
    )
    page.click("#concentrate-form > button")
    assert page.text(".assay-line:nth-child(7) .fault") == 'unknown name; did you mean "Zn"?'
    assert page.text("#concentrates") == ""  # the last good answer stays
    page.write(".assay-line:nth-child(7) input", "Zn")
    page.click("#concentrate-form > button")
    assert page.field("concentrate.Kelda.rate") == "8.5"
    block = printed("tutorials/parcel.md", "pyrobal compare cases/skerry_point.toml with_kelda.toml")
    compared(page, block.replace("smelting.oxygen.industrial", "plant.oxygen"), [*keys[1:], "feed.assay.As"])

    again = Live(first.another(), page.tab.run("location.href"))  # its link
    assert again.figure(FUEL) == row(block, FUEL)[1]
    again.tab.close()
    page.click("#show-commands")
    page.until("!document.getElementById('commands').hidden")
    assert "--set 'concentrate.Kelda.rate=8.5 t/h'" in page.text("#commands")
    assert tab.findings() == []
    page.click('[aria-label="take off Kelda"]')
    assert not page.tab.run("document.getElementById('set-concentrate.Kelda.rate')")
    assert tab.complaints == []
    tab.close()
