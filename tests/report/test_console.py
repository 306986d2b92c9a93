"""The terminal: one screen first, 80 columns, no colour needed, no number cut."""

from __future__ import annotations

import dataclasses
import io
import re
import sys
from pathlib import Path

import pytest
from demos import CASES, balanced
from rich.console import Console

from pyrobal.case.load import load_case
from pyrobal.report.columns import folded
from pyrobal.report.console import print_balance, show
from pyrobal.report.html import as_html
from pyrobal.report.numbers import number
from pyrobal.report.result import Result, balance
from pyrobal.report.sections import Sections

SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"


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
    words = {word.rstrip(",") for word in text.split()}
    for tables in Sections(skerry).values():
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
    assert "Products" not in text


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


def test_heat_that_is_missing_is_called_a_deficit_not_a_surplus(skerry: Result) -> None:
    case = load_case(SKERRY, ["smelting.close_heat_with=nothing", "smelting.enrichment=45 %"])
    cold = balance(case)
    text = _shown(cold)
    lack = number(-cold["smelting.heat.surplus"].magnitude, 3)
    assert re.search(rf"\n {{10}}deficit +{re.escape(lack)} MW", text)
    assert "\n          surplus" not in text
    assert "\n          surplus" in _shown(skerry)


def test_the_largest_emitter_and_the_worst_stack_are_in_the_answer(whole_plant: Result) -> None:
    text = " ".join(_shown(whole_plant).split())
    sources = {key: q.magnitude for key, q in whole_plant.items() if key.startswith("emissions.so2_from.")}
    largest = max(sources, key=lambda key: sources[key])
    name = largest.rpartition(".")[2].replace("_", " ")
    assert f"{number(sources[largest], 3)} kg/h of it {name}" in text
    worst = number(whole_plant["limit.emissions.so2_stack_limit.use"].magnitude, 3)
    assert f"so2 stack limit {worst} %" in text
    assert re.search(r"so2 stack limit [^()]*\(at most 1500 mg/Nm3\), slag cleaning", text)


@pytest.mark.parametrize("width", [40, 60, 80])
def test_no_key_is_cut_where_a_line_could_hold_it(whole_plant: Result, width: int) -> None:
    text = _shown(whole_plant, "all", width=width)
    assert max(map(len, text.splitlines())) <= width
    words = set(text.split())
    names = [str(row[0]) for tables in Sections(whole_plant).values() for t in tables for row in t.rows]
    for name in names:
        if " " not in name and len(name) <= width:
            assert name in words or not name, name


def test_round_off_is_printed_as_nothing(whole_plant: Result) -> None:
    text = _shown(whole_plant, "feed", "smelting", "deportment", "gas")
    assert not re.search(r"e-(08|09|[1-9][0-9])\b", text)  # a millionth of a per cent is dust gone by
    assert not re.search(r"(?<![\w.])-0(?![\w.])", text)


def test_columns_of_nothing_are_left_out_of_a_matrix_and_named(whole_plant: Result) -> None:
    table = next(t for t in Sections(whole_plant)["deportment"])
    for i in range(1, len(table.columns)):
        assert any(row[i] for row in table.rows), table.columns[i].heading
    shown = {column.heading.replace(" ", "") for column in table.columns}
    notes = [note.replace(" ", "").rstrip(".") for note in table.notes[1:]]
    left = [name for note in notes for name in note.removeprefix("Zerothroughout:").split(",")]
    places = {key.split(".", 2)[2] for key in whole_plant if key.startswith("deportment.")}
    every = {place.replace(".", "").replace("_", "") for place in places}
    assert every == {name.replace("_", "") for name in (*shown, *left) if name}


def test_a_long_name_is_broken_after_dots_and_spaces_first() -> None:
    assert folded("a.bc.def", 5, " .") == ["a.bc.", "def"]
    assert folded("one two three", 7) == ["one two", "three"]
    assert folded("N" * 12, 5) == ["NNNNN", "NNNNN", "NN"]
    assert folded("", 5) == [""]


def test_a_title_without_end_leaves_room_for_the_answer(skerry: Result) -> None:
    inputs = dataclasses.replace(skerry.case.inputs, title="long " * 500 + "N" * 3000)
    long = Result(dataclasses.replace(skerry.case, inputs=inputs), skerry.results)
    text = _shown(long)
    assert text.index("status:") < 200
    assert text.startswith("long long")
    assert max(map(len, text.splitlines())) <= 80


def test_a_failure_downstream_leaves_what_stands_upstream_on_the_screen_and_the_page(
    whole_plant: Result,
) -> None:
    hot = ["furnace_gas.cooler_temperature=780 degC", "furnace_gas.hood_air=1500 %"]
    part = balanced("marram_sound", *hot)
    text, page = _shown(part), as_html(part)
    assert "status: infeasible" in text
    assert "limit: gas_train:" in text
    for said, where in ((text, "below"), (page, "above")):
        assert f"No whole balance: what follows does not depend on the limit named {where}." in said
    matte = number(part["smelting.matte.rate"].magnitude, 3)
    assert matte != "-"
    assert re.search(rf"Products  matte +{re.escape(matte)} t/h", text)
    assert "acid made" not in text  # it lives on the step that has no answer
    assert "acid made" in _shown(whole_plant)
    assert 'href="#steps"' in page
    assert 'href="#figures-part"' not in page


@pytest.mark.parametrize("name", sorted(path.stem for path in CASES.glob("*.toml")))
def test_every_section_fits_80_columns_and_has_no_block_of_zeros(name: str) -> None:
    result = balanced(name)
    for word in Sections(result):
        text = _shown(result, word, width=80)
        lines = text[text.rindex("Trace a result") :].splitlines()[1:]
        assert max(map(len, lines)) <= 80, word
        zeros = ["0" in line.split() and not re.search(r"\d*[1-9]\d*", line) for line in lines]
        assert not any(all(zeros[i : i + 3]) for i in range(len(zeros) - 2)), (word, text)


@pytest.mark.parametrize("name", ["marram_sound", "skerry_point"])
def test_deportment_is_one_table_of_what_is_not_zero(name: str) -> None:
    result = balanced(name)
    text = _shown(result, "deportment", width=80)
    text = text[text.rindex("\nDeportment\n") :]
    (table,) = Sections(result)["deportment"]
    for row in table.rows:
        assert sum(line.startswith(f"{row[0]} ") for line in text.splitlines()) == 1, row[0]
    words = [word.rstrip(",") for word in text.split()]
    told = [number(cell) for row in table.rows for cell in row if isinstance(cell, float) and cell]
    assert "0" not in words or name == "skerry_point"  # few outlets are a matrix, where a zero has its place
    assert len(told) <= len(words) and set(told) <= set(words)
