"""Aim: the setting with which a reading takes a wanted value, in every scenario at once."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import BoolN, FloatN, Floats, take
from pyrobal.case.load import Case, load_case
from pyrobal.errors import CaseError, Fault, NotSolved, Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.numerics.bracketing import root
from pyrobal.studies.grid import ends
from pyrobal.studies.measure import measured, reading_units, reading_value
from pyrobal.studies.variable import Variable, find

PROBES: Final = 17  # places where a change of sign is looked for, ends included
_ROUNDS: Final = 6  # of probing towards an edge, each 16 times closer
_MET: Final = 1e-10  # of the wanted value; a miss below that is none
_TOGETHER: Final = 512  # scenarios whose probes are solved as one batch


@dataclass(frozen=True)
class Aim:
    """``reading`` shall be ``value`` (SI) by the choice of ``by`` between ``low`` and ``high`` (SI)."""

    reading: str
    value: float
    by: Variable
    low: float
    high: float

    def solved(self, inputs: Inputs) -> tuple[FloatN, BoolN]:
        """The setting (N,) in SI, nan where nothing between the ends meets the aim; and (N,) where found.

        The range is probed at even steps, and a root enclosed in the step where the miss changes sign: the
        one nearest the setting the case has, or the lowest where it has none. Where no step does, the edges
        of the stretch that has an answer are closed in on and tried too.
        """
        n = inputs.scenarios
        probes = np.linspace(self.low, self.high, PROBES)
        misses = self._misses(inputs, np.repeat(probes[:, None], n, axis=1))
        low, high, found = self._bracket(probes, misses, self._present(inputs))
        if not found.all():
            rows = np.flatnonzero(~found)
            low[rows], high[rows], found[rows] = self._at_edges(take(inputs, rows), probes, misses[:, rows])
        x = root(lambda trial: self._miss(inputs, trial), low, high).x
        return np.where(found, x, np.nan), found & np.isfinite(x)

    def reach(self, inputs: Inputs) -> tuple[float, float] | None:
        """The least and the most of the reading (SI) at the probes, of one scenario; None without answer."""
        probes = np.linspace(self.low, self.high, PROBES)
        values = self.value + self._misses(inputs, probes[:, None])
        there = values[np.isfinite(values)]
        return (float(there.min()), float(there.max())) if there.size else None

    def _miss(self, inputs: Inputs, x: FloatN) -> FloatN:
        """How far the reading is off at settings x (N,); nothing where it is met for all purposes."""
        miss = self._misses(inputs, x[None, :])[0]
        return np.where(np.abs(miss) <= _MET * abs(self.value), 0.0, miss)

    def _misses(self, inputs: Inputs, x: Floats) -> Floats:
        """How far the reading is off at settings x (P, N); small batches are solved as one."""
        many, n = x.shape
        if n > _TOGETHER and many > 1:
            return np.concatenate([self._misses(inputs, row[None, :]) for row in x])
        repeated = take(inputs, np.tile(np.arange(n), many)) if many > 1 else inputs
        results = solve(repeated.replace(self.by.path, x.ravel()))
        return measured(results, self.reading).reshape(many, n) - self.value

    def _present(self, inputs: Inputs) -> FloatN:
        present = self.by.value(inputs)
        return np.full(1, self.low) if present is None else present

    def _bracket(self, probes: FloatN, misses: Floats, present: FloatN) -> tuple[FloatN, FloatN, BoolN]:
        """Ends (N,) of the step to search, and whether there is one: misses (PROBES, N) differ in sign."""
        sign = np.sign(misses)
        crossed = sign[:-1] * sign[1:] <= 0.0  # False where either end is nan
        middle = 0.5 * (probes[:-1] + probes[1:])
        distance = np.where(crossed, np.abs(middle[:, None] - present[None, :]), np.inf)
        step = distance.argmin(axis=0)
        return probes[step], probes[step + 1], np.asarray(crossed.any(axis=0))

    def _at_edges(self, inputs: Inputs, probes: FloatN, misses: Floats) -> tuple[FloatN, FloatN, BoolN]:
        """The same between the outermost probes with an answer and the edges beyond which there is none."""
        answered = np.isfinite(misses)
        first, last = answered.argmax(axis=0), PROBES - 1 - answered[::-1].argmax(axis=0)
        column = np.arange(misses.shape[1])
        some = answered.any(axis=0)
        low, high, found = probes[first], probes[last], np.zeros(len(column), dtype=bool)
        for inner, outer in ((first, first - 1), (last, last + 1)):
            edge, miss = self._edge(inputs, probes[inner], probes[np.clip(outer, 0, PROBES - 1)])
            hit = some & ~found & (np.sign(miss) * np.sign(misses[inner, column]) <= 0.0)
            low = np.where(hit, np.minimum(edge, probes[inner]), low)
            high = np.where(hit, np.maximum(edge, probes[inner]), high)
            found = found | hit
        return low, high, found

    def _edge(self, inputs: Inputs, inside: FloatN, outside: FloatN) -> tuple[FloatN, FloatN]:
        """The setting (N,) closest to ``outside`` that still has an answer, and the miss there."""
        column = np.arange(len(inside))
        miss = np.full(len(inside), np.nan)
        for _ in range(_ROUNDS):
            x = np.linspace(inside, outside, PROBES)
            misses = self._misses(inputs, x)
            answered = np.logical_and.accumulate(np.isfinite(misses), axis=0)
            last = np.maximum(answered.sum(axis=0) - 1, 0)
            inside, miss = x[last, column], misses[last, column]
            outside = x[np.minimum(last + 1, PROBES - 1), column]
        return inside, miss


def aiming(case: Case, aim: str, by: str) -> Aim:
    """What ``--aim READING=VALUE --by SETTING`` or ``--by SETTING=LOW:HIGH`` mean.

    Without a range, that of the setting's declaration. Raises CaseError with every fault.
    """
    faults: list[Fault] = []
    reading, equals, wanted = (part.strip() for part in aim.partition("="))
    value = 0.0
    if not equals:
        faults.append(Fault("--aim", None, "", f'"{aim}" is not READING=VALUE'))
    else:
        try:
            value = reading_value(wanted, reading_units(case, [reading], "--aim")[reading])
        except ValueError as error:
            faults.append(Fault("--aim", None, reading, str(error)))
        except CaseError as error:
            faults += error.faults
    key, _, span = (part.strip() for part in by.partition("="))
    try:
        variable = find(case.inputs, key)
        low, high = _range(variable, span)
    except ValueError as error:
        faults.append(Fault("--by", None, key, str(error)))
    if faults:
        raise CaseError(faults)
    return Aim(reading, value, variable, low, high)


def _range(variable: Variable, span: str) -> tuple[float, float]:
    if span:
        parts = span.split(":")
        if len(parts) != 2:
            raise ValueError(f'"{span}" is not LOW:HIGH')
        low, high = ends(variable, *parts)
    elif variable.low is None or variable.high is None:
        raise ValueError(f"has no upper or lower bound of its own; say {variable.key}=LOW:HIGH")
    else:
        low, high = variable.low, variable.high
    if not low < high:
        raise ValueError(f'"{span}" is an empty range; LOW must be below HIGH')
    return low, high


def aimed(case: Case, aim: Aim) -> Case:
    """The case with the setting that meets the aim. Raises NotSolved where none within its range does."""
    x, found = aim.solved(case.inputs)
    if not found.all():
        raise NotSolved(Reason.AIM_OUT_OF_REACH, _out_of_reach(case, aim))
    if "\n" in case.text and len(x) == 1:
        return load_case(case.text, [*case.overrides, f"{aim.by.key}={aim.by.text(float(x[0]))}"])
    return dataclasses.replace(case, inputs=case.inputs.replace(aim.by.path, x))


def _out_of_reach(case: Case, aim: Aim) -> str:
    """What the reading does between the ends of the setting."""
    between = f"with {aim.by.key} from {aim.by.text(aim.low, 6)} to {aim.by.text(aim.high, 6)}"
    reach = aim.reach(case.inputs)
    if reach is None:
        return f"nothing is solved {between}"
    unit = reading_units(case, [aim.reading], "--aim")[aim.reading]
    least, most = (units.write(x, unit, digits=4) for x in reach)
    return f"{aim.reading} is between {least} and {most} {between}, where it has an answer"
