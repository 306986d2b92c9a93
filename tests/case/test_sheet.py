"""Tables that users bring: cells with their places, or what is wrong with the file."""

from __future__ import annotations

import datetime
from pathlib import Path

import openpyxl
import pytest

from pyrobal.case.sheet import read_sheet
from pyrobal.errors import CaseError


def test_a_csv_and_a_workbook_read_the_same_but_for_their_places(tmp_path: Path):
    text = tmp_path / "a.csv"
    text.write_text("name,rate [t/h]\n\nAlder,5\nBirch,\n", encoding="utf-8")
    book = openpyxl.Workbook()
    for row in (["name", "rate [t/h]"], [], ["Alder", 5], ["Birch", None]):
        book.active.append(row)
    book.save(tmp_path / "a.xlsx")
    a, b = read_sheet(str(text)), read_sheet(str(tmp_path / "a.xlsx"))
    for sheet in (a, b):
        assert [cell.text for cell in sheet.headings] == ["name", "rate [t/h]"]
        assert [[cell.text for cell in row] for row in sheet.rows] == [["Alder", "5"], ["Birch", ""]]
    assert a.rows[0][1].place == "B3" and b.rows[0][1].place == "Sheet!B3"


def test_semicolons_part_cells_too(tmp_path: Path):
    file = tmp_path / "a.csv"
    file.write_text("name;rate\nAlder;5,2\n", encoding="utf-8")
    assert read_sheet(str(file)).rows[0][1].text == "5,2"


def test_a_date_is_written_as_one(tmp_path: Path):
    book = openpyxl.Workbook()
    book.active.append(["period"])
    book.active.append([datetime.datetime(2026, 3, 1)])
    book.save(tmp_path / "a.xlsx")
    assert read_sheet(str(tmp_path / "a.xlsx")).rows[0][0].text == "2026-03-01"


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.csv", b"", "is empty"),
        ("a.csv", b"\xff\xfe\x00", "is not a table"),
        ("a.csv", b"PK\x03\x04abc", "is a workbook"),
        ("a.xlsx", b"abc", "is not a workbook"),
        ("a.csv", None, "there is no such file"),
        ("a.xlsx", None, "there is no such file"),
    ],
)
def test_what_cannot_be_read_is_refused(tmp_path: Path, name: str, content: bytes | None, said: str):
    file = tmp_path / name
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(CaseError, match=said):
        read_sheet(str(file))


def test_every_bad_cell_of_a_workbook_is_named(tmp_path: Path):
    book = openpyxl.Workbook()
    book.active.append(["a", "=1+1"])
    book.active.append(["#DIV/0!", 2])
    book.save(tmp_path / "a.xlsx")
    with pytest.raises(CaseError) as caught:
        read_sheet(str(tmp_path / "a.xlsx"))
    assert [fault.file.rpartition(": ")[2] for fault in caught.value.faults] == ["Sheet!B1", "Sheet!A2"]
