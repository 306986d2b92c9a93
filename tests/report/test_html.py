"""The one-file report: complete, harmless, offline. In a real browser where one is installed."""

from __future__ import annotations

import base64
import datetime
import gzip
import hashlib
import html
import itertools
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import plotly.offline
import pytest
from demos import balanced

from pyrobal.report.export import as_dict
from pyrobal.report.figures import figures
from pyrobal.report.html import as_html, asset, packed
from pyrobal.report.numbers import number
from pyrobal.report.picture import bands
from pyrobal.report.result import Result

from .browser import Page, needs_browser

LARGEST = 1_500_000  # bytes; a report that can be mailed
LARGEST_SCRIPT = 600_000  # as a page carries it
MADE = datetime.datetime(2026, 1, 2, 3, 4)
VOID = {"meta", "input", "br", "hr", "img", "link"}
OPTIONAL = {"tr", "td", "th"}  # elements whose end need not be written


class _Reader(HTMLParser):
    """Tags in order, the text of each script by id, and what is not closed."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.scripts: list[tuple[dict[str, str | None], str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID | OPTIONAL:
            self.open.append(tag)
        if tag == "script":
            self.scripts.append((dict(attrs), ""))

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "script":
            attrs, text = self.scripts[-1]
            self.scripts[-1] = (attrs, text + data)

    def handle_endtag(self, tag: str) -> None:
        if tag not in OPTIONAL:
            assert self.open.pop() == tag


def _read(text: str) -> _Reader:
    reader = _Reader()
    reader.feed(text)
    reader.close()
    return reader


@pytest.fixture(scope="module")
def page(skerry: Result) -> str:
    return as_html(skerry, MADE)


@pytest.fixture(scope="module")
def nasty_page(nasty: Result) -> str:
    return as_html(nasty, MADE)


def test_it_is_well_formed_and_small_enough_to_mail(page: str) -> None:
    assert _read(page).open == []
    assert len(page.encode()) < LARGEST


def test_a_plant_without_an_answer_is_small_enough_to_mail() -> None:
    text = as_html(balanced("marram_sound", "smelting.matte_grade=79.8 %"), MADE)
    assert len(text.encode()) < LARGEST


def test_a_whole_plant_is_small_enough_to_mail(whole_plant: Result) -> None:
    text = as_html(whole_plant, MADE)
    assert len(text.encode()) < LARGEST
    for name in ("cycle", "load", "heat-smelting", "slag"):
        assert f'id="drawing-{name}"' in text


def test_the_script_is_the_pinned_bundle() -> None:
    carried = packed("plotly.js.gz")
    assert len(carried) < LARGEST_SCRIPT
    script = gzip.decompress(base64.b64decode(carried)).decode()
    assert hashlib.sha256(script.encode()).hexdigest() == asset("plotly.sha256").strip()
    assert script.startswith(f"/* plotly.js v{plotly.offline.get_plotlyjs_version()},")
    assert "</script" not in script


def test_it_carries_every_reading_of_the_json(page: str, skerry: Result) -> None:
    reader = _read(page)
    inside = next(json.loads(text) for attrs, text in reader.scripts if attrs.get("id") == "result")
    assert inside == json.loads(json.dumps(as_dict(skerry)))
    table = page[page.index('id="every"') :]
    for line in skerry.told:
        row = re.search(rf'<tr><th scope="row">[^<]*<td class="t">{re.escape(line.key)}<td(.*?)\n', table)
        assert row is not None, line.key
        row = re.match("(.*)", f"<td{row[1]}")
        assert row is not None
        assert f"<td>{number(line.shown)}" in row[1]
        assert f'<td class="t">{line.unit}' in row[1]


def test_it_carries_the_case_itself(page: str, skerry: Result) -> None:
    shown = re.search(r'<pre id="case-text"[^>]*>(.*?)</pre>', page, re.DOTALL)
    assert shown is not None
    assert html.unescape(shown[1]).strip() == skerry.case.text.strip()


def test_it_says_everything_a_person_must_look_at(page: str, skerry: Result) -> None:
    text = html.unescape(page)
    for message in skerry.messages:
        assert message.text in text
    for key, value in skerry.assumed.items():
        assert key in text
        assert value in text


def test_only_its_own_scripts_may_run_and_nothing_is_fetched(page: str, nasty_page: str) -> None:
    for text in (page, nasty_page):
        reader = _read(text)
        policy = next(a["content"] for t, a in reader.tags if t == "meta" and "http-equiv" in a)
        assert policy is not None
        assert "default-src 'none'" in policy
        assert "unsafe-inline" not in policy.split("script-src")[1].split(";")[0]
        assert len(re.findall("sha256-", policy)) == 2
        assert not [
            (t, a) for t, a in reader.tags if {"src", "srcset", "action", "data", "background"} & a.keys()
        ]
        assert all((a.get("href") or "").startswith("#") for _, a in reader.tags if "href" in a)
        assert not [a for _, a in reader.tags if any(name.startswith("on") for name in a)]


def test_hostile_names_make_no_tag(page: str, nasty_page: str) -> None:
    """Whatever the names hold, the same kinds of element are on the page."""
    plain, hostile = (_read(text) for text in (page, nasty_page))
    assert hostile.open == []
    assert {t for t, _ in hostile.tags} <= {t for t, _ in plain.tags}
    assert len(hostile.scripts) == len(plain.scripts) == 4
    assert "{{ 7*7 }}" in nasty_page
    assert ">49<" not in nasty_page


def test_an_infeasible_case_has_a_report_too(infeasible: Result) -> None:
    text = as_html(infeasible, MADE)
    assert "status-infeasible" in text
    assert "matte grade too high" in text
    assert "--set" in text
    assert _read(text).open == []


def test_parts_can_be_reached_and_are_named(page: str) -> None:
    """Landmarks, one first heading, headings without a gap, captions, labels: what a screen reader goes by."""
    reader = _read(page)
    ids = [a["id"] for _, a in reader.tags if "id" in a]
    assert len(ids) == len(set(ids))
    for _, attrs in reader.tags:
        if "href" in attrs:
            assert (attrs["href"] or "")[1:] in ids
        for name in ("aria-labelledby", "aria-describedby", "for"):
            assert all(part in ids for part in (attrs.get(name) or "").split())
    levels = [int(t[1]) for t, _ in reader.tags if re.fullmatch(r"h[1-6]", t)]
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))
    assert {"main", "nav", "header", "footer"} <= {t for t, _ in reader.tags}
    assert all("scope" in a for t, a in reader.tags if t == "th")


@needs_browser
def test_in_a_browser_it_draws_without_error_or_request(
    tab: Page, page: str, skerry: Result, tmp_path: Path
) -> None:
    file = tmp_path / "report.html"
    file.write_text(page, encoding="utf-8")
    tab.open(file)
    assert tab.complaints == []
    assert tab.requests == [file.as_uri()]
    tab.run("for (const one of document.querySelectorAll('details.step')) one.open = true")
    tab.run("new Promise(done => setTimeout(done, 300))")  # what is unfolded is drawn then
    drawn = tab.run(
        "[...document.querySelectorAll('.drawing')].map(d => [d.id, d.querySelectorAll('svg path').length])"
    )
    assert [name for name, _ in drawn] == [f"drawing-{f.name}" for f in figures(skerry)]
    assert all(paths > 0 for _, paths in drawn)
    assert "smelting.matte.rate" in tab.run("document.getElementById('every').textContent")
    assert tab.run("document.querySelector('.plant-across').querySelectorAll('.line').length") == len(
        bands(skerry)
    )


@needs_browser
def test_in_a_browser_the_controls_work_by_keyboard(
    tab: Page, page: str, skerry: Result, tmp_path: Path
) -> None:
    file = tmp_path / "report.html"
    file.write_text(page, encoding="utf-8")
    tab.open(file)
    tab.press("Tab")
    assert tab.run("document.activeElement.className") == "skip"
    tab.run(
        "const s = document.getElementById('plant-choice'); s.value = 'S'; s.dispatchEvent(new Event('change'))"
    )
    assert tab.run("document.getElementById('plant-quantity').textContent") == "S, t/h"
    matte = next(i for i, b in enumerate(bands(skerry)) if b.matter.name == "matte")
    shown = tab.run(f"document.querySelector('.stream[data-band=\"{matte}\"] .rate').textContent")
    assert float(shown) == pytest.approx(bands(skerry)[matte].rate("S"), rel=1e-2)
    tab.run(
        "const f = document.getElementById('filter'); f.value = 'viscosity'; f.dispatchEvent(new Event('input'))"
    )
    assert tab.run("[...document.querySelectorAll('#every tbody tr')].filter(r => !r.hidden).length") == 1
    before = tab.run("getComputedStyle(document.body).backgroundColor")
    tab.run("document.getElementById('theme').focus()")
    tab.press("Enter")
    assert tab.run("getComputedStyle(document.body).backgroundColor") != before
    assert tab.complaints == []


@needs_browser
def test_in_a_browser_hostile_names_do_nothing(tab: Page, nasty_page: str, tmp_path: Path) -> None:
    file = tmp_path / "nasty.html"
    file.write_text(nasty_page.replace("<head>", "<head><!-- -->"), encoding="utf-8")
    tab.open(file)
    assert tab.complaints == []
    assert tab.requests == [file.as_uri()]
    assert tab.run("document.querySelectorAll('img, svg a, .drawing a, main script').length") == 0


@needs_browser
@pytest.mark.parametrize("width", [380, 1400])
def test_in_a_browser_no_width_makes_the_page_scroll_sideways(
    tab: Page, nasty_page: str, tmp_path: Path, width: int
) -> None:
    file = tmp_path / "wide.html"
    file.write_text(nasty_page, encoding="utf-8")
    tab.open(file, width=width)
    assert tab.run("document.documentElement.scrollWidth") <= width


@needs_browser
def test_in_a_browser_it_prints(tab: Page, page: str, tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    file.write_text(page, encoding="utf-8")
    tab.open(file)
    tab.pdf(tmp_path / "report.pdf")
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF")
    assert tab.complaints == []


@needs_browser
def test_in_print_the_numbers_of_figures_stay_as_the_reader_left_them(
    tab: Page, page: str, tmp_path: Path
) -> None:
    file = tmp_path / "report.html"
    file.write_text(page, encoding="utf-8")
    tab.open(file)
    numbers = "document.querySelectorAll('figure > details[open]').length"
    tab.run("document.querySelector('#plant details').open = true; dispatchEvent(new Event('beforeprint'))")
    assert tab.run("document.querySelectorAll('figure > details').length") > 1
    assert tab.run(numbers) == 1
    assert (
        tab.run("document.querySelectorAll('details.step:not([open])').length") == 0
    )  # its tables are printed
    tab.call("Emulation.setEmulatedMedia", media="print")
    assert tab.run("document.querySelector('#plant details table').offsetWidth") > 0
    assert tab.run("document.querySelector('#every').offsetWidth") == 0  # only with everything
    tab.run("dispatchEvent(new Event('afterprint'))")
    assert tab.run("document.querySelectorAll('details.step[open]').length") == 0
    tab.call("Emulation.setEmulatedMedia", media="")


A4_WIDTH = round((210 - 2 * 14) / 25.4 * 96)  # pixels between the margins of the style sheet


@needs_browser
@pytest.mark.parametrize("name", ["whole_plant", "nasty"])
def test_in_print_every_table_is_as_wide_as_the_sheet_at_most(
    tab: Page, name: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """All of them, also those that are folded away: what reaches over the edge of the sheet is lost."""
    file = tmp_path / "report.html"
    file.write_text(as_html(request.getfixturevalue(name), MADE), encoding="utf-8")
    tab.open(file, width=A4_WIDTH)
    tab.call("Emulation.setEmulatedMedia", media="print")
    tab.run("document.documentElement.classList.add('everything')")
    tab.run("for (const one of document.querySelectorAll('details')) one.open = true")
    widths = tab.run(
        "[...document.querySelectorAll('table')].map(t => [t.caption?.textContent, t.offsetWidth])"
    )
    assert len(widths) > 10
    assert all(width > 0 for _, width in widths)
    assert [one for one in widths if one[1] > A4_WIDTH] == []
    tab.call("Emulation.setEmulatedMedia", media="")


@needs_browser
def test_print_everything_unfolds_and_draws_everything(
    tab: Page, page: str, skerry: Result, tmp_path: Path
) -> None:
    file = tmp_path / "report.html"
    file.write_text(page, encoding="utf-8")
    tab.open(file)
    tab.run("document.getElementById('print-all').click()")
    tab.run("new Promise(done => setTimeout(done, 300))")
    assert (
        tab.run("document.querySelectorAll('details.rest:not([open]), details.step:not([open])').length") == 0
    )
    drawn = tab.run(
        "[...document.querySelectorAll('.drawing')].map(d => d.querySelectorAll('svg path').length)"
    )
    assert len(drawn) == len(figures(skerry)) and all(drawn)


@needs_browser
def test_in_a_browser_the_script_says_its_version(tab: Page, page: str, tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    file.write_text(page, encoding="utf-8")
    tab.open(file)
    assert tab.run("typeof Plotly") == "undefined"  # nothing is unpacked before a figure is drawn
    tab.run("document.querySelector('details.step:has(.drawing)').open = true")
    tab.run("new Promise(done => setTimeout(done, 300))")
    assert tab.run("Plotly.version") == plotly.offline.get_plotlyjs_version()


def test_it_says_how_the_program_was_checked_from_outside(page: str, infeasible: Result) -> None:
    """The counts are those of docs/validation.md, which is made from the same checks."""
    text = (Path(__file__).parents[2] / "docs" / "validation.md").read_text(encoding="utf-8")
    topics = {part.split("\n")[0]: part.count("\n| ") - 2 for part in text.split("\n## ")[1:]}
    for one in (page, as_html(infeasible)):
        table = html.unescape(one[one.index("Checks against outside sources") :])
        for topic, count in topics.items():
            assert f'<th scope="row">{topic}<td>{count}<td>{count}<td>' in table, topic
        assert f"{sum(topics.values())} of {sum(topics.values())} comparisons" in table
