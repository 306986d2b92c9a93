"""What a reconciliation says, as tables: made once, for screen, page and workbook."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from pyrobal.report.reconcile.words import PM, hourly, per_unit_of, value_with_error, with_error
from pyrobal.report.tables import Cell, Column, Table
from pyrobal.studies.reconcile.accounts import Account
from pyrobal.studies.reconcile.measured import Column as Measurement
from pyrobal.studies.reconcile.reconciliation import Reconciliation
from pyrobal.studies.reconcile.tests import Instrument

_SOLID: Final = {
    "both": "measured",
    "mass": "mass measured",
    "assay": "assay measured",
    "neither": "worked out",
}


def instruments(found: Reconciliation, most: int | None = None) -> Table:
    """Every column, how it stands: first those that are off; ``most`` : no more than so many."""
    rows: list[tuple[Cell, ...]] = []
    order = sorted(found.instruments, key=lambda i: (not i.off, -abs(i.score) if i.checked else 0.0))
    for one in order[:most]:
        c = one.column
        rows.append((
            c.key, c.unit, with_error(c.shown_deviation(one.bias), c.shown_deviation(one.deviation)),
            float(f"{one.score:.3g}"), float(f"{100.0 * one.redundancy:.3g}"), _remark(one),
        ))  # fmt: skip
    columns = ("column", "unit", "reads high by", "over its error", "checked %", "remark")
    notes = ["Checked: share of its variance that the other measurements test."]
    if len(order) > len(rows):
        notes.append(f"{len(order) - len(rows)} more are nearer to what the balance says; --html has all.")
    return Table("Instruments", tuple(map(Column, columns)), tuple(rows), tuple(notes))


def _remark(one: Instrument) -> str:
    if one.off and one.alike:
        return f"off, or {', '.join(one.alike)} is"
    if one.off:
        return "off"
    return "" if one.checked else "not checked"


def outliers(found: Reconciliation) -> Table:
    """Single measurements that do not fit."""
    rows: list[tuple[Cell, ...]] = [
        (o.period, o.column.key, o.column.unit,
         with_error(o.column.shown_deviation(o.size), o.column.shown_deviation(o.deviation)),
         float(f"{o.score:.3g}"), f"or {', '.join(o.alike)}" if o.alike else "")
        for o in found.outliers
    ]  # fmt: skip
    columns = ("period", "column", "unit", "reads high by", "over its error", "remark")
    return Table("Single measurements that do not fit", tuple(map(Column, columns)), tuple(rows))


def settings(found: Reconciliation) -> Table:
    """Fitted settings with one value."""
    rows: list[tuple[Cell, ...]] = []
    for one in found.settings:
        v = one.fitted.variable
        rows.append((one.key, v.unit, float(v.shown(one.before)), value_with_error(one)))
    columns = (Column("setting"), Column("unit"), Column("before"), Column("fitted"))
    return Table("Fitted settings", columns, tuple(rows), ("One standard deviation.",))


def each(found: Reconciliation) -> Table:
    """Settings fitted in every period."""
    columns = [Column("period")]
    for one in found.each:
        columns += [Column(one.key, one.fitted.variable.unit), Column(PM, one.fitted.variable.unit)]
    rows: list[tuple[Cell, ...]] = []
    for t, period in enumerate(found.periods):
        cells: list[Cell] = [period]
        for one in found.each:
            v = one.fitted.variable
            cells += [float(v.shown(float(one.value[t]))), float(one.deviation[t]) / per_unit_of(v.unit)]
        rows.append(tuple(cells))
    return Table("Settings of each period", tuple(columns), tuple(rows))


def predictions(found: Reconciliation) -> Table:
    """Of periods that the fit has not seen."""
    rows: list[tuple[Cell, ...]] = [
        (p.column.key, p.column.difference_unit, float(p.column.shown_deviation(p.before)),
         float(p.column.shown_deviation(p.after)))
        for p in found.predictions
    ]  # fmt: skip
    columns = (Column("reading"), Column("unit"), Column("case as it is"), Column("tuned"))
    notes = (
        "Root mean square error in periods that were not fitted to, five folds. Errors found are taken out.",
    )
    return Table("Prediction", columns, tuple(rows), notes)


def accounts(found: Reconciliation) -> Table:
    """What is missing of each element, by raw measurements and after."""
    rows: list[tuple[Cell, ...]] = [
        (a.element, hourly(a.fed), hourly(a.fed - a.unaccounted),
         with_error(hourly(a.unaccounted), hourly(a.deviation)),
         100.0 * hourly(a.unaccounted) / hourly(a.fed) if hourly(a.fed) else math.nan,
         hourly(a.unaccounted_after))
        for a in found.accounts
    ]  # fmt: skip
    columns = (
        Column("element"), Column("in", "t/h"), Column("out", "t/h"), Column("unaccounted", "t/h"),
        Column("of what came in", "%"), Column("after", "t/h"),
    )  # fmt: skip
    notes = ("Out: products, waste and rise of stocks. What was not measured of a stream is worked out.",)
    return Table("Accounts", columns, tuple(rows), notes)


def account(one: Account) -> Table:
    """The streams of one element."""
    rows: list[tuple[Cell, ...]] = [
        (line.name, "in" if line.sign > 0 else "out", with_error(hourly(line.raw), hourly(line.deviation)),
         hourly(line.after), _SOLID[line.measured])
        for line in one.lines
    ]  # fmt: skip
    columns = (
        Column("stream"),
        Column("side"),
        Column("as measured", "t/h"),
        Column("reconciled", "t/h"),
        Column("how"),
    )
    return Table(f"{one.element} by stream", columns, tuple(rows))


def deviations(found: Reconciliation) -> Table:
    """The errors that were taken where nobody stated them."""
    rows: list[tuple[Cell, ...]] = [
        (c.key, c.difference_unit, float(c.shown_deviation(float(np.nanmean(c.deviation)))))
        for c in found.measured.columns
        if c.usual
    ]
    columns = (Column("column"), Column("unit"), Column("one standard deviation"))
    return Table("Deviations taken as usual, by common practice", columns, tuple(rows))


def measurements(found: Reconciliation) -> Table:
    """Every value: measured, reconciled, its error, the adjustment over its error."""
    rows: list[tuple[Cell, ...]] = []
    a = found.adjusted
    for i, c in _columns(found):
        for t, period in enumerate(found.periods):
            if math.isfinite(c.values[t]):
                rows.append((
                    c.key, c.unit, period,
                    float(c.shown(float(c.values[t]))), float(c.shown(float(a.reconciled[t, i]))),
                    float(c.shown_deviation(float(a.deviation[t, i]))), float(a.score[t, i]),
                ))  # fmt: skip
    columns = ("column", "unit", "period", "measured", "reconciled", "deviation", "adjustment over its error")
    return Table("Measured and reconciled", tuple(map(Column, columns)), tuple(rows), stub=3)


def _columns(found: Reconciliation) -> Iterator[tuple[int, Measurement]]:
    return ((i, c) for i, c in enumerate(found.found.problem.measured.columns) if not c.stock)
