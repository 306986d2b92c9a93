"""The balance as a workbook: results with their units in a row of their own, and the case to be filled in.

The sheets ``feed`` and ``settings`` are laid out as ``case.workbook`` reads them, so that the file that was
written, with another blend in it, is the next case. Text never becomes a formula.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import openpyxl
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from pyrobal import units
from pyrobal.case.schema import Shape, required, shape
from pyrobal.case.unused import without_effect
from pyrobal.case.workbook import FEED, KEY, PRESENT, SETTINGS, UNIT, VALUE
from pyrobal.flowsheet.inputs import SECTIONS, Inputs
from pyrobal.report import tables
from pyrobal.report.result import Line, Result
from pyrobal.report.settings import Setting, settings
from pyrobal.report.summary import summary
from pyrobal.report.tables import Column, Table
from pyrobal.streams.assay import ASSAY_NAMES, TRACES

if TYPE_CHECKING:
    from pathlib import Path

    from openpyxl.worksheet.worksheet import Worksheet

    from pyrobal.case.load import Case

_EXACT: Final = 15  # significant digits that bring a decimal number back unharmed
_FORMULA: Final = ("=", "+", "-", "@")
_FIRST_COLUMNS: Final = {"name": "", "rate": "t/h", "share": "%", "moisture": "%", "temperature": "degC"}
_WIDEST: Final = 70


def write_workbook(result: Result, file: str | Path) -> None:
    """Write the workbook of a single case."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    given = _given(result.case)
    _fill(book.create_sheet("answer"), _answer(result), units_row=False)
    _feed(book.create_sheet(FEED), result.case.inputs, given)
    _fill(book.create_sheet(SETTINGS), _settings(result, given), units_row=False)
    streams = tables.stream_lines(result.told)
    for name, group in (("streams", _with_assay(streams, True)), ("gas", _with_assay(streams, False))):
        if group:
            _fill(book.create_sheet(name), _by_stream(name, group))
    for name, table in _balances(result.told):
        _fill(book.create_sheet(name[:31]), table)
    _fill(book.create_sheet("readings"), tables.every_reading(result.lines), units_row=False)
    _fill(book.create_sheet("messages"), tables.messages(result), units_row=False)
    _fill(book.create_sheet("assumed"), tables.assumptions(result), units_row=False)
    whole = io.BytesIO()  # first: a zip archive that a full disk cuts short complains when it is let go
    book.save(whole)
    with open(file, "wb") as place:
        place.write(whole.getvalue())


def write_tables(sentences: Sequence[str], named: Mapping[str, Table], file: str | Path) -> None:
    """Write a workbook of sentences, then of tables, a sheet each."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    answer = Table("Answer", (Column("answer"),), tuple((text,) for text in sentences))
    _fill(book.create_sheet("answer"), answer, units_row=False)
    for name, table in named.items():
        _fill(book.create_sheet(name[:31]), table, units_row=any(column.unit for column in table.columns))
    book.save(file)


def write_rows(rows: Sequence[Sequence[str | float]], file: str | Path) -> None:
    """Write a workbook of one sheet, the first row as headings."""
    book = openpyxl.Workbook()
    for i, row in enumerate(rows):
        _append(book.active, row, bold=i == 0)
    for i, heading in enumerate(rows[0], 1):
        book.active.column_dimensions[get_column_letter(i)].width = min(len(str(heading)) + 2, _WIDEST)
    book.active.freeze_panes = "B2"
    book.save(file)


def _given(case: Case) -> Mapping[str, bool]:
    """Key -> whether the case says it; a case built in Python says everything."""
    return {key: not case.given or key in case.given for key in settings(case.inputs)}


def _answer(result: Result) -> Table:
    rows: list[tuple[Any, ...]] = [("case", result.case.title, "", ""), ("status", result.status, "", "")]
    for group in summary(result):
        for row in group.rows:
            line, remarks = row.main.line, (text for part in row.remarks if (text := part.text()))
            rows.append((f"{group.heading}: {row.label}", line.shown, line.unit, ", ".join(remarks)))
    columns = (Column("what"), Column("value"), Column("unit"), Column("remark"))
    return Table("Answer", columns, tuple(rows))


def _feed(sheet: Worksheet, inputs: Inputs, given: Mapping[str, bool]) -> None:
    """The blend, a row each; what the case leaves to its default stays empty."""
    everything = settings(inputs)
    assays = [name for name in ASSAY_NAMES if any(name in c.assay for c in inputs.concentrate)]
    minerals = list(dict.fromkeys(name for c in inputs.concentrate for name in c.minerals))
    insol = dict.fromkeys(f"insol.{oxide}" for c in inputs.concentrate for oxide in c.insol)
    parts = {name: "g/t" if name in TRACES else "wt%" for name in (*assays, *minerals, *insol)}
    headings = {**_FIRST_COLUMNS, **parts}
    rows: list[tuple[Any, ...]] = []
    for c in inputs.concentrate:
        cells: list[Any] = [c.name]
        for name, unit in list(headings.items())[1:]:
            table = "assay." if name in assays else "minerals." if name in minerals else ""
            key = f"concentrate.{c.name}.{table}{name}"
            cells.append(_number(everything[key], unit) if given.get(key) else "")
        rows.append(tuple(cells))
    columns = tuple(Column(name, unit) for name, unit in headings.items())
    _fill(sheet, Table("Feed", columns, tuple(rows)))


def _settings(result: Result, given: Mapping[str, bool]) -> Table:
    """Every setting but the blend: what the case says as value, what it leaves open as default."""
    inputs = result.case.inputs
    unused = without_effect(inputs)
    rows: list[tuple[Any, ...]] = [("title", inputs.title, "", "", "title of the case")]
    for section in SECTIONS:
        if section == "concentrate" or section in unused or not (node := getattr(inputs, section)):
            continue
        if shape(section) is Shape.TABLE and not required(type(node)):
            rows.append((section, PRESENT, "", "", "the plant has this part"))
        rows += [_row(one, given[one.key]) for one in _of(settings(inputs), section)]
    columns = (Column(KEY), Column(VALUE), Column(UNIT), Column("default"), Column("meaning"))
    return Table("Settings", columns, tuple(rows))


def _of(everything: Mapping[str, Setting], section: str) -> Iterable[Setting]:
    """The settings of a section; the name of an item is within its key."""
    found = (one for key, one in everything.items() if key.startswith(f"{section}."))
    return (one for one in found if not (shape(section) is Shape.ARRAY and one.key.endswith(".name")))


def _row(one: Setting, given: bool) -> tuple[Any, ...]:
    if not given:
        return one.key, "", one.unit, one.text(), one.meaning
    value = one.value if isinstance(one.value, str) else _number(one, one.unit)
    return one.key, value, one.unit, "", one.meaning


def _number(one: Setting, unit: str) -> float:
    """The number a person would have typed: no digits of the conversion."""
    assert not isinstance(one.value, str)
    return float(f"{units.display(float(one.value[0]), unit):.{_EXACT}g}")


def _with_assay(streams: Mapping[str, Mapping[str, Line]], wanted: bool) -> dict[str, Mapping[str, Line]]:
    return {h: s for h, s in streams.items() if any(name.startswith("assay.") for name in s) is wanted}


def _by_stream(title: str, streams: Mapping[str, Mapping[str, Line]]) -> Table:
    """A row a stream, a column a quantity in a unit; where streams differ in it, a column of each."""
    order = tables.quantities(streams)
    rows = [
        (tables.words(head), *(tables.in_unit(stream.get(name), unit) for name, unit in order))
        for head, stream in streams.items()
    ]
    columns = (Column("stream"), *(Column(name.removeprefix("assay."), unit) for name, unit in order))
    return Table(title, columns, tuple(rows))


def _balances(lines: Sequence[Line]) -> Iterable[tuple[str, Table]]:
    """Heat of each step, and the matrices, each for a sheet of its own."""
    for step, table in zip(tables.heat_lines(lines), tables.heat_tables(lines), strict=True):
        yield f"heat {tables.words(step)}", table
    for family, cells in tables.matrix_lines(lines).items():
        yield tables.words(family.partition("<")[0].rstrip(".")), tables.matrix(family, cells)


def _fill(sheet: Worksheet, table: Table, units_row: bool = True) -> None:
    """Headings, units where the columns have them, rows, notes."""
    _append(sheet, [column.heading for column in table.columns], bold=True)
    if units_row:
        _append(sheet, [column.unit for column in table.columns], italic=True)
    sheet.freeze_panes = f"B{sheet.max_row + 1}"
    for row in table.rows:
        _append(sheet, row)
    for note in table.notes:
        _append(sheet, ["", note], italic=True)
    for i, column in enumerate(table.columns, 1):
        texts = [column.heading, *(str(row[i - 1]) for row in table.rows if isinstance(row[i - 1], str))]
        width = min(max(max(map(len, texts)) + 2, 11), _WIDEST)
        sheet.column_dimensions[get_column_letter(i)].width = width


def _append(sheet: Worksheet, values: Iterable[Any], bold: bool = False, italic: bool = False) -> None:
    row = sheet.max_row + 1 if any(cell.value is not None for cell in sheet[1]) else 1
    for i, value in enumerate(values, 1):
        cell = sheet.cell(row, i)
        if isinstance(value, float):
            cell.value = None if math.isnan(value) else value
        elif value:
            _text(cell, value)
        if bold or italic:
            cell.font = Font(bold=bold, italic=italic)


def _text(cell: Any, text: str) -> None:
    """Text that stays text, whatever it begins with, also when someone edits the cell."""
    cell.value = tables.plain(text)
    cell.data_type = "s"
    cell.quotePrefix = cell.value.startswith(_FORMULA)
    cell.alignment = Alignment(wrap_text=len(text) > _WIDEST, vertical="top")
