"""The curve under each slider, and the window of two of them, as the page draws them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from concurrent.futures import Executor
from typing import Any, Final

import numpy as np

from pyrobal.case.load import Case
from pyrobal.errors import Reason
from pyrobal.live.asked import Asked
from pyrobal.live.laid import Refused
from pyrobal.live.settings import Settings, lower
from pyrobal.live.source import Opened
from pyrobal.report.labels import capital, label
from pyrobal.report.numbers import number
from pyrobal.report.result import Result, told_in
from pyrobal.studies.aim import Aim
from pyrobal.studies.curves import Crossing, Curve
from pyrobal.studies.curves import curves as work_out
from pyrobal.studies.edges import Place, level, line
from pyrobal.studies.limit import Limit
from pyrobal.studies.measure import reading_units
from pyrobal.studies.tangent import held
from pyrobal.studies.variable import Variable, find
from pyrobal.studies.window import NO_ANSWER, Window
from pyrobal.studies.window import window as work_out_window

_POINTS: Final = {True: 33, False: 17}  # of a curve, of a furnace and of a whole plant
_SIDE: Final = {True: 41, False: 25}  # points along a window, likewise
_DIGITS: Final = 7
_LEVELS: Final = 6  # lines of a reading over a window, about
_ALIKE: Final = 1e-9  # relative; what spreads less is the same everywhere


def curves(
    opened: Opened, result: Result, asked: Asked, aim: Aim | None, executor: Executor | None
) -> dict[str, Any]:
    """A curve of the reading for each key that holds a number and follows nothing.

    opened : the case without changes, which the sliders are made for
    """
    over = {variable: _ends(opened, result, variable) for variable in _found(result, asked.keys)}
    reading = next(iter(asked.read), "")
    ranges = {variable: ends for variable, ends in over.items() if ends}
    points = _POINTS[result.case.inputs.converting is None]
    found = work_out(result.case, ranges, reading, aim, executor, points)
    return {"read": reading, "curves": {curve.variable.key: _curve(curve) for curve in found}}


def _found(result: Result, keys: Iterable[str]) -> list[Variable]:
    """The settings of keys; words have no curve. Raises Refused."""
    errors, found = {}, []
    for key in dict.fromkeys(keys):
        try:
            found.append(find(result.case.inputs, key))
        except ValueError as error:
            errors[key] = str(error)
    if errors:
        raise Refused(errors, {})
    return found


def _ends(opened: Opened, result: Result, variable: Variable) -> tuple[float, float] | None:
    """Where a slider goes, in SI: as the file's case has it, and to the value it has now."""
    now = Settings(result.case.inputs)
    value = now.held(variable.key)
    if value is None or opened.case is None:
        return None
    of_file = Settings(opened.case.inputs)
    known = variable.key in of_file.numbers and of_file.held(variable.key) is not None
    reach = of_file.span(variable.key, value) if known else now.span(variable.key)
    return None if reach is None else (reach.low, reach.high)


def _curve(curve: Curve) -> dict[str, Any]:
    unit, factor = told_in(curve.reading, curve.unit)
    return {
        "x": _rounded(curve.x.tolist()),
        "y": _rounded((curve.y * factor).tolist()),
        "x_unit": curve.variable.unit,
        "y_unit": unit,
        "now": _rounded([curve.now])[0],
        "crossings": [_crossing(one) for one in curve.crossings],
        "feasible": curve.feasible.tolist(),
        "autogenous": next(iter(_rounded(curve.autogenous)), None),
    }


def _crossing(one: Crossing) -> dict[str, Any]:
    if isinstance(one.what, Limit):
        return {"x": _rounded([one.x])[0], "label": name(one.what), "reason": str(one.what)}
    return {"x": _rounded([one.x])[0], "label": "no solution", "reason": Reason(one.what).text}


def name(limit: Limit) -> str:
    """What people call a limit; one of a setting by the last word of its key."""
    return label(limit.name.rpartition(".")[2]) if limit.name else capital(label(limit.key))


def _rounded(values: Iterable[float]) -> list[float | None]:
    """To the digits a picture needs; null where there is no answer."""
    return [float(f"{x:.{_DIGITS}g}") if math.isfinite(x) else None for x in values]


def window(
    opened: Opened, result: Result, asked: Asked, aim: Aim | None, executor: Executor | None
) -> dict[str, Any]:
    """The window of two handles: which limit is broken the most at each point, where each is just met, and
    lines of one reading."""
    across, up = axes(opened, result, asked)
    made = work_out_window(result.case, across, up, (), aim=aim, executor=executor, read=asked.read[:1])
    names = [name(limit) for limit in made.limits]
    verdict = made.verdict
    return {
        "x": _rounded(made.x_values.tolist()),
        "y": _rounded(made.y_values.tolist()),
        "cells": np.where(verdict == NO_ANSWER, len(names), verdict).tolist(),
        "names": [*names, "no solution"],
        "lines": [_drawn(one, line(made, i).pieces) for i, one in enumerate(names)],
        "levels": _levels(result.case, made, next(iter(asked.read), "")),
        "now": _rounded(float(v.shown(float(held(result.case.inputs, v)[0]))) for v in (made.x, made.y)),
        "x_unit": made.x.unit,
        "y_unit": made.y.unit,
    }


def _levels(case: Case, made: Window, reading: str) -> dict[str, Any]:
    """Lines along which a reading is the same, at round values of it in the unit it is told in."""
    if not reading:
        return {"unit": "", "lines": []}
    unit, factor = told_in(reading, reading_units(case, [reading])[reading])
    values = made.readings[reading]
    known = factor * values[np.isfinite(values)]
    spread = float(np.ptp(known)) if known.size else 0.0
    if not spread > _ALIKE * float(np.abs(known).max(initial=0.0)):
        return {"unit": unit, "lines": []}
    step = lower(spread / _LEVELS)
    places = step * np.arange(math.ceil(known.min() / step), math.floor(known.max() / step) + 1)
    lines = ((place, level(made, reading, place / factor).pieces) for place in places.tolist())
    return {"unit": unit, "lines": [_drawn(number(place), pieces) for place, pieces in lines]}


def _drawn(label: str, pieces: Iterable[Iterable[Place]]) -> dict[str, Any]:
    return {"label": label, "points": [[_rounded(place) for place in piece] for piece in pieces]}


def axes(opened: Opened, result: Result, asked: Asked) -> list[tuple[str, str]]:
    """The two sliders of a window, as a window takes its axes. Raises Refused for what is no slider."""
    found, side = _found(result, (asked.x, asked.y)), _SIDE[result.case.inputs.converting is None]
    if len(found) != 2:
        raise Refused({"": "a window needs two settings"}, {})
    spans = {variable: _ends(opened, result, variable) for variable in found}
    if None in spans.values():
        raise Refused({v.key: "holds no number" for v, ends in spans.items() if ends is None}, {})
    return [
        (v.key, f"{v.text(ends[0])}:{v.text(ends[1])}:{side}")
        for v, ends in spans.items()
        if ends is not None
    ]
