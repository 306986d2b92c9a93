"""What a plant measured, period by period: from a table or a TOML file, or all its faults at once by cell."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import FloatN, Floats
from pyrobal.case.load import Case
from pyrobal.case.read import read
from pyrobal.case.sheet import Cell, Row, Sheet, read_sheet
from pyrobal.errors import CaseError, Fault
from pyrobal.fields import Deviation
from pyrobal.names import shortened
from pyrobal.studies.reconcile.heading import Head, Heads, deviations
from pyrobal.studies.reconcile.usual import usual_deviation
from pyrobal.studies.variable import Variable

PERIOD, PRECISION = "period", "precision"
MOST_PERIODS: Final = 2000
_MOST_FAULTS: Final = 100
_HEADING: Final = re.compile(r"(?P<key>[^\[\]]+?)\s*(?:\[(?P<unit>[^\]]*)\])?")


@dataclass(frozen=True, eq=False)
class Column:
    """One instrument, laboratory or weigher.

    key, unit : as headed; place : of the heading
    variable : the setting that it measures; None where it measures a reading, or a change of stock
    values : (T,) in SI, nan where nothing was measured; below : (T,) True below the limit of detection
    deviation : (T,) one standard deviation in SI; usual : True where nobody stated it
    """

    key: str
    unit: str
    place: Cell
    variable: Variable | None
    values: FloatN
    deviation: FloatN
    usual: bool

    @property
    def stock(self) -> bool:
        """Whether it is a change of stock, or its assay."""
        return self.key.startswith("stock.")

    def shown(self, si: Any) -> Any:
        """SI values in the unit of the column."""
        return units.display(si, self.unit)

    def shown_deviation(self, si: Any) -> Any:
        """A difference in the unit of the column; of temperatures in K."""
        return units.display(si, "K" if units.kind(self.unit) == "a temperature" else self.unit)

    @property
    def difference_unit(self) -> str:
        """The unit of a difference."""
        return "K" if units.kind(self.unit) == "a temperature" else self.unit


@dataclass(frozen=True, eq=False)
class Measured:
    """The whole table.

    periods : (T,) names, in order; columns : without those dropped
    aside : period -> why it is not used
    """

    file: str
    periods: tuple[str, ...]
    columns: tuple[Column, ...]
    aside: dict[str, str] = field(default_factory=dict)

    def take(self, rows: Sequence[int], aside: dict[str, str] | None = None) -> Measured:
        """Some of the periods."""
        at = list(rows)
        kept = [replace(c, values=c.values[at], deviation=c.deviation[at]) for c in self.columns]
        names = tuple(self.periods[i] for i in at)
        return Measured(self.file, names, tuple(kept), {**self.aside, **(aside or {})})

    def only(self, keep: Callable[[Column], bool]) -> Measured:
        """Some of the columns."""
        return replace(self, columns=tuple(c for c in self.columns if keep(c)))


def read_measured(case: Case, file: str, drop: Sequence[str] = ()) -> Measured:
    """The measurements in a file. Raises CaseError with every fault of it."""
    measured = (
        _from_toml(case, file) if file.lower().endswith(".toml") else _from_sheet(case, read_sheet(file))
    )
    known = {c.key for c in measured.columns}
    faults = [Fault("--drop", None, key, "no column has this key") for key in drop if key not in known]
    if faults:
        raise CaseError(faults)
    kept = measured.only(lambda c: c.key not in drop)
    if not kept.columns:
        raise CaseError([Fault(file, None, "", "holds no measurement")])
    return kept


def _from_sheet(case: Case, sheet: Sheet) -> Measured:
    faults: list[Fault] = []
    heads = _headings(case, sheet, faults)
    rows = [row for row in sheet.rows if row[0].text.casefold() != PRECISION]
    stated = [row for row in sheet.rows if row[0].text.casefold() == PRECISION]
    faults += [sheet.fault(row[0], PRECISION, "this row is given twice") for row in stated[1:]]
    names = _periods(sheet, rows, faults)
    columns = []
    for i, head in heads:
        cells = [row[i] if i < len(row) else Cell(row[0].place, None) for row in rows]
        values = np.array([_value(sheet, head, cell, faults) for cell in cells])
        cell = stated[0][i] if stated and i < len(stated[0]) else None
        columns.append(_column(case, sheet, head, values, cell, faults))
    faults += _stood(sheet, rows, columns)
    if faults:
        raise CaseError(faults[:_MOST_FAULTS])
    measured = Measured(sheet.file, names, tuple(columns))
    filled = [t for t in range(len(names)) if any(np.isfinite(c.values[t]) for c in columns)]
    empty = {names[t]: "nothing was measured" for t in range(len(names)) if t not in filled}
    return measured.take(filled, empty)


def _headings(case: Case, sheet: Sheet, faults: list[Fault]) -> list[tuple[int, Head]]:
    heads = Heads(case)
    known: list[tuple[int, Head]] = []
    first, *others = sheet.headings
    if first.text.casefold() != PERIOD:
        faults.append(
            sheet.fault(first, "", f'the first column is headed "{PERIOD}", not {shortened(first.text)}')
        )
    for i, cell in enumerate(others, 1):
        if cell.empty:
            if any(i < len(row) and not row[i].empty for row in sheet.rows):
                faults.append(sheet.fault(cell, "", "the column has no heading"))
            continue
        match = _HEADING.fullmatch(cell.text)
        key, unit = (match["key"], (match["unit"] or "").strip()) if match else (cell.text, "")
        try:
            if any(head.key == key for _, head in known):
                raise ValueError("this column is given twice")
            known.append((i, heads.head(key, unit, cell)))
        except (ValueError, KeyError) as error:
            faults.append(sheet.fault(cell, key, str(error.args[0])))
    return known


def _periods(sheet: Sheet, rows: Sequence[Row], faults: list[Fault]) -> tuple[str, ...]:
    """Their names; each once, and in order where they are numbered or dated."""
    if not rows:
        faults.append(sheet.fault(None, "", "holds no period: a row for each below the headings"))
    if len(rows) > MOST_PERIODS:
        faults.append(sheet.fault(None, "", f"{len(rows)} periods are more than {MOST_PERIODS}"))
    seen: dict[str, str] = {}
    before: tuple[str, tuple[int, ...]] | None = None
    for row in rows:
        cell, name = row[0], row[0].text
        if not name:
            faults.append(sheet.fault(cell, "", "the period has no name"))
            continue
        if name in seen:
            faults.append(sheet.fault(cell, name, f"this period is given twice; see {seen[name]}"))
            continue
        seen[name] = cell.place
        order = re.sub(r"\d+", "#", name), tuple(int(x) for x in re.findall(r"\d+", name))
        ordered = order[0].count("#") == 1 or order[0] == "#-#-#"
        if before and ordered and before[0] == order[0] and order[1] < before[1]:
            faults.append(sheet.fault(cell, name, "comes after a later period; put the rows in order"))
        before = order
    return tuple(row[0].text for row in rows)


def _value(sheet: Sheet, head: Head, cell: Cell, faults: list[Fault]) -> float:
    """One value in SI; nan for an empty cell; half of a limit of detection."""
    if cell.empty:
        return float("nan")
    try:
        if isinstance(cell.value, str) and cell.value.lstrip().startswith("<"):
            return 0.5 * head.si(Cell(cell.place, cell.value.lstrip()[1:].strip()))
        return head.si(cell)
    except ValueError as error:
        faults.append(sheet.fault(cell, head.key, str(error)))
        return float("nan")


def _column(
    case: Case, sheet: Sheet, head: Head, values: FloatN, stated: Cell | None, faults: list[Fault]
) -> Column:
    deviation = np.full(values.shape, np.nan)
    usual = stated is None or stated.empty
    if usual:
        deviation = deviations(_of_case(case, head) or usual_deviation(head.key), values)
        usual = _of_case(case, head) is None
    elif stated is not None:
        try:
            deviation = head.deviation(stated.text, values)
        except ValueError as error:
            faults.append(sheet.fault(stated, head.key, str(error)))
    if not np.isfinite(values).any() and not any(f.key == head.key for f in faults):
        faults.append(sheet.fault(head.place, head.key, "the column holds no value; delete it"))
    elif (deviation == 0.0).any():
        faults.append(
            sheet.fault(head.place, head.key, "every value is zero, and so is its deviation; state one")
        )
    return Column(head.key, head.unit, head.place, head.variable, values, deviation, usual)


def _of_case(case: Case, head: Head) -> Deviation | None:
    """What the case says of the precision of an assay."""
    parts = head.key.rsplit(".assay.", 1)
    for c in case.inputs.concentrate:
        if parts[0] == f"concentrate.{c.name}" and len(parts) == 2:
            return c.precision.get(parts[1])
    return None


def _stood(sheet: Sheet, rows: Sequence[Row], columns: Sequence[Column]) -> Iterator[Fault]:
    """Periods in which nothing was fed."""
    fed = [
        c.values for c in columns if re.fullmatch(r"concentrate\..*\.rate|charge\.rate|feed\.dry_rate", c.key)
    ]
    for t, row in enumerate(rows if fed else ()):
        told = [values[t] for values in fed if np.isfinite(values[t])]
        if told and not any(told):
            yield sheet.fault(
                row[0], row[0].text, "nothing was fed: the plant stood; delete the row or empty its cells"
            )


def _from_toml(case: Case, file: str) -> Measured:
    """One period out of ``[measured]``: "63.1 +- 0.4 %" each."""
    document = read(file)
    faults = list(document.slips)
    table = document.values.get("measured")
    if not isinstance(table, dict) or len(document.values) != 1:
        faults.append(Fault(file, None, "", "holds one table, [measured], with a line for each key"))
        raise CaseError(faults)
    heads = Heads(case)
    columns = []
    for key, raw in table.items():
        try:
            columns.append(_line(case, heads, key, raw))
        except (ValueError, KeyError) as error:
            faults.append(document.fault(("measured", key), key, str(error.args[0])))
    if faults:
        raise CaseError(faults)
    return Measured(file, ("measured",), tuple(columns))


def _line(case: Case, heads: Heads, key: str, raw: Any) -> Column:
    text = raw if isinstance(raw, str) else f"{raw}" if isinstance(raw, int | float) else ""
    value, mark, deviation = (
        part.strip() for part in text.replace("\N{PLUS-MINUS SIGN}", "+-").partition("+-")
    )
    if not text or isinstance(raw, bool):
        raise ValueError('is written as "63.1 +- 0.4 %"')
    _, unit = _number_and_unit(value)
    behind = _number_and_unit(deviation)[1] if mark else ""
    unit = unit or ("" if behind.endswith("rel") else behind)
    place = Cell(key, key)
    head = heads.head(key, unit, place)
    si = np.array([head.si(Cell(key, _number_and_unit(value)[0]))])
    stated = Cell(key, deviation) if mark else None
    sheet, faults = Sheet("", (), ()), list[Fault]()
    column = _column(case, sheet, head, si, stated, faults)
    if faults:
        raise ValueError(faults[0].text)
    return column


def _number_and_unit(text: str) -> tuple[str, str]:
    number = re.match(r"[+\-.,'0-9eE]*", text)
    at = number.end() if number else 0
    return text[:at].strip(), text[at:].strip()


def correlations(measured: Measured, texts: Sequence[str]) -> Floats:
    """(n, n) of the columns, from "KEY,KEY=0.4" each. Raises CaseError with every fault."""
    keys = [c.key for c in measured.columns]
    matrix, faults = np.eye(len(keys)), []
    for text in texts:
        pair, _, value = text.partition("=")
        names = [name.strip() for name in pair.split(",")]
        try:
            number = float(value)
        except ValueError:
            number = float("nan")
        unknown = [name for name in names if name not in keys]
        if len(names) != 2 or names[0] == names[-1] or not abs(number) < 1.0:
            faults.append(Fault("--correlated", None, "", f'"{text}" is not KEY,KEY=0.4, between -1 and 1'))
        elif unknown:
            faults += [Fault("--correlated", None, name, "no column has this key") for name in unknown]
        else:
            i, j = (keys.index(name) for name in names)
            matrix[i, j] = matrix[j, i] = number
    if not faults and np.linalg.eigvalsh(matrix).min() <= 1e-9:
        faults.append(Fault("--correlated", None, "", "these correlations contradict each other"))
    if faults:
        raise CaseError(faults)
    return matrix
