"""``pyrobal blend``: which parcels to take, how much of each, and what a limit costs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from pyrobal.cli.columns import print_columns, print_sentences
from pyrobal.cli.executor import searching
from pyrobal.cli.files import needs, write
from pyrobal.cli.options import best_option, file_option, input_option, limit_option, study

if TYPE_CHECKING:
    from pyrobal.case.load import Case
    from pyrobal.studies.aim import Aim
    from pyrobal.studies.blend import Advice, Blend
    from pyrobal.studies.limit import Goal, Limit

_RUNNERS_UP = 3


@click.command()
@input_option("--terms", "FILE.toml", "Parcels on offer: stock, prices, penalties, flows.")
@limit_option()
@best_option("GOAL", "margin, copper, max:READING or min:READING.")
@file_option("--html", "Write a one-file report.")
@study
def blend(
    case: Case,
    aim: Aim | None,
    terms: str | None,
    limit_texts: tuple[str, ...],
    best: str | None,
    html_file: str | None,
) -> int:
    """Choose the rates of the concentrates of CASE for most margin or most copper within limits.

    Without --terms every concentrate may be taken up to the whole charge, and copper is the goal.
    """
    from pyrobal.studies.blend import blend as work_out
    from pyrobal.studies.blending import COPPER, MARGIN
    from pyrobal.studies.limit import limits
    from pyrobal.studies.terms import load_terms, without_prices

    offered = load_terms(case, terms) if terms else without_prices(case)
    goal = _goal(case, best) or (COPPER if offered.market.copper_price is None else MARGIN)
    with searching("blend", *_named(goal)) as advance:
        found = work_out(case, offered, limits(case, limit_texts), goal, aim, advance)
    if html_file is not None:
        with needs("--html", "report"):
            from pyrobal.report.blend import blend_html
        write(html_file, blend_html(case, found))
    if html_file != "-":
        _print(found)
        print_sentences(_charge(case, found))
    return 0 if found.best.feasible else 1


def _print(found: Advice) -> None:
    print_sentences(_lines(found))
    if found.best.feasible:
        _print_runners_up(found)


def _charge(case: Case, found: Advice) -> Iterator[str]:
    """What the charge is where the terms do not say, and what of it is not on offer."""
    from pyrobal.constants import TONNE_PER_HOUR
    from pyrobal.studies.terms import charge_of

    terms = found.terms
    offered = {parcel.name for parcel in terms.parcels}
    kept = [c.name for c in case.inputs.concentrate if c.name not in offered]
    if terms.least_charge is None and terms.most_charge is None:
        yield f"charge: {charge_of(case) / TONNE_PER_HOUR:.4g} t/h dry, that of the case"
    if kept:
        yield f"not on offer, so kept at their rates in the case: {', '.join(kept)}"


def _goal(case: Case, text: str | None) -> str | Goal | None:
    from pyrobal.studies.blending import COPPER, MARGIN
    from pyrobal.studies.limit import goal

    return text if text in (None, COPPER, MARGIN) else goal(case, text)


def _named(goal: str | Goal) -> tuple[str, str]:
    """A goal and its unit, as progress tells them."""
    from pyrobal.studies.blending import COPPER

    return (goal, "t/h" if goal == COPPER else "") if isinstance(goal, str) else (goal.key, goal.unit)


def _lines(found: Advice) -> Iterator[str]:
    from pyrobal.units import behind

    best = found.best
    if best.feasible:
        yield f"the blend for {_worth(found, best)}"
    else:
        yield "no blend of these parcels keeps every limit; the nearest:"
    _print_parcels(found)
    for limit in best.rooms:
        standing = found.standing(limit)
        note = "" if standing == "kept" else f", {standing}"
        if standing == "binds":
            note += f", marginal value of 1 {_unit(limit)}: {_gain(found, found.limit_worth[limit])}"
            note += _while(found, limit)
        yield f"{limit}: {best.readings[limit.key]:.5g}{behind(limit.unit)}{note}"
    if best.feasible and found.charge_worth:
        yield f"marginal value of 1 t/h of the whole blend: {_gain(found, found.charge_worth)}"
    if len(found.conflict) == 1:
        yield f"no blend of these parcels meets {found.conflict[0]}, even without the other limits"
    elif found.conflict:
        yield f"these cannot be met together: {'; '.join(found.conflict)}"
    if best.feasible and not best.settled:
        yield "caution: the search ended before it was sure that nothing better is near"
    if best.feasible and found.error > 0.01:
        yield f"caution: the limits account for all but {100 * found.error:.0f} % of the slope of the goal"


def _while(found: Advice, limit: Limit) -> str:
    """Between which bounds the worth holds, and what it is past them."""
    from pyrobal.units import behind

    span = found.limit_range[limit]
    past = [f"{_past(found, worth)} {word}" for word, worth in (("below", span.below), ("above", span.above))]
    return f" from {span.low:.4g} to {span.high:.4g}{behind(limit.unit)} ({', '.join(past)})"


def _past(found: Advice, worth: float) -> str:
    if math.isnan(worth):
        return "no blend"
    return _gain(found, worth) if worth else "nothing"


def _gain(found: Advice, value: float) -> str:
    """What a change adds to the goal, in its unit: four digits, and no power of ten of a large number."""
    text = f"{value:,.0f}" if abs(value) >= 1e3 else f"{value:.4g}"
    return f"{text} {_goal_unit(found)}".rstrip()


def _goal_unit(found: Advice) -> str:
    from pyrobal.studies.blending import COPPER, MARGIN

    if isinstance(found.goal, str):
        return {MARGIN: "per hour", COPPER: "t/h of copper"}[found.goal]
    return "" if found.goal.unit == "-" else found.goal.unit


def _unit(limit: Limit) -> str:
    return "unit" if limit.unit == "-" else limit.unit


def _worth(found: Advice, blend: Blend) -> str:
    from pyrobal.studies.blending import COPPER, MARGIN

    if found.goal == MARGIN:
        return f"most margin: {blend.value:,.0f} per hour"
    if found.goal == COPPER:
        return f"most copper: {blend.value:.4g} t/h recovered"
    return f"{found.goal}: {blend.value:.5g}"


def _print_parcels(found: Advice) -> None:
    from pyrobal.constants import TONNE_PER_HOUR

    rows: list[list[str | float]] = []
    for parcel in found.terms.parcels:
        rate = found.best.rates[parcel.name]
        row: list[str | float] = [
            parcel.name,
            rate,
            100 * rate / found.best.charge,
            parcel.most / TONNE_PER_HOUR,
        ]
        if found.best.feasible:
            row += [found.most[parcel.name], found.parcel_worth[parcel.name]]
            row += [found.breaks_even.get(parcel.name, "-")] if found.breaks_even else []
        rows.append(row)
    worth = f"marginal value of 1 t/h, {_goal_unit(found)}".rstrip(", ")
    headings = ["parcel", "t/h", "share %", "offered t/h", "could take t/h", worth, "break-even price per t"]
    print_columns(headings[: len(rows[0])], rows)


def _print_runners_up(found: Advice) -> None:
    names = [parcel.name for parcel in found.terms.parcels]
    rows: list[list[str | float]] = []
    others = [(f"without {name}", other) for name, other in list(found.without.items())[:_RUNNERS_UP]]
    others += [(f"most of {name}", other) for name, other in found.taking.items()]
    for label, other in others:
        rows.append([label, other.value, other.value - found.best.value, *(other.rates[n] for n in names)])
    if rows:
        click.echo("\nother blends: a parcel left out, or as much of it as fits; t/h of each")
        value = f"value, {_goal_unit(found)}".rstrip(", ")
        print_columns(["blend", value, "change", *names], rows)
