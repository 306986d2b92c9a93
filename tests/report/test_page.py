"""The page of every demonstration case as Chromium shows it: at three widths, in two themes, by keyboard, in print."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from demos import CASES, balanced

from pyrobal.report.html import as_html

from .browser import Page, needs_browser

NAMES = [*sorted(path.stem for path in CASES.glob("*.toml")), "frozen"]
WIDTHS = (1440, 1024, 390)
MOST_SHEETS = 8
SMALLEST = 9.0  # px, of a letter of the picture

pytestmark = needs_browser


@pytest.fixture(scope="module", params=NAMES)
def shown(
    request: pytest.FixtureRequest, tab: Page, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Page]:
    """The page of a case, and of a plant whose furnace has no answer, with every step unfolded."""
    stopped = ("marram_sound", "smelting.matte_grade=79.8 %")
    result = balanced(*stopped) if request.param == "frozen" else balanced(request.param)
    file = tmp_path_factory.mktemp("page") / f"{request.param}.html"
    file.write_text(as_html(result, datetime.datetime(2026, 1, 2, 3, 4)), encoding="utf-8")
    tab.open(file, width=WIDTHS[0])
    tab.run("for (const one of document.querySelectorAll('details.step')) one.open = true")
    tab.run("new Promise(done => setTimeout(done, 300))")  # what is unfolded is drawn then
    yield tab
    tab.resize(1200)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("dark", [False, True])
def test_nothing_reaches_over_the_edge(shown: Page, width: int, dark: bool) -> None:
    shown.resize(width, dark=dark)
    assert shown.run("document.documentElement.scrollWidth") <= width
    assert shown.complaints == []
    assert shown.run("getComputedStyle(document.body).backgroundColor") == (
        "rgb(21, 25, 30)" if dark else "rgb(255, 255, 255)"
    )


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("quantity", ["mass", "heat"])
def test_labels_of_the_picture_lie_beside_each_other_and_can_be_read(
    shown: Page, width: int, quantity: str
) -> None:
    """Boxes and sizes as they are on the screen."""
    shown.resize(width)
    choice = "document.getElementById('plant-choice')"
    shown.run(f"{choice}.value = '{quantity}'; {choice}.dispatchEvent(new Event('change'))")
    assert shown.run("document.getElementById('plant-quantity').textContent").startswith(f"{quantity}, ")
    drawings = "[...document.querySelectorAll('svg.plant')].filter(d => d.getClientRects().length)"
    assert shown.run(f"{drawings}.length") == 1
    boxes = shown.run(
        f"[...{drawings}[0].querySelectorAll('text')].map(t => [t.getBoundingClientRect(), t.textContent, "
        "parseFloat(getComputedStyle(t).fontSize) * t.getScreenCTM().a])"
        ".map(([b, said, size]) => [b.left, b.top + 2, b.right, b.bottom - 2, said, size])"
    )
    assert len(boxes) > 10
    assert [b for b in boxes if b[5] < SMALLEST or b[0] < 0 or b[2] > width] == []
    assert [(a[4], b[4]) for a, b in combinations(boxes, 2) if _overlap(a, b)] == []


def _overlap(a: list[Any], b: list[Any]) -> bool:
    return bool(a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3])


@pytest.mark.parametrize("dark", [False, True])
def test_axe_finds_nothing(shown: Page, dark: bool) -> None:
    """No finding of any weight: of contrast, names, roles, headings, tables, what can be focused; in the dark
    only colours are others."""
    shown.resize(1440, dark=dark)
    assert shown.findings("color-contrast" if dark else "") == []


def test_on_paper_it_fits_a_few_sheets_and_nothing_reaches_over_their_edge(
    shown: Page, tmp_path: Path
) -> None:
    shown.resize(1440)
    shown.pdf(tmp_path / "page.pdf")
    sheets = len(re.findall(rb"/Type\s*/Page\b", (tmp_path / "page.pdf").read_bytes()))
    assert 1 <= sheets <= MOST_SHEETS
    assert shown.complaints == []


def test_it_can_be_used_by_keyboard_alone(shown: Page) -> None:
    """Tab reaches the streams of the picture, each of which is told; Enter unfolds; a word finds results."""
    shown.resize(1440)
    shown.run("document.activeElement.blur(); scrollTo(0, 0)")
    for _ in range(30):
        shown.press("Tab")
        if shown.run("document.activeElement.matches('.stream')"):
            break
    name = shown.run("document.activeElement.querySelector('title').textContent")
    assert shown.run("document.getElementById('plant-told').textContent") == name
    assert " to " in name
    folded = "document.querySelector('#assumptions')"
    shown.run(f"{folded}.open = false; {folded}.querySelector('summary').focus()")
    shown.press("Enter")
    assert shown.run(f"{folded}.open")
    shown.run("document.getElementById('results').open = false; document.getElementById('filter').focus()")
    shown.call("Input.insertText", text="wet rate")
    assert shown.run("document.getElementById('results').open")
    assert shown.run("[...document.querySelectorAll('#every tbody tr')].filter(r => !r.hidden).length") >= 1
    shown.run("document.querySelector('button.find')?.focus()")
    if shown.run("document.activeElement.matches('button.find')"):
        shown.press("Enter")
        assert shown.run("document.activeElement.id") == "filter"
        found = "[...document.querySelectorAll('#every tbody tr')].filter(r => !r.hidden)"
        word = shown.run("document.getElementById('filter').value")
        assert all(word in key for key in shown.run(f"{found}.map(r => r.cells[1].textContent)"))
    shown.run("document.getElementById('filter').value = ''")
