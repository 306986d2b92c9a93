"""What a reconciliation says, in sentences: made once, for screen, page and workbook."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from pyrobal import units
from pyrobal.report.numbers import number, quantity
from pyrobal.studies.reconcile.reconciliation import Reconciliation, Setting
from pyrobal.studies.reconcile.tests import Instrument, Outlier

PM: Final = "+-"
_SHARES: Final = ("a share", "a share by mass", "a share by volume", "a ratio", "a temperature")


def with_error(value: float, deviation: float) -> str:
    """ "4.2 +- 0.6": as many digits as the error leaves."""
    if not math.isfinite(value):
        return "-"
    if not math.isfinite(deviation) or deviation <= 0.0:
        return number(value)
    places = max(1 - math.floor(math.log10(deviation)), 0)
    shown = f"{value:.{places}f}"
    shown = shown if float(shown) else shown.lstrip("-")
    return f"{shown} {PM} {deviation:.{places}f}"


def counted(found: Reconciliation) -> str:
    """ "30 days" where the periods are days, else "30 periods"."""
    n = len(found.periods)
    days = all(re.fullmatch(r"day\s*\d+|\d{4}-\d\d-\d\d", name, re.IGNORECASE) for name in found.periods)
    if found.periods == ("measured",):
        return "one set of measurements"
    return f"{n} {'day' if days else 'period'}{'' if n == 1 else 's'}"


def verdict(found: Reconciliation) -> str:
    """The answer in one sentence."""
    said = counted(found)
    if not found.settled:
        return f"{said}: no fit was found; the search did not converge, so nothing below is a result."
    if found.before.freedom <= 0:
        return f"{said}: met exactly; there are as many unknowns as measurements, so nothing is checked."
    off = [*(_off(found, one) for one in found.instruments if one.off), *map(_outlier, found.outliers)]
    if not off and found.after.passes:
        return f"{said}: consistent; nothing is off beyond the errors stated."
    if not off:
        return (
            f"{said}: not consistent, and no single instrument explains it; the errors stated are too small, "
            "or something is missing from the balance."
        )
    rest = "consistent" if found.after.passes else "not consistent, even"
    return f"{said}: {rest} but for {_listed(off)}."


def _listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _off(found: Reconciliation, one: Instrument) -> str:
    if one.alike:
        return f"one of {_listed((one.column.key, *one.alike))}, which cannot be told apart"
    return f"{one.column.key}, which reads {size(found, one)} {'high' if one.bias > 0 else 'low'}"


def size(found: Reconciliation, one: Instrument) -> str:
    """A bias without its sign: a share of the mean where the quantity is an amount."""
    column = one.column
    i = found.found.problem.measured.columns.index(column)
    mean = float(np.nanmean(np.abs(found.adjusted.reconciled[:, i])))
    if units.kind(column.unit) in _SHARES or mean == 0.0:
        shown = with_error(column.shown_deviation(abs(one.bias)), column.shown_deviation(one.deviation))
        return f"{shown}{units.behind(column.difference_unit)}"
    return f"{with_error(100 * abs(one.bias) / mean, 100 * one.deviation / mean)} %"


def _outlier(one: Outlier) -> str:
    column = one.column
    shown = with_error(column.shown_deviation(abs(one.size)), column.shown_deviation(one.deviation))
    way = "high" if one.size > 0 else "low"
    if one.alike:
        return f"one of {_listed((column.key, *one.alike))} of {one.period}, which cannot be told apart"
    return f"{column.key} of {one.period} ({shown}{units.behind(column.difference_unit)} {way})"


def remarks(found: Reconciliation) -> list[str]:
    """What else there is to say, in sentences."""
    return [
        line
        for part in (_tests, _unfitted, _loose, _sets, _entangled, _ends, _helps, _aside)
        for line in part(found)
    ]


def _tests(found: Reconciliation) -> Iterator[str]:
    b, a = found.before, found.after
    if b.freedom <= 0:
        return
    text = f"Global test: {number(b.statistic)} of {number(b.limit)} allowed at 95 %"
    text += f", {b.freedom} degrees of freedom"
    if found.outliers or any(one.off for one in found.instruments):
        text += f"; with the errors found allowed for {number(a.statistic)} of {number(a.limit)}"
    yield f"{text}."
    if a.passes and a.freedom > 0 and a.statistic < a.freedom - 3.0 * math.sqrt(2.0 * a.freedom):
        yield "The measurements scatter less than the errors stated; these may be smaller."


def _unfitted(found: Reconciliation) -> Iterator[str]:
    if any(one.off and one.column.variable is None for one in found.instruments):
        yield "What looks like an instrument may be a setting of the case that is wrong and not fitted."


def _loose(found: Reconciliation) -> Iterator[str]:
    loose = [one.column.key for one in found.instruments if not one.checked]
    if loose:
        yield f"Nothing checks, or a fitted setting takes up the error of: {', '.join(loose)}."


def _sets(found: Reconciliation) -> Iterator[str]:
    seen: set[str] = set()
    for one in found.instruments:
        if one.alike and one.column.key not in seen:
            names = (one.column.key, *one.alike)
            seen.update(names)
            yield f"A constant error cannot be told apart between {_listed(names)}."


def _entangled(found: Reconciliation) -> Iterator[str]:
    for one, other, r in found.entangled:
        way = "more" if r > 0 else "less"
        yield f"More {one} with {way} {other} fits nearly as well (correlation {r:.2f})."


def _ends(found: Reconciliation) -> Iterator[str]:
    for one in found.settings:
        if one.held:
            v = one.fitted.variable
            end = v.text(float(one.value[0]), 5)
            yield f"{one.key} stands at an end of its range, {end}; it has no error there."


def _helps(found: Reconciliation) -> Iterator[str]:
    told = found.predictions
    if told:
        better = [p for p in told if p.better]
        if not better:
            yield "Tuning does not help: the case as it is predicts periods that were not fitted as well."
        elif len(better) < len(told):
            worse = ", ".join(p.column.key for p in told if not p.better)
            yield (
                f"In periods it has not seen, tuning predicts {len(better)} of {len(told)} readings better; "
                f"not {worse}."
            )
        else:
            yield f"In periods it has not seen, tuning predicts all {len(told)} readings better."


def _aside(found: Reconciliation) -> Iterator[str]:
    for period, why in found.measured.aside.items():
        yield f"{period} is not used: {why}."


def usual_deviations(found: Reconciliation) -> str:
    """The errors that were taken where nobody stated them, in a sentence."""
    taken = [
        f"{c.key} {quantity(float(c.shown_deviation(float(np.nanmean(c.deviation)))), c.difference_unit, 3)}"
        for c in found.measured.columns
        if c.usual
    ]
    return f"Deviations taken as usual, by common practice: {', '.join(taken)}." if taken else ""


def value_with_error(one: Setting) -> str:
    """A fitted value in its plant unit."""
    v = one.fitted.variable
    deviation = float(one.deviation[0])
    if one.held or not math.isfinite(deviation):
        return f"{number(float(v.shown(float(one.value[0]))))} (end of its range)"
    return with_error(float(v.shown(float(one.value[0]))), deviation / per_unit_of(v.unit))


def per_unit_of(unit: str) -> float:
    """SI per plant unit of a difference."""
    return float(units.to_si(1.0, "K" if units.kind(unit) == "a temperature" else unit))


def hourly(kg_s: float) -> float:
    """kg/s as t/h; round-off is nothing."""
    value = kg_s * 3.6
    return 0.0 if abs(value) < 1e-9 else value
