"""A sweep over settings that are words: a case for each, solved as if it stood alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas
import pytest

import pyrobal
from pyrobal.case.load import load_case
from pyrobal.cli import main
from pyrobal.errors import CaseError
from pyrobal.studies.sweep import prepare, sweep

ROOT = Path(__file__).parents[2]
SKERRY = str(ROOT / "cases" / "skerry_point.toml")
MARRAM = str(ROOT / "cases" / "marram_sound.toml")
WORDS = {"smelting.close_heat_with": "fuel,nothing"}
NUMBERS = {"smelting.enrichment": "50 %:60 %:3"}
READ = ["smelting.heat.surplus", "smelting.fuel_heat"]


@pytest.mark.parametrize("order", [{**WORDS, **NUMBERS}, {**NUMBERS, **WORDS}])
def test_each_word_is_a_study_of_its_own(order: dict[str, str]) -> None:
    mixed = sweep(load_case(SKERRY), order, READ, chunk=2)
    alone = [
        sweep(load_case(SKERRY, [f"smelting.close_heat_with={word}"]), NUMBERS, READ)
        for word in ("fuel", "nothing")
    ]
    assert mixed.cells()[0] == ["fuel"] * 3 + ["nothing"] * 3
    for key in (*NUMBERS, *READ):
        assert mixed[key].tobytes() == np.concatenate([table[key] for table in alone]).tobytes()


def test_words_alone_without_a_number() -> None:
    table = sweep(load_case(SKERRY), WORDS, READ)
    base = pyrobal.balance(load_case(SKERRY))
    assert len(table) == 2
    assert table["smelting.fuel_heat"][0] == pytest.approx(base["smelting.fuel_heat"].magnitude)
    assert table["smelting.fuel_heat"][1] == 0.0


@pytest.mark.parametrize("name", ["words.csv", "words.parquet"])
def test_files_hold_the_words(name: str, tmp_path: Path) -> None:
    line = ["--over", "slag_cleaning.kind=electric_furnace,flotation", "--read", "recovery.Cu"]
    assert main(["sweep", MARRAM, *line, "--out", str(tmp_path / name)]) == 0
    read = pandas.read_csv if name.endswith(".csv") else pandas.read_parquet
    frame = read(tmp_path / name)
    assert frame["slag_cleaning.kind"].tolist() == ["electric_furnace", "flotation"]
    assert frame["recovery.Cu [%]"].is_monotonic_increasing  # flotation wins more copper back


def test_the_screen_shows_the_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sweep", SKERRY, "--over", "smelting.close_heat_with=nothing,fuel", "--read", READ[0]]) == 0
    rows = capsys.readouterr().out.splitlines()[-2:]
    assert [row.split()[0] for row in rows] == ["nothing", "fuel"]


def test_a_study_knows_its_words_again() -> None:
    one, other = (
        prepare(load_case(SKERRY), {"smelting.close_heat_with": words}, READ).manifest()
        for words in ("fuel,nothing", "nothing,fuel")
    )
    assert one != other


@pytest.mark.parametrize(
    ("over", "says"),
    [
        ({"smelting.close_heat_with": "fule"}, 'did you mean "fuel"'),
        (
            {
                "smelting.close_heat_with": "fuel,nothing",
                "smelting.enrichment": "50 %:60 %:10000",
                "smelting.fe_sio2": "1.1:1.4:6000",
            },
            "more than",
        ),
    ],
)
def test_wrong_words_are_refused(over: dict[str, str], says: str) -> None:
    with pytest.raises(CaseError, match=says):
        sweep(load_case(SKERRY), over, READ)


def test_a_case_without_text_says_what_to_do() -> None:
    case = load_case(SKERRY)
    with pytest.raises(CaseError, match="no text to lay it over"):
        sweep(pyrobal.Case(case.inputs), WORDS, READ)
