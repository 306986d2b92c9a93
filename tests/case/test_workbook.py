"""A case in a spreadsheet: what a fault says is the cell."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from pyrobal.case.load import load_case
from pyrobal.case.read import read
from pyrobal.case.workbook import to_toml
from pyrobal.errors import CaseError

FEED = [
    ["name", "rate", "moisture", "Cu", "Fe", "S", "SiO2", "Au", "chalcopyrite"],
    [None, "t/h", "%", "wt%", "wt%", "wt%", "wt%", "g/t", "wt%"],
    ["Fenholt", 55, 8.5, 28.1, 27.6, 31.9, 6.0, 9, 74],
    ["Storr Hill", 40, None, 25.4, 29, 33.5, 7, None, None],
]
SETTINGS = [
    ["key", "value", "unit", "default", "meaning"],
    ["title", "made by hand", None, None, None],
    ["dryer", "yes"],
    ["flux.silica.assay.SiO2", 93, "wt%"],
    ["smelting.matte_grade", 64, "wt%"],
    ["smelting.enrichment", None, "vol%", "60 vol%"],
    ["smelting.fe_sio2", 1.3, "-"],
    ["smelting.close_heat_with", "fuel"],
    ["smelting.deportment.As.matte", 40, "%"],
    ["smelting.deportment.As.slag", 60, "%"],
    ["revert.ladle skulls.rate", 2, "t/h"],
    ["revert.ladle skulls.assay.Cu", 60, "wt%"],
]

TOML = """
title = "made by hand"
[[concentrate]]
name = "Fenholt"
rate = "55 t/h"
moisture = "8.5 %"
assay = {Cu = 28.1, Fe = 27.6, S = 31.9, SiO2 = 6, Au = "9 g/t"}
minerals = {chalcopyrite = 74}
[[concentrate]]
name = "Storr Hill"
rate = "40 t/h"
assay = {Cu = 25.4, Fe = 29, S = 33.5, SiO2 = 7}
[dryer]
[flux.silica]
assay = {SiO2 = 93}
[smelting]
matte_grade = "64 %"
fe_sio2 = 1.3
close_heat_with = "fuel"
deportment.As = {matte = 40, slag = 60}
[[revert]]
name = "ladle skulls"
rate = "2 t/h"
assay = {Cu = 60}
"""

Edit = Callable[[dict[str, list[list[Any]]]], object]


def _write(file: Path, edit: Edit = lambda sheets: None) -> str:
    sheets = {"feed": [list(row) for row in FEED], "settings": [list(row) for row in SETTINGS]}
    edit(sheets)
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(file)
    return str(file)


def test_it_is_the_same_case_as_the_same_words_in_toml(tmp_path: Path) -> None:
    from_sheet, from_text = load_case(_write(tmp_path / "blend.xlsx")), load_case(TOML)
    mine, theirs = dict(from_sheet.inputs.arrays()), dict(from_text.inputs.arrays())
    assert mine.keys() == theirs.keys()
    for key, value in mine.items():
        assert value.tolist() == theirs[key].tolist(), key
    assert from_sheet.title == "made by hand"
    assert from_sheet.assumed == from_text.assumed
    assert from_sheet.given == from_text.given


def test_a_detection_limit_has_the_unit_of_its_column_and_insol_its_split(tmp_path: Path) -> None:
    def edit(sheets: dict[str, list[list[Any]]]) -> None:
        for row, more in zip(
            sheets["feed"],
            (["As", "insol", "insol.SiO2"], ["g/t", "wt%", "wt%"], ["<50", 5, 100]),
            strict=False,
        ):
            row.extend(more)
        sheets["feed"][2][6] = None  # SiO2 of the first

    first = load_case(_write(tmp_path / "case.xlsx", edit)).inputs.concentrate[0]
    assert first.assay["As"] == pytest.approx(25e-6)
    assert first.insol["SiO2"] == pytest.approx(1.0)


def test_its_text_is_toml_that_gives_the_same_again(tmp_path: Path) -> None:
    case = load_case(_write(tmp_path / "blend.xlsx"))
    again = load_case(case.text)
    assert {k: v.tolist() for k, v in again.inputs.arrays()} == {
        k: v.tolist() for k, v in case.inputs.arrays()
    }


def test_a_setting_on_the_command_line_lies_over_it(tmp_path: Path) -> None:
    case = load_case(_write(tmp_path / "blend.xlsx"), ["concentrate.Fenholt.rate=60 t/h"])
    assert case.inputs.concentrate[0].rate.tolist() == pytest.approx([60 / 3.6])


def _set(sheet: str, row: int, column: int, value: Any) -> Edit:
    def edit(sheets: dict[str, list[list[Any]]]) -> None:
        rows = sheets[sheet]
        rows[row - 1] += [None] * (column - len(rows[row - 1]))
        rows[row - 1][column - 1] = value

    return edit


WRONG: dict[str, tuple[Edit, str]] = {
    "decimal comma": (_set("feed", 3, 2, "55,5 t/h"), "feed!B3: concentrate.Fenholt.rate: "),
    "wrong unit": (_set("feed", 2, 2, "kPa"), "feed!B3: concentrate.Fenholt.rate: "),
    "no unit": (_set("feed", 2, 2, None), "feed!B3: concentrate.Fenholt.rate: "),
    "negative": (_set("feed", 4, 4, -3), "feed!D4: concentrate.Storr Hill.assay.Cu: "),
    "assay above 100 %": (_set("feed", 4, 4, 95), "concentrate.Storr Hill.assay: sums to "),
    "unknown column": (_set("feed", 1, 7, "SiO3"), 'feed!G1: unknown column; did you mean "SiO2"?'),
    "column twice": (_set("feed", 1, 5, "Cu"), "feed!E3: assay.Cu is given twice; see feed!D3"),
    "name twice": (_set("feed", 4, 1, "Fenholt"), "feed!A4: concentrate.Fenholt.name: "),
    "no name": (_set("feed", 4, 1, None), "feed!A4: concentrate.#2.name: is missing"),
    "no rate": (_set("feed", 4, 2, None), "feed!A4: concentrate.Storr Hill: needs a rate"),
    "a date": (_set("feed", 3, 2, __import__("datetime").date(2026, 1, 1)), "feed!B3: concentrate.Fenholt.rate: "),
    "yes or no": (_set("feed", 3, 2, True), "feed!B3: concentrate.Fenholt.rate: "),
    "a lost formula": (_set("feed", 3, 2, "=50+5"), "feed!B3: holds a formula without a value"),
    "an error value": (_set("feed", 3, 2, "#DIV/0!"), "feed!B3: holds the error #DIV/0!"),
    "unknown key": (_set("settings", 5, 1, "smelting.mate_grade"), "settings!B5: smelting.mate_grade: unknown key"),
    "unknown section": (_set("settings", 5, 1, "smelter.x"), 'settings!A5: there is no section "smelter"'),
    "unknown word": (_set("settings", 8, 2, "coal"), "settings!B8: smelting.close_heat_with: "),
    "a part that is not yes": (_set("settings", 3, 2, "maybe"), 'settings!B3: "yes" says the plant has this'),
    "a concentrate among settings": (_set("settings", 5, 1, "concentrate.X.rate"), "settings!A5: concentrates belong"),
    "a whole revert": (_set("settings", 11, 1, "revert.skulls"), "settings!A11: names no setting"),
    "no column of values": (_set("settings", 1, 2, "number"), "settings!A1: row 1 names no column value"),
    "too hot": (_set("settings", 5, 2, 640), "settings!B5: smelting.matte_grade: "),
}  # fmt: skip


@pytest.mark.parametrize("what", WRONG)
def test_a_fault_names_the_cell(what: str, tmp_path: Path) -> None:
    edit, said = WRONG[what]
    file = _write(tmp_path / "blend.xlsx", edit)
    with pytest.raises(CaseError) as caught:
        load_case(file)
    assert said in str(caught.value)
    assert str(caught.value).startswith(file)


def test_all_faults_at_once(tmp_path: Path) -> None:
    def edit(sheets: dict[str, list[list[Any]]]) -> None:
        for one in ("negative", "unknown column", "unknown key"):
            WRONG[one][0](sheets)

    with pytest.raises(CaseError) as caught:
        load_case(_write(tmp_path / "blend.xlsx", edit))
    assert len(caught.value.faults) == 3


def test_a_formula_with_its_value_is_that_value(tmp_path: Path) -> None:
    """A spreadsheet program stores the value beside the formula; a library that only writes does not."""
    file = Path(_write(tmp_path / "blend.xlsx", _set("feed", 3, 2, "=50+5")))
    import zipfile

    with zipfile.ZipFile(file) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts["xl/worksheets/sheet1.xml"] = parts["xl/worksheets/sheet1.xml"].replace(b"<v />", b"<v>55</v>").replace(
        b"<f>50+5</f><v></v>", b"<f>50+5</f><v>55</v>"
    )  # fmt: skip
    with zipfile.ZipFile(file, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    assert load_case(str(file)).inputs.concentrate[0].rate.tolist() == pytest.approx([55 / 3.6])


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is not a workbook"), (b"PK\x03\x04 broken", "is not a workbook"), (b"name,rate\n", "is not a workbook"),
        (None, "there is no such file"),
    ],
)  # fmt: skip
def test_what_is_no_workbook_is_refused(content: bytes | None, said: str, tmp_path: Path) -> None:
    file = tmp_path / "blend.xlsx"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(CaseError, match=said):
        load_case(str(file))


def test_a_workbook_without_feed_is_refused(tmp_path: Path) -> None:
    file = _write(tmp_path / "blend.xlsx", lambda sheets: sheets.pop("feed"))
    with pytest.raises(CaseError, match='has no sheet named "feed"'):
        load_case(file)


def test_a_bomb_is_refused_before_it_unpacks(tmp_path: Path) -> None:
    import zipfile

    file = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b"0" * 60_000_000)
    with pytest.raises(CaseError, match="unpacks to more than"):
        load_case(str(file))


def test_a_sheet_too_large_is_refused(tmp_path: Path) -> None:
    file = _write(tmp_path / "blend.xlsx", _set("feed", 3, 600, 1))
    with pytest.raises(CaseError, match="500 columns"):
        load_case(file)


@pytest.mark.parametrize(
    "values",
    [
        {"title": 'quote " back \\ slash', "a b": {"c": 1.5, "d": {"e": True}}},
        {"x": [{"name": "one", "t": {"u": 1}}, {"name": "two"}], "empty": {}},
        {"title": "line\nbreak \x1b \x7f emoji \U0001f525"},
    ],
)
def test_toml_reads_back_as_it_was(values: dict[str, Any]) -> None:
    assert tomllib.loads(to_toml(values)) == values


def test_a_workbook_is_known_by_its_ending(tmp_path: Path) -> None:
    file = tmp_path / "BLEND.XLSX"
    _write(tmp_path / "blend.xlsx")
    (tmp_path / "blend.xlsx").rename(file)
    assert read(str(file)).values["concentrate"][0]["name"] == "Fenholt"
