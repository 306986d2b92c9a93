"""A case out of a spreadsheet: the blend in a sheet with a row a concentrate, the rest key by key.

    feed        row 1 names the columns, row 2 their units, each row below is one concentrate
    settings    row 1 names the columns, each row below is a dotted key, its value and its unit

Cells left empty were not given. The sheets become the same document a TOML file would, so every check and
default is the same; only the place of a fault is a cell.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from typing import Any, Final

from pyrobal.case.document import Document
from pyrobal.case.lines import Path
from pyrobal.case.schema import Shape, shape, written
from pyrobal.case.sheet import Cell, Row, read_workbook_cells
from pyrobal.case.values import with_unit
from pyrobal.errors import CaseError, Fault
from pyrobal.flowsheet.inputs import SECTIONS
from pyrobal.names import suggestion
from pyrobal.streams.assay import ASSAY_NAMES, GANGUE_OXIDES
from pyrobal.streams.mineralogy import MINERAL_NAMES

FEED, SETTINGS = "feed", "settings"
KEY, VALUE, UNIT = "key", "value", "unit"
PRESENT: Final = "yes"  # value of a key that is a whole section, to say that the plant has it
_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")


def read_workbook(file: str) -> Document:
    """The document in a workbook. Raises CaseError where it is none, or lacks the sheet of the feed."""
    sheets = read_workbook_cells(file, (FEED, SETTINGS))
    if FEED not in sheets:
        made = "pyrobal balance CASE --xlsx FILE makes one to fill in"
        raise CaseError([Fault(file, None, "", f'has no sheet named "{FEED}"; {made}')])
    reader = _Reader(file)
    reader.feed(sheets[FEED])
    reader.settings(sheets.get(SETTINGS, []))
    cells = {path: f"{file}: {cell}" for path, cell in reader.cells.items()}
    text = to_toml(reader.values)
    return Document(file, text, reader.values, slips=tuple(reader.faults), cells=cells)


class _Reader:
    """Rows on their way to nested values, and the cell of each."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.values: dict[str, Any] = {}
        self.cells: dict[Path, str] = {}
        self.faults: list[Fault] = []

    def wrong(self, cell: str, text: str) -> None:
        self.faults.append(Fault(f"{self.file}: {cell}", None, "", text))

    def feed(self, rows: Sequence[Row]) -> None:
        """One concentrate a row."""
        if len(rows) < 2:
            self.wrong(f"{FEED}!A1", "needs names of columns in row 1, units in row 2, concentrates below")
            return
        headings, units, *blend = rows
        places = [self._place(heading) for heading in headings]
        for row in blend:
            if all(cell.empty for cell in row):
                continue
            index = len(self.values.setdefault("concentrate", []))
            item: dict[str, Any] = {}
            self.values["concentrate"].append(item)
            self.cells["concentrate", index] = row[0].place
            self.cells.setdefault(("concentrate",), row[0].place)
            for place, unit, cell in zip(places, units, row, strict=False):
                if place is not None and not cell.empty:
                    self._put(item, ("concentrate", index), place, self._given(cell, unit))

    def _place(self, heading: Cell) -> Path | None:
        """Where the cells below a heading belong within a concentrate."""
        cell, name = heading.place, heading.value
        if heading.empty:
            return None
        name = str(name).strip()
        if name in ASSAY_NAMES:
            return ("assay", name)
        if name in MINERAL_NAMES:
            return ("minerals", name)
        table, _, oxide = name.partition(".")
        if table == "insol" and oxide in GANGUE_OXIDES:
            return (table, oxide)
        plain = [
            n
            for n in written(SECTIONS["concentrate"])
            if n not in ("assay", "precision", "minerals", "insol")
        ]
        if name not in plain:
            self.wrong(cell, f"unknown column; {suggestion(name, (*plain, *ASSAY_NAMES, *MINERAL_NAMES))}")
            return None
        return (name,)

    def _given(self, cell: Cell, unit: Cell) -> Cell:
        """A number with the unit of its column or row; text stands for itself."""
        value, spelling = cell.value, unit.value
        if isinstance(value, str) and spelling not in (None, "", "-"):
            return Cell(cell.place, with_unit(value, str(spelling).strip()))  # "<0.01" of a laboratory
        if isinstance(value, bool) or not isinstance(value, int | float) or spelling in (None, "", "-"):
            return cell
        return Cell(cell.place, f"{value!r} {str(spelling).strip()}")

    def _put(self, node: dict[str, Any], path: Path, place: Path, cell: Cell) -> None:
        for part in place[:-1]:
            path = (*path, part)
            self.cells.setdefault(path, cell.place)
            node = node.setdefault(str(part), {})
        path = (*path, place[-1])
        if place[-1] in node:
            self.wrong(cell.place, f"{'.'.join(map(str, place))} is given twice; see {self.cells[path]}")
            return
        node[str(place[-1])] = cell.value
        self.cells[path] = cell.place

    def settings(self, rows: Sequence[Row]) -> None:
        """One key a row."""
        if not rows:
            return
        headings = [
            str(value).strip() if value is not None else "" for value in (cell.value for cell in rows[0])
        ]
        missing = [name for name in (KEY, VALUE, UNIT) if name not in headings]
        if missing:
            self.wrong(rows[0][0].place, f"row 1 names no column {' and no column '.join(missing)}")
            return
        at = [headings.index(name) for name in (KEY, VALUE, UNIT)]
        for row in rows[1:]:
            key, value, unit = (row[i] if i < len(row) else Cell("", None) for i in at)
            if not key.empty and not value.empty:
                self._setting(key, self._given(value, unit))

    def _setting(self, key: Cell, value: Cell) -> None:
        name = str(key.value).strip()
        section, *rest = name.split(".")
        if section == "concentrate":
            self.wrong(key.place, f'concentrates belong in the sheet "{FEED}"')
        elif not rest and section in SECTIONS:
            if value.value != PRESENT:
                self.wrong(
                    value.place, f'"{PRESENT}" says the plant has this part; else leave the cell empty'
                )
            elif shape(section) is Shape.TABLE:
                self.values.setdefault(section, {})
                self.cells.setdefault((section,), key.place)
        elif section in SECTIONS and shape(section) is Shape.ARRAY:
            self._item(section, rest, key, value)
        elif section in SECTIONS or not rest:
            self._put(self.values, (), (section, *rest), value)
            self.cells.setdefault((section,), key.place)
        else:
            self.wrong(key.place, f'there is no section "{section}"; {suggestion(section, SECTIONS)}')

    def _item(self, section: str, rest: list[str], key: Cell, value: Cell) -> None:
        """``revert.ladle skulls.rate``: an item of an array by its name."""
        if len(rest) < 2:
            self.wrong(key.place, f"names no setting; write {section}.<name>.<setting>")
            return
        items = self.values.setdefault(section, [])
        self.cells.setdefault((section,), key.place)
        names = [item["name"] for item in items]
        if rest[0] not in names:
            items.append({"name": rest[0]})
            names.append(rest[0])
        index = names.index(rest[0])
        self.cells.setdefault((section, index), key.place)
        self._put(items[index], (section, index), tuple(rest[1:]), value)


def to_toml(values: dict[str, Any]) -> str:
    """Nested values as TOML text that reads back as the same values."""
    return "\n".join(_toml(values, ())).strip() + "\n"


def _toml(table: dict[str, Any], path: tuple[str, ...]) -> Iterator[str]:
    for key, value in table.items():
        if not isinstance(value, dict | list):
            yield f"{_quoted(key)} = {_scalar(value)}"
    for key, value in table.items():
        here = (*path, key)
        header = ".".join(map(_quoted, here))
        if isinstance(value, dict):
            yield from ("", f"[{header}]", *_toml(value, here))
        elif isinstance(value, list):
            for item in value:
                yield from ("", f"[[{header}]]", *_toml(item, here))


def _quoted(key: str) -> str:
    return key if _BARE.fullmatch(key) else json.dumps(key, ensure_ascii=False)


def _scalar(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return str(value.isoformat())  # a date or a time
