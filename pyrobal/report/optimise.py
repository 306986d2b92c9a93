"""The best settings as sentences and tables, and as one HTML file with the plant before and after."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator
from typing import Any

from pyrobal import units
from pyrobal.case.load import Case, load_case
from pyrobal.report.compare_page import beside
from pyrobal.report.numbers import quantity
from pyrobal.report.result import Result, balance
from pyrobal.report.study import Section, study_page
from pyrobal.report.tables import Cell, Column, Table
from pyrobal.studies.limit import Limit
from pyrobal.studies.optimise import GIVEN_UP, Best, Setpoint

_SURE = 0.01  # of the slope of the goal
_LOCAL = (
    "The best point is a local one: other starts were tried, but a better one elsewhere is not ruled out. A "
    "marginal value holds between the bounds beside it, found by solving. Check a new set-point against "
    "local codes and licensed practice before the plant runs on it."
)


def sentences(found: Best) -> Iterator[str]:
    """The answer, and what there is to doubt."""
    best, today, goal = found.best, found.today, found.goal
    if not best.feasible:
        yield "No settings within these ranges keep every limit; this is the nearest."
        yield from (_broken(limit, by) for limit, by in best.broken.items())
        if len(found.conflict) > 1:
            yield f"These cannot be met together: {'; '.join(found.conflict)}."
        elif found.conflict:
            yield f"Nothing within these ranges meets {found.conflict[0]}, even without the other limits."
        return
    yield f"{goal}: {quantity(best.value, goal.unit)}, today {quantity(today.value, goal.unit)}."
    for limit, by in today.broken.items():
        yield f"Today {_broken(limit, by)[0].lower()}{_broken(limit, by)[1:]}"
    yield f"{found.alike} of {found.starts} starts ended at this value."
    if not best.settled:
        yield "Caution: the search ended before it was sure that nothing better is near."
    if found.error > _SURE:
        yield f"Caution: the limits account for all but {100 * found.error:.0f} % of the slope of the goal."


def _broken(limit: Limit, by: float) -> str:
    return f"Broken by {quantity(by, limit.unit)}: {limit}."


def tables(found: Best) -> Iterator[Table]:
    """Settings, limits, and the way from today's point."""
    yield _settings(found)
    if found.best.rooms:
        yield _limits(found)
    if found.path:
        yield _path(found)


def _settings(found: Best) -> Table:
    rows = tuple(tuple(_setting(one, found)) for one in found.settings)
    unit = units.behind(found.goal.unit).strip()
    columns = (
        Column("setting"), Column("unit"), Column("today"), Column("best"), Column("from"), Column("to"),
        Column("marginal value today", unit), Column("marginal value of its range", unit),
        Column("flat from"), Column("flat to"),
    )  # fmt: skip
    note = (
        f"Flat: between these values a setting may be held while the goal loses at most {100 * GIVEN_UP:g} "
        "%, the others following, every limit kept."
    )
    return Table("Settings", columns, rows, (note,))


def _setting(one: Setpoint, found: Best) -> Iterator[Cell]:
    yield from (one.variable.key, one.variable.unit, one.today, one.best, one.low, one.high, one.slope)
    yield one.worth or ""
    yield from ("", "") if one.flat is None else one.flat


def _limits(found: Best) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for limit in found.best.rooms:
        span = found.limit_range.get(limit)
        ends = (span.low, span.high, *map(_past, (span.below, span.above))) if span else ("",) * 4
        worth = found.limit_worth.get(limit) or ""
        readings = (found.today.readings[limit.key], found.best.readings[limit.key])
        rows.append((str(limit), limit.unit, *readings, found.standing(limit), worth, *ends))
    unit = units.behind(found.goal.unit).strip()
    columns = (
        Column("limit"), Column("unit"), Column("today"), Column("best"), Column(""),
        Column("marginal value of one unit", unit), Column("from"), Column("to"),
        Column("marginal value below", unit), Column("marginal value above", unit),
    )  # fmt: skip
    return Table("Limits", columns, tuple(rows))


def _past(worth: float) -> Cell:
    return "none feasible" if math.isnan(worth) else worth


def _path(found: Best) -> Table:
    unit = {one.variable.key: one.variable.unit for one in found.settings}
    rows = tuple(
        (
            move.key, unit[move.key], move.before, move.after, move.value,
            "; ".join(map(str, move.broken)) or "none",
        )
        for move in found.path
    )  # fmt: skip
    columns = (
        Column("setting"), Column("unit"), Column("from"), Column("to"),
        Column("goal then", units.behind(found.goal.unit).strip()), Column("limits broken meanwhile"),
    )  # fmt: skip
    note = "Each time the setting that then leaves the plant best off."
    return Table("The way from today's point, setting by setting", columns, rows, (note,))


def sections(found: Best) -> Iterator[Section]:
    """What its page shows, the plants aside."""
    said, shown = tuple(sentences(found)), tuple(tables(found))
    yield Section("answer", "Answer", "The best settings", said, tables=shown, notes=(_LOCAL,))


def at_best(case: Case, found: Best) -> tuple[Result, Result]:
    """The balance of the case, and that of the best settings."""
    bests = [(one.variable, units.to_si(one.best, one.variable.unit)) for one in found.settings]
    laid = [f"{variable.key}={variable.text(float(value))}" for variable, value in bests]
    return balance(case), balance(load_case(case.text, [*case.overrides, *laid]))


def optimise_html(case: Case, found: Best, made: datetime.datetime | None = None) -> str:
    """The page. ``made``: the time printed on it, now unless given."""
    subject = "Where to run a copper smelter within its limits, and what each limit costs."
    plant = beside(at_best(case, found), ("today", "best settings")) if "\n" in case.text else None
    return study_page(case, subject, list(sections(found)), content(found), made, plant)


def content(found: Best) -> dict[str, Any]:
    """For programs."""
    return {
        "goal": str(found.goal),
        "unit": found.goal.unit,
        "feasible": found.best.feasible,
        "settled": found.best.settled,
        "value": found.best.value,
        "today": found.today.value,
        "settings": {
            one.variable.key: {
                "unit": one.variable.unit, "today": one.today, "best": one.best, "low": one.low,
                "high": one.high, "marginal_value_today": one.slope, "marginal_value_of_range": one.worth,
                "flat": None if one.flat is None else list(one.flat),
            }
            for one in found.settings
        },
        "limits": {str(limit): _limit(found, limit) for limit in found.best.rooms},
        "path": [
            {
                "setting": move.key, "from": move.before, "to": move.after, "value": _known(move.value),
                "broken": list(map(str, move.broken)),
            }
            for move in found.path
        ],
        "starts": found.starts,
        "alike": found.alike,
        "conflict": list(found.conflict),
    }  # fmt: skip


def _limit(found: Best, limit: Limit) -> dict[str, Any]:
    span = found.limit_range.get(limit)
    return {
        "unit": limit.unit,
        "today": _known(found.today.readings[limit.key]),
        "best": _known(found.best.readings[limit.key]),
        "standing": found.standing(limit),
        "marginal_value": found.limit_worth.get(limit, 0.0),
        "range": None if span is None else {name: _known(x) for name, x in vars(span).items()},
    }


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None
