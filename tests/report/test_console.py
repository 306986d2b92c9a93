"""The terminal: one screen first, 80 columns, no colour needed, no number cut."""

from __future__ import annotations

import io
import re
import sys

import pytest
from rich.console import Console

from pyrobal.report.console import print_balance, show
from pyrobal.report.numbers import number
from pyrobal.report.result import Result
from pyrobal.report.tables import sections


def _shown(result: Result, *detail: str, width: int = 80, **options: object) -> str:
    file = io.StringIO()
    show(result, detail, Console(file=file, width=width, **options))  # type: ignore[arg-type]
    return file.getvalue()


def test_the_first_screen_answers_on_one_screen(skerry: Result) -> None:
    text = _shown(skerry)
    lines = text.splitlines()
    assert len(lines) <= 36
    assert max(map(len, lines)) <= 80
    for key in ("smelting.oxygen.demand", "smelting.matte.rate", "smelting.slag.rate", "smelting.gas.flow_wet",
                "smelting.gas.so2_load", "smelting.heat.total"):  # fmt: skip
        assert number(skerry[key].magnitude, 3) in text, key
    assert "status: ok" in text


@pytest.mark.parametrize("width", [80, 60, 200])
def test_details_cut_no_number_at_any_width(skerry: Result, width: int) -> None:
    text = _shown(skerry, "all", width=width)
    assert max(map(len, text.splitlines())) <= width
    words = set(text.split())
    for tables in sections(skerry).values():
        for table in tables:
            for row in table.rows:
                for cell in row:
                    if isinstance(cell, float):
                        assert number(cell) in words, (table.title, row)
    assert "\N{HORIZONTAL ELLIPSIS}" not in text


def test_one_section_shows_only_its_tables(skerry: Result) -> None:
    text = _shown(skerry, "deportment")
    assert "\nDeportment\n" in text
    assert "heat balance" not in text
    with pytest.raises(KeyError):
        _shown(skerry, "nonsense")


def test_without_colour_there_is_no_escape(skerry: Result, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    coloured = _shown(skerry, "all", force_terminal=True)
    assert not re.search(r"\x1b\[[0-9;]*3[0-7]m", coloured)
    monkeypatch.setenv("TERM", "dumb")
    assert "\x1b" not in _shown(skerry, "all")


def test_colour_says_nothing_that_words_do_not(skerry: Result, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
    coloured = _shown(skerry, "all", force_terminal=True, color_system="standard")
    assert "\x1b[" in coloured
    stripped = re.sub(r"\x1b\[[0-9;]*m", "", coloured)
    assert [line.rstrip() for line in stripped.splitlines()] == _shown(skerry, "all").splitlines()


def test_an_infeasible_case_says_why_and_nothing_else(infeasible: Result) -> None:
    text = _shown(infeasible)
    assert "status: infeasible" in text
    assert "matte grade too high" in text.replace("\n", " ")
    assert "Comes out" not in text


def test_hostile_names_do_no_harm(nasty: Result) -> None:
    text = _shown(nasty, "all")
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "[bold red]markup[/]" in text.replace("\n", "")
    assert "N" * 20 in text


def test_letters_a_terminal_cannot_show_are_escaped(nasty: Result, monkeypatch: pytest.MonkeyPatch) -> None:
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding="ascii"))
    print_balance(nasty.case, nasty.results)
    sys.stdout.flush()
    assert b"\\U0001f525" in raw.getvalue()
