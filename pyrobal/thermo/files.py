"""Where the thermochemical tables lie, and how one table is read."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from pyrobal.errors import DataError

_PACKAGE = Path(__file__).resolve().parents[1]
_BIB_ENTRY = re.compile(r"^@\w+\{(?P<key>[^,\s]+),(?P<fields>.*?)^\}", re.MULTILINE | re.DOTALL)
_BIB_FIELD = re.compile(r"(\w+)\s*=\s*\{(.*?)\}\s*,?\s*$", re.MULTILINE | re.DOTALL)
_CITED = ("author", "title", "journal", "volume", "pages", "institution", "number", "publisher", "year")


@dataclass(frozen=True)
class Row:
    """One line of a table: the cells by column name, and where it stands."""

    cells: dict[str, str]
    place: str  # file:line, for messages

    def text(self, column: str) -> str:
        return self.cells[column]

    def number(self, column: str) -> float | None:
        """The cell as a number; None where it is blank. Raises DataError where it is neither."""
        cell = self.cells[column]
        if not cell:
            return None
        try:
            return float(cell)
        except ValueError:
            raise DataError(f"{self.place}: {column}: {cell!r} is not a number") from None


def data_root() -> Path:
    """Folder of the tables: beside the modules in an installed wheel, beside the package in a checkout.

    Raises DataError where neither exists.
    """
    for folder in (_PACKAGE / "thermo_data", _PACKAGE.parent / "thermo_data"):
        if (folder / "sources.bib").is_file():
            return folder
    raise DataError(f"the thermochemical tables are missing: no thermo_data folder in or beside {_PACKAGE}")


def read_rows(path: Path, columns: tuple[str, ...]) -> Iterator[Row]:
    """Rows of one CSV file whose first line names exactly ``columns``; cells are stripped.

    Raises DataError for other columns or a line with too many or too few cells.
    """
    with path.open(newline="", encoding="utf-8") as file:
        reader = csv.reader(file)
        if tuple(next(reader, ())) != columns:
            raise DataError(f"{path.name}:1: the columns must be {','.join(columns)}")
        for cells in reader:
            place = f"{path.name}:{reader.line_num}"
            if len(cells) != len(columns):
                raise DataError(f"{place}: {len(cells)} cells, expected {len(columns)}")
            yield Row(dict(zip(columns, (cell.strip() for cell in cells), strict=True)), place)


def read_sources(path: Path) -> dict[str, str]:
    """Citation of every entry of a bibliography file, by key."""
    citations = {}
    for entry in _BIB_ENTRY.finditer(path.read_text(encoding="utf-8")):
        fields = {name: _plain(value) for name, value in _BIB_FIELD.findall(entry["fields"])}
        citations[entry["key"]] = ", ".join(fields[name] for name in _CITED if name in fields)
    return citations


def _plain(value: str) -> str:
    """A field on one line, without the braces that keep a name together."""
    return " ".join(value.replace("{", "").replace("}", "").split())


_SURVEYS = {
    "davenport:2002": "Davenport, King, Schlesinger & Biswas, Extractive Metallurgy of Copper, 4th ed. 2002",
    "keller:1900": "Keller 1900, as printed in Levy, Modern Copper Smelting, 1912",
}


def survey(row: Mapping[str, str]) -> str:
    """What a row of shares or ratios rests on, by its columns source and seen."""
    certain = " (from memory)" if row["seen"] == "memory" else ""
    return f"{_SURVEYS[row['source']]}{certain}" if row["source"] in _SURVEYS else "an estimate of our own"
