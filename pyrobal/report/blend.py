"""A blend as one HTML file: what to take, which limits bind and what they cost, other blends."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator
from typing import Any, Final

from pyrobal.case.load import Case
from pyrobal.constants import TONNE_PER_HOUR
from pyrobal.report.figures.figure import COLOURS, Figure, rounded, safe
from pyrobal.report.numbers import quantity
from pyrobal.report.study import Section, study_page
from pyrobal.report.tables import Cell, Column, Table, plain
from pyrobal.studies.blend import Advice, Blend
from pyrobal.studies.blending import COPPER, MARGIN

_SURE: Final = 0.01  # of the slope of the goal
_HATCHES: Final = ("", "/", "\\", "x", "-", "|", "+", ".")
_LOCAL: Final = (
    "A blend is a local best: other starts were tried, but a better one elsewhere is not ruled out. The "
    "marginal value of a limit holds between the bounds beside it, found by solving; of a parcel for small "
    "changes."
)


def blend_html(case: Case, found: Advice, made: datetime.datetime | None = None) -> str:
    """The page. ``made``: the time printed on it, now unless given."""
    subject = "Which concentrates a copper smelter should take, how much of each, and which limits bind."
    return study_page(case, subject, list(sections(found)), _content(found), made)


def sections(found: Advice) -> Iterator[Section]:
    """What its page shows: the blend, and the others looked at."""
    limits = (_limits(found),) if found.best.rooms else ()
    sentences = (_answer(found), *_doubts(found))
    yield Section(
        "answer", "Answer", "The blend", sentences, tables=(_parcels(found), *limits), notes=(_LOCAL,)
    )
    others = _blends(found)
    if len(others) > 1:
        yield Section("others", "Other blends", "Other blends", figures=(_figure(found, others),))


def _answer(found: Advice) -> str:
    best = found.best
    if not best.feasible:
        return "No blend of these parcels keeps every limit; this is the nearest."
    if found.goal == MARGIN:
        return f"Most margin: {best.value:,.0f} per hour."
    if found.goal == COPPER:
        return f"Most copper: {best.value:.4g} t/h recovered."
    return f"{found.goal}: {best.value:.5g}."


def _doubts(found: Advice) -> Iterator[str]:
    if len(found.conflict) == 1:
        yield f"No blend of these parcels meets {found.conflict[0]}, even without the other limits."
    elif found.conflict:
        yield f"These cannot be met together: {'; '.join(found.conflict)}."
    if found.best.feasible and found.charge_worth:
        worth = quantity(found.charge_worth, _unit(found))
        yield f"Marginal value of 1 t/h of the whole blend: {worth}."
    if found.best.feasible and not found.best.settled:
        yield "Caution: the search ended before it was sure that nothing better is near."
    if found.best.feasible and found.error > _SURE:
        yield f"Caution: the limits account for all but {100 * found.error:.0f} % of the slope of the goal."


def _unit(found: Advice) -> str:
    """Of the goal, and of what a change adds to it."""
    return {MARGIN: "per h", COPPER: "t/h Cu"}[found.goal] if isinstance(found.goal, str) else found.goal.unit


def _parcels(found: Advice) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for parcel in found.terms.parcels:
        rate = found.best.rates[parcel.name]
        more = tuple(
            named.get(parcel.name, "") for named in (found.most, found.parcel_worth, found.breaks_even)
        )
        share = 100.0 * rate / found.best.charge
        rows.append((plain(parcel.name), rate, share, parcel.most / TONNE_PER_HOUR, *more))
    columns = (
        Column("parcel"), Column("taken", "t/h"), Column("share", "%"), Column("offered", "t/h"),
        Column("could take", "t/h"), Column("marginal value of 1 t/h", _unit(found)),
        Column("break-even price", "per t"),
    )  # fmt: skip
    return Table("Parcels, dry", columns, tuple(rows))


def _limits(found: Advice) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for limit in found.best.rooms:
        reading, worth = found.best.readings[limit.key], found.limit_worth.get(limit) or ""
        span = found.limit_range.get(limit)
        ends = (span.low, span.high, *map(_past, (span.below, span.above))) if span else ("",) * 4
        rows.append((str(limit), reading, limit.unit, found.standing(limit), worth, *ends))
    columns = (
        Column("limit"),
        Column("reading"),
        Column("unit"),
        Column(""),
        Column("marginal value of one unit", _unit(found)),
        Column("from"),
        Column("to"),
        Column("marginal value below", _unit(found)),
        Column("marginal value above", _unit(found)),
    )
    return Table("Limits", columns, tuple(rows))


def _past(worth: float) -> Cell:
    """What a limit is worth where it has been moved past the range."""
    return "no blend" if math.isnan(worth) else worth


def _blends(found: Advice) -> dict[str, Blend]:
    """The best blend and the others that were looked at, by what makes them differ."""
    without = {f"without {name}": one for name, one in found.without.items()}
    return {"the blend": found.best, **without, **{f"most of {n}": one for n, one in found.taking.items()}}


def _figure(found: Advice, blends: dict[str, Blend]) -> Figure:
    names = [parcel.name for parcel in found.terms.parcels]
    traces: list[dict[str, Any]] = [
        {
            "type": "bar",
            "orientation": "h",
            "name": safe(name),
            "y": [safe(label, 60) for label in blends],
            "x": rounded([one.rates[name] for one in blends.values()]),
            "marker": {
                "color": COLOURS[i % len(COLOURS)],
                "pattern": {"shape": _HATCHES[i % len(_HATCHES)], "fgcolor": "#FFFFFF", "fillmode": "overlay",
                            "solidity": 0.25},
            },
            "hovertemplate": "%{x:.4~g} t/h<extra>%{fullData.name}</extra>",
        }
        for i, name in enumerate(names)
    ]  # fmt: skip
    layout = {
        "barmode": "stack",
        "height": 150 + 36 * len(blends),
        "xaxis": {"title": {"text": "t/h, dry"}},
        "yaxis": {"autorange": "reversed", "automargin": True},
        "legend": {"orientation": "h", "y": 1.12},
    }
    rows: list[tuple[Cell, ...]] = [
        (plain(label), one.value, one.value - found.best.value, *(one.rates[name] for name in names))
        for label, one in blends.items()
    ]
    columns = (
        Column("blend"),
        *(Column(word, _unit(found)) for word in ("value", "change")),
        *(Column(plain(n), "t/h") for n in names),
    )
    about = "The best blend, the best without each of its parcels, and as much of each other parcel as fits."
    table = Table("Blends", columns, tuple(rows))
    return Figure("blends", "What each blend takes", about, {"": (traces, {})}, layout, table)


def _content(found: Advice) -> dict[str, Any]:
    """For programs."""
    return {
        "goal": str(found.goal),
        "feasible": found.best.feasible,
        "value": found.best.value,
        "rates": dict(found.best.rates),
        "limits": {str(limit): found.best.readings[limit.key] for limit in found.best.rooms},
        "breaks_even": dict(found.breaks_even),
        "marginal_values": {
            str(limit): {
                "value": found.limit_worth[limit],
                "low": span.low,
                "high": span.high,
                "below": None if math.isnan(span.below) else span.below,
                "above": None if math.isnan(span.above) else span.above,
            }
            for limit, span in found.limit_range.items()
        },
        "conflict": list(found.conflict),
    }
