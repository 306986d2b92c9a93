"""A balance for other programs: JSON as ``docs/result.schema.json`` has it, and CSV."""

from __future__ import annotations

import csv
import io
import json
import math
from typing import TYPE_CHECKING, Any, Final

from pyrobal import __version__
from pyrobal.report.result import Line, Result
from pyrobal.report.tables import Cell, Table

if TYPE_CHECKING:
    from pyrobal.case.load import Case
    from pyrobal.flowsheet.results import Results

_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def as_json(case: Case, results: Results) -> str:
    """The JSON of a single solved case, on several lines, without a line end after it."""
    return json.dumps(as_dict(Result(case, results)), ensure_ascii=False, indent=2, allow_nan=False)


def as_dict(result: Result) -> dict[str, Any]:
    """The same as plain values. A reading without value is null and carries the reason."""
    return {
        "pyrobal": __version__,
        "case": result.case.title,
        "status": result.status,
        "readings": {line.key: _reading(line) for line in result.lines},
        "messages": [{"level": m.level, "key": m.key, "text": m.text} for m in result.messages],
        "assumed": dict(result.assumed),
    }


def _reading(line: Line) -> dict[str, Any]:
    if math.isnan(line.value):
        return {"value": None, "unit": line.unit, "reason": line.reason}
    return {"value": line.value, "unit": line.unit}


def as_csv(table: Table) -> str:
    """A table as comma-separated values, its units in a second row of headings.

    Text that a spreadsheet would run as a formula is led by an apostrophe; a number never is.
    """
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow([harmless(column.heading) for column in table.columns])
    if any(column.unit for column in table.columns):
        writer.writerow([harmless(column.unit) for column in table.columns])
    writer.writerows([_cell(cell) for cell in row] for row in table.rows)
    return file.getvalue()


def _cell(cell: Cell) -> str:
    if isinstance(cell, str):
        return harmless(cell)
    return "" if math.isnan(cell) else repr(cell)


def harmless(text: str) -> str:
    """``text``, led by an apostrophe where a spreadsheet would take it for a formula."""
    return f"'{text}" if text.startswith(_FORMULA) and text != "-" else text
