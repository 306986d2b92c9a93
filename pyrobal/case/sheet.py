"""A table that a user brings, in a CSV file or a workbook, cell by cell with the place of each.

What a cell means is for the reader of the table to say; here it is text or a number, and an empty one is
None.
"""

from __future__ import annotations

import csv
import datetime
import io
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from pyrobal.errors import CaseError, Fault

MOST_BYTES: Final = 50_000_000  # unpacked
MOST_ROWS, MOST_COLUMNS = 5000, 500
WORKBOOK: Final = ".xlsx"


@dataclass(frozen=True)
class Cell:
    """What stands at a place: "C4" of a CSV file, "days!C4" of a workbook."""

    place: str
    value: Any

    @property
    def empty(self) -> bool:
        """Whether nothing was written there."""
        return self.value is None or (isinstance(self.value, str) and not self.value.strip())

    @property
    def text(self) -> str:
        """What was written, as text on one line; a date as year-month-day."""
        if self.empty:
            return ""
        if isinstance(self.value, datetime.datetime) and self.value.time() == datetime.time():
            return self.value.date().isoformat()
        if isinstance(self.value, datetime.date):
            return self.value.isoformat()
        if isinstance(self.value, float) and self.value.is_integer():
            return f"{self.value:.0f}"
        return " ".join(str(self.value).split())


Row = tuple[Cell, ...]


@dataclass(frozen=True)
class Sheet:
    """A table: the row of headings and the rows below it that hold anything."""

    file: str
    headings: Row
    rows: tuple[Row, ...]

    def fault(self, cell: Cell | None, key: str, text: str) -> Fault:
        """A fault at a cell, or of the whole table."""
        return Fault(self.file if cell is None else f"{self.file}: {cell.place}", None, key, text)


def read_sheet(file: str, name: str | None = None) -> Sheet:
    """The table in a CSV file, or in the sheet ``name`` of a workbook, its first one unless said.

    Raises CaseError where there is none to read.
    """
    if file.lower().endswith(WORKBOOK):
        sheets = read_workbook_cells(file, None if name is None else (name,))
        if not sheets:
            raise refusal(file, f'has no sheet named "{name}"')
        rows = next(iter(sheets.values()))
    else:
        rows = _csv(file)
    filled = [row for row in rows if not all(cell.empty for cell in row)]
    if not filled:
        raise refusal(file, "is empty; its first row names the columns")
    headings, *below = filled
    return Sheet(file, headings, tuple(below))


def refusal(file: str, text: str) -> CaseError:
    """A file that cannot be read as a table at all."""
    return CaseError([Fault(file, None, "", text)])


def _csv(file: str) -> list[Row]:
    try:
        content = Path(file).read_bytes()
    except FileNotFoundError:
        raise refusal(file, "there is no such file") from None
    except (OSError, ValueError) as error:
        raise refusal(file, f"cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if len(content) > MOST_BYTES:
        raise refusal(file, f"is larger than {MOST_BYTES // 1_000_000} MB")
    if content.startswith(b"PK\x03\x04"):
        raise refusal(file, f"is a workbook or an archive; a workbook's name ends in {WORKBOOK}")
    try:
        text = content.decode("utf-8-sig")
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise refusal(file, f"is not a table of comma-separated UTF-8 text: {error}") from None
    return [
        tuple(Cell(f"{_letters(i)}{r}", value.strip() or None) for i, value in enumerate(line))
        for r, line in enumerate(lines, 1)
    ]


def _delimiter(text: str) -> str:
    """What parts the cells of the first line: a semicolon where the machine writes decimal commas."""
    first = text.partition("\n")[0]
    return max((",", ";", "\t"), key=first.count)


def _letters(i: int) -> str:
    """The name of a column, from 0: A, B, ... Z, AA."""
    name = ""
    i += 1
    while i:
        i, letter = divmod(i - 1, 26)
        name = chr(ord("A") + letter) + name
    return name


def read_workbook_cells(file: str, wanted: Sequence[str] | None) -> dict[str, list[Row]]:
    """The sheets ``wanted`` of a workbook, or its first, with formulas as their last computed values.

    Raises CaseError for what is no workbook, too large a sheet, an error value, a formula never computed.
    """
    try:
        import openpyxl
    except ModuleNotFoundError:
        raise refusal(file, "reading a spreadsheet needs openpyxl: pip install 'pyrobal[report]'") from None
    try:
        with zipfile.ZipFile(file) as archive:
            if sum(entry.file_size for entry in archive.infolist()) > MOST_BYTES:
                raise refusal(file, f"unpacks to more than {MOST_BYTES // 1_000_000} MB")
        books = [openpyxl.load_workbook(file, data_only=values) for values in (True, False)]
    except FileNotFoundError:
        raise refusal(file, "there is no such file") from None
    except OSError as error:
        raise refusal(file, f"cannot be read: {error.strerror or error}") from None
    except CaseError:
        raise
    except Exception as error:  # a damaged file makes the reader raise almost anything
        raise refusal(file, f"is not a workbook that can be read: {type(error).__name__}") from None
    names = [name for name in books[0].sheetnames if wanted is None or name in wanted]
    if wanted is None:
        names = names[:1]
    return {name: list(_rows(file, books[0][name], books[1][name])) for name in names}


def _rows(file: str, computed: Any, typed: Any) -> Iterator[Row]:
    """Cells of a sheet row by row."""
    name = computed.title
    if computed.max_row > MOST_ROWS or computed.max_column > MOST_COLUMNS:
        limit = f"{MOST_ROWS} rows or {MOST_COLUMNS} columns"
        raise refusal(f"{file}: {name}", f"has more than {limit}; delete what is not needed")
    faults = []
    rows = []
    for row, row_typed in zip(computed.iter_rows(), typed.iter_rows(), strict=True):
        cells = []
        for cell, entered in zip(row, row_typed, strict=True):
            place = f"{name}!{cell.coordinate}"
            if entered.data_type == "f" and cell.value is None:
                text = "holds a formula without a value; open the file in a spreadsheet program and save it"
                faults.append(Fault(f"{file}: {place}", None, "", text))
            elif cell.data_type == "e":
                faults.append(Fault(f"{file}: {place}", None, "", f"holds the error {cell.value}"))
            cells.append(Cell(place, cell.value))
        rows.append(tuple(cells))
    if faults:
        raise CaseError(faults)
    yield from rows
