"""The workbook: the next case as much as the result of this one."""

from __future__ import annotations

import math
import re
import zipfile
from pathlib import Path

import openpyxl
import pytest
from demos import balanced

from pyrobal.arrays import each_array
from pyrobal.case.load import load_case
from pyrobal.cli import main
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.report.result import Result, balance
from pyrobal.report.spreadsheet import write_workbook
from pyrobal.report.tables import stream_lines, words

CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.toml"))


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_read_back_it_gives_identical_readings(path: Path, tmp_path: Path) -> None:
    """The numbers typed are the numbers kept, to the last bit; the readings are the same but for round-off, as
    the last bit of a sum may depend on where in memory numpy's arrays lie."""
    first = balanced(path.stem)
    write_workbook(first, tmp_path / "blend.xlsx")
    again = balance(load_case(str(tmp_path / "blend.xlsx")))
    kept, typed = (_numbers(one.case.inputs) for one in (again, first))
    assert typed and kept == typed
    for new, old in zip(again.lines, first.lines, strict=True):
        assert (new.key, new.unit, new.meaning, new.reason) == (old.key, old.unit, old.meaning, old.reason)
        round_off = (
            1e-9 if old.key.endswith(".closure") else old.noise
        )  # a closure is itself what round-off leaves
        assert new.value == pytest.approx(old.value, rel=1e-9, abs=round_off, nan_ok=True), old.key
    assert again.assumed == first.assumed
    assert again.messages == first.messages


def _numbers(inputs: Inputs) -> list[list[float]]:
    found: list[list[float]] = []
    each_array(inputs, lambda array: found.append(array.tolist()) or array)
    return found


def test_a_changed_cell_is_another_case(skerry: Result, tmp_path: Path) -> None:
    file = tmp_path / "blend.xlsx"
    write_workbook(skerry, file)
    book = openpyxl.load_workbook(file)
    headings = [cell.value for cell in book["feed"][1]]
    book["feed"].cell(3, headings.index("rate") + 1).value = 10
    book.save(file)
    again = balance(load_case(str(file)))
    blend = [c.rate for c in skerry.case.inputs.concentrate]
    rest = sum(float(rate[0]) for rate in blend[1:] if rate is not None) * 3.6
    assert again["feed.dry_rate"].magnitude == pytest.approx(10 + rest)


def test_values_stand_under_their_units_as_numbers(skerry: Result, tmp_path: Path) -> None:
    file = tmp_path / "out.xlsx"
    write_workbook(skerry, file)
    book = openpyxl.load_workbook(file)
    rows = {row[1].value: row for row in book["readings"].iter_rows(min_row=2)}
    assert list(rows) == list(skerry)
    for line in skerry.lines:
        assert rows[line.key][2].value == pytest.approx(line.shown, rel=1e-15)
        assert rows[line.key][3].value == line.unit
    headings, unit_row = ([cell.value for cell in book["streams"][i]] for i in (1, 2))
    at = headings.index("Cu")
    assert unit_row[at] == "wt%"
    matte = next(row for row in book["streams"].iter_rows(min_row=3) if row[0].value == "smelting matte")
    assert matte[at].value == skerry["smelting.matte.assay.Cu"].magnitude


def test_text_is_never_a_formula(nasty: Result, tmp_path: Path) -> None:
    file = tmp_path / "nasty.xlsx"
    write_workbook(nasty, file)
    with zipfile.ZipFile(file) as archive:
        for name in archive.namelist():
            if name.startswith("xl/worksheets/"):
                assert not re.search(rb"<f[ >]", archive.read(name)), name
    names = [row[0] for row in openpyxl.load_workbook(file)["feed"].iter_rows(min_row=3)]
    assert [c.value for c in names] == [c.name for c in nasty.case.inputs.concentrate]
    assert all(c.quotePrefix for c in names if c.value.startswith(("=", "+", "-", "@")))


def test_an_infeasible_case_has_a_workbook_too(infeasible: Result, tmp_path: Path) -> None:
    file = tmp_path / "out.xlsx"
    write_workbook(infeasible, file)
    sheet = openpyxl.load_workbook(file)["readings"]
    blank = [row for row in sheet.iter_rows(min_row=2) if not row[1].value.startswith(("feed.", "dryer."))]
    assert all(row[2].value is None and "matte grade too high" in row[4].value for row in blank)


def test_from_the_command_line_there_and_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(tmp_path / "blend.xlsx")
    assert main(["balance", str(CASES[0]), "--xlsx", file]) == 0
    first = capsys.readouterr().out
    assert main(["balance", file]) == 0
    assert capsys.readouterr().out == first
    assert main(["balance", file, "--xlsx", file]) == 2
    assert "is read as CASE" in capsys.readouterr().err
    assert main(["balance", file, "--xlsx", "-"]) == 2


@pytest.fixture(scope="module")
def plant_book(whole_plant: Result, tmp_path_factory: pytest.TempPathFactory) -> openpyxl.Workbook:
    file = tmp_path_factory.mktemp("book") / "plant.xlsx"
    write_workbook(whole_plant, file)
    return openpyxl.load_workbook(file)


def test_streams_of_a_whole_plant_stand_under_their_own_units(
    whole_plant: Result, plant_book: openpyxl.Workbook
) -> None:
    book = plant_book
    assert not [name for name in book.sheetnames if re.fullmatch(r"\D+\d+", name)]  # no second of a name
    streams = stream_lines(whole_plant.told)
    told: dict[tuple[str, str, str], float] = {}
    for name in ("streams", "gas"):
        headings, units, *rows = book[name].iter_rows(values_only=True)
        for row in rows:
            for heading, unit, cell in list(zip(headings, units, row, strict=True))[1:]:
                if cell is not None:
                    told[row[0], heading, unit] = cell
    for head, stream in streams.items():
        for part, line in stream.items():
            if not math.isnan(line.value):
                assert told[words(head), part.removeprefix("assay."), line.unit] == pytest.approx(
                    line.shown, rel=1e-14
                )


def test_every_sheet_of_numbers_has_headings_above_units(plant_book: openpyxl.Workbook) -> None:
    """A matrix has no word above its first column; its headings and units stand all the same."""
    book = plant_book
    for name, units in (("deportment", {"%"}), ("gas dust assay", {"wt%", "g/t"})):
        heads, units_row, first = (list(row) for row in book[name].iter_rows(max_row=3, values_only=True))
        assert all(isinstance(head, str) and head not in units for head in heads[1:])
        assert set(units_row[1:]) == units
        assert all(
            (unit == "g/t") == (head in ("Au", "Ag")) for head, unit in zip(heads, units_row, strict=True)
        )
        assert isinstance(first[0], str) and isinstance(first[1], float)
