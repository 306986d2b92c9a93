"""A reconciliation for programs, and the case with what was fitted in it."""

from __future__ import annotations

import json
import math
from typing import Any

from pyrobal import __version__, units
from pyrobal.report.reconcile.words import (
    counted,
    hourly,
    per_unit_of,
    remarks,
    value_with_error,
    verdict,
)
from pyrobal.studies.reconcile.reconciliation import Reconciliation, Setting
from pyrobal.studies.reconcile.tests import Instrument


def content(found: Reconciliation) -> dict[str, Any]:
    """For programs, in plant units; what has no value is null."""
    return {
        "case": found.case.title,
        "verdict": verdict(found),
        "settled": found.settled,
        "periods": list(found.periods),
        "aside": dict(found.measured.aside),
        "test": {
            "statistic": _finite(found.before.statistic), "limit": _finite(found.before.limit),
            "freedom": found.before.freedom, "passes": found.before.passes,
            "statistic_after": _finite(found.after.statistic), "passes_after": found.after.passes,
        },
        "instruments": [_instrument(one) for one in found.instruments],
        "outliers": [
            {"period": o.period, "key": o.column.key, "unit": o.column.difference_unit,
             "size": _finite(o.column.shown_deviation(o.size)),
             "deviation": _finite(o.column.shown_deviation(o.deviation)), "alike": list(o.alike)}
            for o in found.outliers
        ],
        "fitted": {one.key: _setting(one) for one in found.settings},
        "each": {one.key: _setting(one) for one in found.each},
        "entangled": [[one, other, r] for one, other, r in found.entangled],
        "predictions": {
            p.column.key: {"unit": p.column.difference_unit,
                           "before": _finite(p.column.shown_deviation(p.before)),
                           "after": _finite(p.column.shown_deviation(p.after))}
            for p in found.predictions
        },
        "accounts": {
            a.element: {"unit": "t/h", "in": hourly(a.fed), "unaccounted": hourly(a.unaccounted),
                        "deviation": hourly(a.deviation), "unaccounted_after": hourly(a.unaccounted_after)}
            for a in found.accounts
        },
        "remarks": remarks(found),
    }  # fmt: skip


def _instrument(one: Instrument) -> dict[str, Any]:
    c = one.column
    return {
        "key": c.key, "unit": c.difference_unit, "periods": one.periods,
        "off": one.off, "checked": one.checked,
        "bias": _finite(c.shown_deviation(one.bias)), "deviation": _finite(c.shown_deviation(one.deviation)),
        "score": _finite(one.score), "redundancy": _finite(one.redundancy), "alike": list(one.alike),
        "stated": not c.usual,
    }  # fmt: skip


def _setting(one: Setting) -> dict[str, Any]:
    v = one.fitted.variable
    values = [_finite(float(v.shown(float(x)))) for x in one.value]
    spread = [_finite(float(x) / per_unit_of(v.unit)) for x in one.deviation]
    single = len(values) == 1
    return {
        "unit": v.unit, "before": _finite(float(v.shown(one.before))),
        "value": values[0] if single else values, "deviation": spread[0] if single else spread,
        "held": one.held,
    }  # fmt: skip


def _finite(x: float) -> float | None:
    return float(x) if math.isfinite(x) else None


def as_json(found: Reconciliation) -> str:
    """The same as JSON text."""
    return json.dumps(
        {"pyrobal": __version__, **content(found)}, indent=1, ensure_ascii=False, allow_nan=False
    )


def tuned_case(found: Reconciliation) -> str:
    """The text of the case with the fitted values in it, each with what it is: value, error, periods."""
    from pyrobal.case.tuned import Change, tuned

    p = found.periods
    when = counted(found) + (f" ({p[0]} to {p[-1]})" if len(p) > 1 else "")
    changes = {}
    for one in found.settings:
        v = one.fitted.variable
        value, deviation = float(one.value[0]), float(one.deviation[0])
        text = v.text(value, 6)
        comment = f"fitted {value_with_error(one)}{units.behind(v.unit)}, {when}"
        if one.held or not math.isfinite(deviation):
            comment = f"at an end of its range, {when}"
        changes[one.key] = Change(float(text) if v.unit == "-" else text, comment)
    return tuned(found.case.text, changes)
