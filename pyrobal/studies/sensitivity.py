"""Sensitivity: what a change of each setting does to a reading, ranked, in the words of the trade."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import Floats
from pyrobal.case.load import Case
from pyrobal.case.unused import without_effect
from pyrobal.errors import CaseError, Fault, NotSolved, Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.studies.aim import Aim, aimed
from pyrobal.studies.measure import largest, per_unit, reading_units, solved
from pyrobal.studies.tangent import Differences, differences, held, tangent
from pyrobal.studies.variable import Variable, blend_rate, find, variables

KINK: Final = 0.02  # share of the slope by which the two sides may differ before the slope is called broken
_NOISE: Final = 1e-9  # share of the largest reading of the unit, per relative change: less is rounding
_SIDE: Final = 1e5  # times that is the rounding of a difference quotient
_SHARES: Final = ("%", "wt%", "vol%")
_KELVINS: Final = 10.0  # step of a temperature
_POINT, _WHOLE = 0.01, 0.05  # step of a share, and the share below which a tenth of it is the step
_TENTH: Final = 0.1
_ROUNDING: Final = 1e-9  # relative, of a range written in plant units


@dataclass(frozen=True)
class Effect:
    """What one change does to one reading: to first order, of a count by solving with one more.

    setting : key, with * for "in every concentrate"
    step, value : of the setting, in ``unit`` (a difference of temperature in K); downwards where one upwards
        would leave its range
    change : of the reading, in its plant unit
    slope : d reading / d setting in SI; elasticity : percent per percent, nan where either is zero
    below, above : change by the same step down and up as differences show it, where the two sides of the
        present value do not agree; else None
    count : the setting counts things
    """

    setting: str
    value: float
    step: float
    unit: str
    change: float
    slope: float
    elasticity: float
    below: float | None = None
    above: float | None = None
    count: bool = False


def sensitivity(
    case: Case, readings: Sequence[str], settings: Sequence[str] = (), aim: Aim | None = None
) -> Mapping[str, tuple[Effect, ...]]:
    """For each reading the effects of settings, the greatest first; those without any are left out.

    settings : keys or beginnings of keys; all that hold a number where none is given
    aim : met before and after each change

    The slopes are exact, and counts are solved with one more and one less; each slope is held against
    difference quotients on either side, and where the reading has a kink at the present value (a fuel that
    has just gone out, a mineral that runs out) both sides are given.

    Raises CaseError for unknown keys, NotSolved where the case has no balance.
    """
    wanted = reading_units(case, readings)
    case = case if aim is None else aimed(case, aim)
    chosen = [v for v in _chosen(case.inputs, settings) if aim is None or v.key not in aim.keys]
    base = solved(case.inputs)
    if not base.solved.all():
        raise NotSolved(Reason(int(base.reason[0])))
    exact = tangent(case.inputs, chosen, list(wanted), aim)
    sides = differences(case.inputs, chosen, list(wanted), aim, whole=True)
    slopes = _by_whole_steps(chosen, exact.slopes[0], sides)
    scale = largest(base)
    found: dict[str, tuple[Effect, ...]] = {}
    for r, (key, unit) in enumerate(wanted.items()):
        value, least = float(exact.values[0, r]), _NOISE * scale.get(unit, 0.0)
        columns = np.stack([slopes[:, r], sides.below[:, r], sides.above[:, r]])
        single = [
            _effect(case.inputs, (v,), v.key, columns[:, k], value, unit, least) for k, v in enumerate(chosen)
        ]
        together = _together(case.inputs, chosen, columns, value, unit, least)
        effects = [e for e in (*single, *together) if e is not None]
        found[key] = tuple(sorted(effects, key=lambda e: -abs(e.change)))
    return found


def _by_whole_steps(chosen: Sequence[Variable], slopes: Floats, sides: Differences) -> Floats:
    """The slopes (V, R), of a count what one more of it does, or one less at the end of its range: between
    whole numbers the reading may jump, and its derivative there says nothing."""
    counts = np.array([v.count for v in chosen], dtype=bool)[:, None]
    solved = np.where(np.isnan(sides.above), sides.below, sides.above)
    return np.where(counts, solved, slopes)


def _chosen(inputs: Inputs, beginnings: Sequence[str]) -> list[Variable]:
    """Settings with a number that have an effect in this case."""
    present = dict(inputs.arrays())
    unused = tuple(without_effect(inputs))
    numbers: list[Variable] = [v for v in variables(inputs).values() if v.path in present]
    if len(inputs.concentrate) > 1:
        numbers.append(blend_rate(inputs))
    if beginnings:
        starts = {text: re.compile(re.escape(text).replace(r"\*", ".*")) for text in beginnings}
        none = [text for text, start in starts.items() if not any(start.match(v.key) for v in numbers)]
        if none:
            raise CaseError([Fault("--to", None, text, _why_none(inputs, text)) for text in none])
        return [v for v in numbers if any(start.match(v.key) for start in starts.values())]
    return [v for v in numbers if not v.key.startswith(unused)]


def _why_none(inputs: Inputs, key: str) -> str:
    try:
        held(inputs, find(inputs, key))
    except ValueError as error:
        return str(error)
    return "holds no number in this case"


def step(variable: Variable, value: float) -> float:
    """A change of the setting a person would speak of, in SI: 10 K, one of a count, one point of a share,
    else a tenth.

    Of a share below 5 % it is a tenth too; of nothing a tenth of a point, or one unit. It is negative where
    the range ends before it, and no longer than to the further end.
    """
    size = _size(variable, value)
    up = np.inf if variable.high is None else variable.high - value
    down = np.inf if variable.low is None else value - variable.low
    if size <= up * (1.0 + _ROUNDING):
        return size
    return float(-min(size, down) if down > up else up)


def _size(variable: Variable, value: float) -> float:
    if variable.count:
        return 1.0
    if variable.unit == "degC":
        return _KELVINS
    if variable.unit in _SHARES and abs(value) >= _WHOLE:
        return _POINT
    if value == 0.0:
        return _TENTH * _POINT if variable.unit in _SHARES else float(units.to_si(1.0, variable.unit))
    return _rounded(variable, _TENTH * abs(value))


def _rounded(variable: Variable, size: float) -> float:
    """The size to one digit in the plant unit."""
    shown = units.display(size, variable.unit)
    digits = -math.floor(math.log10(abs(shown)))
    return float(units.to_si(round(shown, digits), variable.unit))


def _effect(
    inputs: Inputs,
    moved: Sequence[Variable],
    name: str,
    slopes: Floats,
    reading: float,
    unit: str,
    least: float,
) -> Effect | None:
    """slopes (3,): exact, below, above. None where the setting does less than ``least`` to the reading."""
    first = moved[0]
    value = _of_blend(inputs, moved)
    size = step(first, value)
    exact, below, above = (float(x) for x in slopes)
    whole = abs(value) or size
    one_side = max((abs(x) for x in (below, above) if math.isfinite(x)), default=0.0)
    if not (abs(exact) * whole > least or one_side * whole > _SIDE * least):
        return None
    factor = size / per_unit(unit)
    sides: tuple[float | None, float | None] = (None, None)
    if _broken(exact, below, above) or first.count:
        sides = (-below * abs(factor), above * abs(factor))
    return Effect(
        name,
        float(units.display(value, first.unit)),
        size if first.unit == "degC" else float(units.display(size, first.unit)),
        "K" if first.unit == "degC" else first.unit,
        exact * factor,
        exact,
        exact * value / reading if value and reading else math.nan,
        *sides,
        first.count,
    )


def _of_blend(inputs: Inputs, moved: Sequence[Variable]) -> float:
    """The value of one setting, or what the blend has where it is the same line of every concentrate: by dry
    mass, of moisture and temperature by wet mass."""
    values = np.array([held(inputs, v)[0] for v in moved])
    if len(moved) == 1:
        return float(values[0])
    dry = (c.share if c.rate is None else c.rate for c in inputs.concentrate)
    weights = np.array([float(x[0]) for x in dry if x is not None])
    if ".assay." not in moved[0].key:
        weights = weights / (1.0 - np.array([float(c.moisture[0]) for c in inputs.concentrate]))
    return float(weights @ values / weights.sum())


def _broken(exact: float, below: float, above: float) -> bool:
    """True where the two sides disagree with each other or with the slope; a side not there says nothing."""
    there = [side for side in (below, above) if math.isfinite(side)]
    size = max(abs(side) for side in (exact, *there))
    return any(abs(side - exact) > KINK * size for side in there)


def _together(
    inputs: Inputs, chosen: Sequence[Variable], columns: Floats, reading: float, unit: str, least: float
) -> Iterator[Effect | None]:
    """The same assay line, moisture or temperature in every concentrate at once: slopes add up."""
    groups: dict[str, list[int]] = {}
    names = [concentrate.name for concentrate in inputs.concentrate]
    for k, variable in enumerate(chosen):
        for name in names:
            prefix = f"concentrate.{name}."
            if variable.key.startswith(prefix) and not variable.key.endswith((".rate", ".share")):
                groups.setdefault(f"concentrate.*.{variable.key.removeprefix(prefix)}", []).append(k)
    for name, members in groups.items():
        if len(members) == len(names) > 1:
            slopes = columns[:, members].sum(axis=1)
            yield _effect(inputs, [chosen[k] for k in members], name, slopes, reading, unit, least)
