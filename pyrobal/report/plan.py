"""A plan as sentences, tables and pictures: for the terminal, a workbook, one HTML file and programs."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from pyrobal.case.load import Case
from pyrobal.report.figures.figure import COLOURS, Figure, rounded, safe
from pyrobal.report.study import Section, study_page
from pyrobal.report.tables import Cell, Column, Table, plain
from pyrobal.studies.plan.planning import Schedule

_NONE: Final = 1e-6
_LOCAL: Final = (
    "Every period's figures are those of its full balance. The choice of parcels and bins is the best that "
    "the programs on their derivatives found; a better one elsewhere is not ruled out. Stocks are those at "
    "the end of a period, and a parcel is there from the first day of its own."
)


def sentences(found: Schedule) -> Iterator[str]:
    """The answer, what cannot be kept, what late parcels cost, what there is to doubt."""
    if not found.feasible:
        yield "No plan keeps everything."
        if len(found.conflict) == 1:
            yield f"This cannot be kept, whatever else is given up: {found.conflict[0]}."
        elif found.conflict:
            yield f"These cannot be kept together: {'; '.join(found.conflict)}."
        return
    yield f"Margin of the plan: {found.value:,.0f}."
    for name, late in found.late.items():
        if math.isnan(late.costs):
            yield f"{name} a period late breaks the plan: {'; '.join(late.conflict)}."
        else:
            yield f"{name} a period late costs {max(late.costs, 0.0):,.0f}."
    if found.kept:
        yield f"Not in the plan, so fed at their rates in the case: {', '.join(found.kept)}."
    if found.gap:
        yield f"Caution: other parcels or bins may bring up to {100 * found.gap:.2g} % more."
    if not found.settled:
        yield "Caution: the search ended before it was sure that nothing better is near."


def tables(found: Schedule) -> Iterator[Table]:
    """What is fed, taken and left, the figures of each period, what binds."""
    periods = found.plan.periods
    if not found.taken:
        return
    columns = tuple(Column(plain(period.name)) for period in periods)
    lots = found.plan.lots
    yield Table(
        "Fed, t/h dry",
        (Column("lot"), *columns),
        tuple((plain(lot), *_clean(found.rates[:, k])) for k, lot in enumerate(lots)),
    )
    yield Table(
        "In stock at the end, t dry",
        (Column("lot"), *columns),
        tuple((plain(lot), *_clean(found.stocks[:, k])) for k, lot in enumerate(lots)),
    )
    yield _parcels(found)
    yield Table(
        "Figures of the periods",
        (Column("reading"), Column("unit"), *columns),
        tuple((key, found.units[key], *map(float, x)) for key, x in found.readings.items()),
        stub=2,
    )
    if found.limit_worth or found.bound_worth:
        yield _binding(found)
    if any(len(steps) > 1 for steps in found.curves.values()):
        yield _curves(found)


def _clean(values: Any) -> list[float]:
    return [0.0 if abs(x) < _NONE else float(x) for x in values]


def _parcels(found: Schedule) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for one in found.plan.deliveries:
        late = found.late.get(one.name)
        delay: Cell = "" if late is None else "breaks it" if math.isnan(late.costs) else max(late.costs, 0.0)
        arrives = plain(found.plan.periods[one.arrives].name)
        price = found.costs[one.name]
        enters: Cell = found.enters.get(one.name, "")
        rows.append((plain(one.name), arrives, one.tonnes, found.taken[one.name], price, enters, delay))
    columns = (
        Column("parcel"), Column("arrives"), Column("offered", "t"), Column("taken", "t"),
        Column("price", "per t"), Column("break-even price", "per t"), Column("a period late costs"),
    )  # fmt: skip
    return Table("Parcels, dry", columns, tuple(rows))


def _binding(found: Schedule) -> Table:
    rows: list[tuple[Cell, ...]] = [
        (f"{plain(found.plan.periods[t].name)}: {limit}", worth, f"per {limit.unit}")
        for (limit, t), worth in found.limit_worth.items()
    ]
    rows += [(text, worth, "per t/h" if text.endswith("fed") else "per t") for text, worth in _bounds(found)]
    return Table("What binds", (Column("limit"), Column("marginal value"), Column("")), tuple(rows))


def _bounds(found: Schedule) -> Iterator[tuple[str, float]]:
    """Stocks and charges that bind; a blend's bins have no marginal value."""
    for text, worth in found.bound_worth.items():
        if "in the blend" not in text and " or none" not in text and "only with" not in text:
            yield text, worth


def _curves(found: Schedule) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for name, steps in found.curves.items():
        *below, last = steps
        if below:
            rows += [(plain(name), f"to {step.price:,.0f}", step.tonnes) for step in below]
            rows.append((plain(name), "above", last.tonnes))
    note = "By the derivatives at this plan, with its bins."
    columns = (Column("parcel"), Column("price per t"), Column("is taken", "t"))
    return Table("How much at which price", columns, tuple(rows), (note,))


def sections(found: Schedule) -> Iterator[Section]:
    """What the page shows."""
    figures = tuple(_figures(found)) if found.taken else ()
    said = tuple(sentences(found))
    yield Section("answer", "Answer", "The plan", said, figures, tuple(tables(found)), (_LOCAL,))


def _figures(found: Schedule) -> Iterator[Figure]:
    shown = {table.title: table for table in tables(found)}
    pictures = (
        ("blends", "What each period feeds", "t/h, dry", found.rates, "Fed, t/h dry"),
        ("stocks", "Stocks at the end of each period", "t, dry", found.stocks, "In stock at the end, t dry"),
    )
    names = [safe(period.name) for period in found.plan.periods]
    for name, title, axis, values, table in pictures:
        traces: list[dict[str, Any]] = [
            {
                "type": "bar", "name": safe(lot), "x": names, "y": rounded(_clean(values[:, k])),
                "marker": {"color": COLOURS[k % len(COLOURS)]},
                "hovertemplate": f"%{{y:.4~g}} {axis.partition(',')[0]}<extra>%{{fullData.name}}</extra>",
            }
            for k, lot in enumerate(found.plan.lots)
        ]  # fmt: skip
        layout = {
            "barmode": "stack", "height": 380, "yaxis": {"title": {"text": axis}, "automargin": True},
            "xaxis": {"type": "category"}, "legend": {"orientation": "h", "y": 1.12},
        }  # fmt: skip
        yield Figure(name, title, f"{title}, lot by lot.", {"": (traces, {})}, layout, shown[table])


def plan_html(case: Case, found: Schedule, made: datetime.datetime | None = None) -> str:
    """The page. ``made``: the time printed on it, now unless given."""
    subject = "Which parcels a copper smelter should take in which period, and what it should feed."
    return study_page(case, subject, list(sections(found)), content(found), made)


def plan_xlsx(found: Schedule, file: str | Path) -> None:
    """The same tables as a workbook."""
    from pyrobal.report.spreadsheet import write_tables

    names = ("fed", "stocks", "parcels", "figures", "binding", "prices")
    titles = {
        "Fed, t/h dry": "fed", "In stock at the end, t dry": "stocks", "Parcels, dry": "parcels",
        "Figures of the periods": "figures", "What binds": "binding", "How much at which price": "prices",
    }  # fmt: skip
    named = {titles[table.title]: table for table in tables(found)}
    write_tables(list(sentences(found)), {name: named[name] for name in names if name in named}, file)


def content(found: Schedule) -> dict[str, Any]:
    """For programs."""
    periods, lots = [period.name for period in found.plan.periods], found.plan.lots
    known = bool(found.taken)
    return {
        "feasible": found.feasible,
        "settled": found.settled,
        "gap": found.gap,
        "value": found.value if math.isfinite(found.value) else None,
        "periods": periods,
        "fed": {lot: _clean(found.rates[:, k]) for k, lot in enumerate(lots)} if known else {},
        "stocks": {lot: _clean(found.stocks[:, k]) for k, lot in enumerate(lots)} if known else {},
        "parcels": {
            d.name: {
                "lot": d.lot, "arrives": periods[d.arrives], "offered": d.tonnes,
                "taken": found.taken.get(d.name), "price": found.costs.get(d.name),
                "break_even": found.enters.get(d.name),
                "curve": [[step.price, step.tonnes] for step in found.curves.get(d.name, ())],
                "late": _late(found, d.name),
            }
            for d in found.plan.deliveries
        },
        "readings": {
            key: {"unit": found.units[key], "values": [float(v) if math.isfinite(v) else None for v in x]}
            for key, x in found.readings.items()
        },
        "binding": [
            {"period": periods[t], "limit": str(limit), "unit": limit.unit, "marginal_value": worth}
            for (limit, t), worth in found.limit_worth.items()
        ],
        "bounds": dict(_bounds(found)),
        "conflict": list(found.conflict),
    }  # fmt: skip


def _late(found: Schedule, name: str) -> dict[str, Any] | None:
    late = found.late.get(name)
    if late is None:
        return None
    return {"costs": None if math.isnan(late.costs) else late.costs, "conflict": list(late.conflict)}
