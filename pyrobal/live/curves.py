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
from pyrobal.live.settings import Settings
from pyrobal.report.labels import capital, label
from pyrobal.report.result import Result, told_in
from pyrobal.studies.aim import Aim
from pyrobal.studies.curves import Crossing, Curve
from pyrobal.studies.curves import curves as work_out
from pyrobal.studies.edges import line
from pyrobal.studies.limit import Limit, in_force
from pyrobal.studies.tangent import held
from pyrobal.studies.variable import Variable, find
from pyrobal.studies.window import NO_ANSWER
from pyrobal.studies.window import window as work_out_window

_POINTS: Final = {True: 33, False: 17}  # of a curve, of a furnace and of a whole plant
_SIDE: Final = {True: 41, False: 25}  # points along a window, likewise
_DIGITS: Final = 7


def curves(
    file: Case, result: Result, asked: Asked, aim: Aim | None, executor: Executor | None
) -> dict[str, Any]:
    """A curve of the reading for each key that holds a number and follows nothing.

    file : the case without changes, which the sliders are made for
    """
    over = {variable: _ends(file, result, variable) for variable in _found(result, asked.keys)}
    reading = next(iter(asked.read), "")
    ranges = {variable: ends for variable, ends in over.items() if ends}
    points = _POINTS[file.inputs.converting is None]
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


def _ends(file: Case, result: Result, variable: Variable) -> tuple[float, float] | None:
    """Where a slider goes, in SI: as the file's case has it, and to the value it has now."""
    now = Settings(result.case.inputs)
    value, of_file = now.held(variable.key), Settings(file.inputs)
    if value is None:
        return None
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
    file: Case, result: Result, asked: Asked, aim: Aim | None, executor: Executor | None
) -> dict[str, Any]:
    """The window of two handles: which limit is broken the most at each point, and where each is just met."""
    found = _found(result, (asked.x, asked.y))
    if len(found) != 2:
        raise Refused({"": "a window needs two settings"}, {})
    case = result.case
    if not in_force(case, ()):
        raise Refused({"": "the case has no [[limit]], so every point with an answer is feasible"}, {})
    side = _SIDE[case.inputs.converting is None]
    axes = [(v.key, _axis(file, result, v, side)) for v in found]
    made = work_out_window(case, axes[0], axes[1], (), aim=aim, executor=executor)
    names = [name(limit) for limit in made.limits]
    verdict = made.verdict
    return {
        "x": _rounded(made.x_values.tolist()),
        "y": _rounded(made.y_values.tolist()),
        "cells": np.where(verdict == NO_ANSWER, len(names), verdict).tolist(),
        "names": [*names, "no solution"],
        "lines": [
            {"label": one, "points": [[_rounded(place) for place in piece] for piece in line(made, i).pieces]}
            for i, one in enumerate(names)
        ],
        "now": _rounded(float(v.shown(float(held(case.inputs, v)[0]))) for v in found),
        "x_unit": made.x.unit,
        "y_unit": made.y.unit,
    }


def _axis(file: Case, result: Result, variable: Variable, side: int) -> str:
    """Its slider, as a window takes an axis. Raises Refused for a setting that holds a word."""
    ends = _ends(file, result, variable)
    if ends is None:
        raise Refused({variable.key: "holds no number"}, {})
    return f"{variable.text(ends[0])}:{variable.text(ends[1])}:{side}"
