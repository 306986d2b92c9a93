"""Concentrates out of a laboratory's sheet: ``lots = "lots.csv"`` before the first table of a case.

The first row names the columns, each with its unit: name, rate [t/h], moisture [%], Cu [%], As [ppm],
chalcopyrite [%] ...; each row below is one lot. An empty cell was not measured, ``<0.01`` is below detection,
a lot without a rate is not fed. The lots stand behind the concentrates of the file, under the same checks.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path as FilePath
from typing import Any, Final

from pyrobal.case.document import Document
from pyrobal.case.lines import Path
from pyrobal.case.schema import written
from pyrobal.case.sheet import Cell, Sheet, read_sheet
from pyrobal.case.values import with_unit
from pyrobal.errors import CaseError, Fault
from pyrobal.flowsheet.inputs import SECTIONS
from pyrobal.names import suggestion
from pyrobal.streams.assay import ASSAY_NAMES
from pyrobal.streams.mineralogy import MINERAL_NAMES

LOTS: Final = "lots"
_HEADING: Final = re.compile(r"(?P<name>[^\[\]]+?)\s*(?:\[\s*(?P<unit>[^\[\]]*?)\s*\])?")
_TABLES: Final = ("assay", "precision", "minerals", "insol")
_PLAIN: Final = tuple(name for name in written(SECTIONS["concentrate"]) if name not in _TABLES)
_NUMBER: Final = re.compile(r"[-+]?[\d.]+(?:[eE][-+]?\d+)?")


def with_lots(document: Document) -> Document:
    """The document with the lots of its sheet among its concentrates; as it is where it names none.

    Raises CaseError where the sheet cannot be read.
    """
    if LOTS not in document.values:
        return document
    values = dict(document.values)
    name = values.pop(LOTS)
    present = values.get("concentrate", [])
    if not isinstance(name, str) or not name.strip() or not isinstance(present, list):
        fault = document.fault((LOTS,), LOTS, 'names a sheet of lots, e.g. lots = "lots.csv"')
        return replace(document, values=values, slips=(*document.slips, fault))
    file = str(FilePath(document.file).parent / name)
    try:
        sheet = read_sheet(file)
    except CaseError as error:
        said = "; ".join(fault.text for fault in error.faults)
        raise CaseError([*document.slips, document.fault((LOTS,), LOTS, f"{name}: {said}")]) from None
    shares = any(isinstance(item, dict) and "share" in item for item in present)
    reader = _Reader(sheet, len(present), "share" if shares else "rate")
    items = list(reader.items())
    values["concentrate"] = [*present, *items]
    return replace(
        document,
        text=_laid_in(document, name, items),
        values=values,
        slips=(*document.slips, *reader.faults),
        cells={**document.cells, **reader.cells},
        beside=(*document.beside, file),
    )


def _laid_in(document: Document, name: str, items: list[dict[str, Any]]) -> str:
    """The text of the case with its lots written out, so that it can be read again by itself."""
    from pyrobal.case.workbook import to_toml

    lines = document.text.splitlines()
    at = document.lines.get((LOTS,))
    if at is not None:
        lines[at - 1] = f"# {lines[at - 1].strip()}   the lots stand at the end"
    return "\n".join([*lines, "", f"# lots of {name}", to_toml({"concentrate": items})])


class _Reader:
    """Rows of a sheet on their way to concentrates, and the cell of each value.

    first : number of the first lot among the concentrates; feed : what says how much of a lot is fed
    """

    def __init__(self, sheet: Sheet, first: int, feed: str) -> None:
        self.sheet, self.first, self.feed = sheet, first, feed
        self.cells: dict[Path, str] = {}
        self.faults: list[Fault] = []

    def wrong(self, cell: Cell | None, key: str, text: str) -> None:
        self.faults.append(self.sheet.fault(cell, key, text))

    def items(self) -> Iterator[dict[str, Any]]:
        """One concentrate a row."""
        columns = [self._column(cell) for cell in self.sheet.headings]
        names = [path for path, _ in columns if path]
        for path in dict.fromkeys(path for path in names if names.count(path) > 1):
            self.wrong(None, ".".join(map(str, path)), "heads two columns")
        if ("name",) not in names:
            self.wrong(self.sheet.headings[0], "name", "no column is headed name")
            return
        for i, row in enumerate(self.sheet.rows, self.first):
            here: Path = ("concentrate", i)
            self.cells[here] = f"{self.sheet.file}: {row[0].place}"
            item: dict[str, Any] = {}
            for (path, unit), cell in zip(columns, row, strict=False):
                if path and not cell.empty:
                    self._put(item, here, path, _given(cell, unit, path), cell)
            if not {"rate", "share"} & set(item):
                item[self.feed] = "0 t/h" if self.feed == "rate" else "0 %"
            yield item

    def _column(self, cell: Cell) -> tuple[Path, str]:
        """Where the cells below a heading belong within a concentrate, and their unit."""
        if cell.empty:
            return (), ""
        match = _HEADING.fullmatch(cell.text)
        name = match["name"] if match else cell.text
        unit = (match["unit"] if match else "") or ""
        if name in ASSAY_NAMES:
            return ("assay", name), unit
        if name in MINERAL_NAMES:
            return ("minerals", name), unit
        if name not in _PLAIN:
            near = suggestion(name, (*_PLAIN, *ASSAY_NAMES, *MINERAL_NAMES))
            self.wrong(cell, name, f"unknown column; {near}")
            return (), ""
        if name != "name" and not unit:
            self.wrong(cell, name, f"needs its unit in the heading, e.g. {_example(name)}")
            return (), ""
        return (name,), unit

    def _put(self, item: dict[str, Any], here: Path, path: Path, value: Any, cell: Cell) -> None:
        node = item
        for part in path[:-1]:
            node = node.setdefault(str(part), {})
        node.setdefault(str(path[-1]), value)
        self.cells[*here, *path] = f"{self.sheet.file}: {cell.place}"


def _example(name: str) -> str:
    return {"rate": "rate [t/h]", "temperature": "temperature [degC]"}.get(name, f"{name} [%]")


def _given(cell: Cell, unit: str, path: Path) -> Any:
    """What a cell says, with the unit of its column; text that is no number stands for itself."""
    if path == ("name",):
        return cell.text
    text = repr(cell.value) if isinstance(cell.value, float) else cell.text
    if text.startswith("<"):
        return with_unit(text, unit or "wt%")
    if not _NUMBER.fullmatch(text):
        return text
    return f"{text} {unit or 'wt%'}"
