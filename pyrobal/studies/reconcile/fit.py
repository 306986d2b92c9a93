"""The balance that fits what was measured best, all periods at once.

A measured setting moves within its error, a measured reading is held by the balance, a fitted setting has
one value for all periods (``fit``) or one in each (``each``). The constraint of a reading y is y -
f(settings) = 0; its slopes are exact (``studies.tangent``). What was not measured stays as the case has it.
"""

from __future__ import annotations

import fnmatch
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from pyrobal.arrays import FloatN, Floats, take
from pyrobal.case.load import Case
from pyrobal.case.unused import without_effect
from pyrobal.errors import CaseError, Fault, Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.numerics.reconcile import SQUARES, Block, Measurement, Point, Reconciled, reconcile
from pyrobal.studies.grid import ends, varied
from pyrobal.studies.measure import measured as reading_of
from pyrobal.studies.measure import solved
from pyrobal.studies.reconcile.measured import Column, Measured
from pyrobal.studies.tangent import tangent
from pyrobal.studies.variable import Variable, find, variables

_CLOSE: Final = 1e-3  # of a standard deviation: nobody asks for more of a plant
_ROUNDING: Final = 1e-9  # relative; a reading that a setting moves by less it does not move
_ENOUGH: Final = 0.01  # of the sum of squares, of which chance alone makes hundreds


@dataclass(frozen=True)
class Fitted:
    """A setting to be fitted, between ``low`` and ``high`` in SI."""

    variable: Variable
    start: float
    low: float
    high: float


@dataclass(frozen=True)
class Offset:
    """An error allowed for: in column ``column``, in all periods or in one."""

    column: int
    period: int | None


@dataclass(frozen=True, eq=False)
class Problem:
    """What is measured and what is fitted, over T periods.

    settings, readings : places in ``measured.columns``; stocks are in neither
    correlation : (n, n) of all columns
    """

    inputs: Inputs
    measured: Measured
    fit: tuple[Fitted, ...]
    each: tuple[Fitted, ...]
    settings: tuple[int, ...]
    readings: tuple[int, ...]
    correlation: Floats
    offsets: tuple[Offset, ...] = ()

    @property
    def periods(self) -> int:
        """T."""
        return len(self.measured.periods)

    @property
    def variables(self) -> list[Variable]:
        """What moves: measured settings, settings of each period, fitted settings."""
        own = [self.measured.columns[i].variable for i in self.settings]
        return [*(v for v in own if v is not None), *(f.variable for f in (*self.each, *self.fit))]

    @property
    def keys(self) -> list[str]:
        """The readings that are held."""
        return [self.measured.columns[j].key for j in self.readings]

    def read(self, t: int) -> list[int]:
        """Numbers, among the readings, of those measured in period ``t``."""
        return [k for k, j in enumerate(self.readings) if np.isfinite(self.measured.columns[j].values[t])]

    def index(self, t: int) -> list[int]:
        """For each column, its place in x of period ``t``; -1 where it was not measured."""
        place = [-1] * len(self.measured.columns)
        for k, i in enumerate(self.settings):
            if np.isfinite(self.measured.columns[i].values[t]):
                place[i] = k
        for k, r in enumerate(self.read(t)):
            place[self.readings[r]] = len(self.settings) + k
        return place

    def offset(self, t: int, column: int, shared: FloatN) -> float:
        """What the errors allowed for add to a measurement; shared : (fit + offsets,)."""
        added = zip(self.offsets, shared[len(self.fit) :], strict=True)
        return float(sum(size for o, size in added if o.column == column and o.period in (None, t)))

    def measurements(self) -> list[Measurement]:
        """One for each period. A setting not measured in a period is taken as in the others, with their
        scatter."""
        return [self._measurement(t) for t in range(self.periods)]

    def _measurement(self, t: int) -> Measurement:
        columns = self.measured.columns
        told = [_or_as_usual(columns[i], t) for i in self.settings]
        at = [*self.settings, *(self.readings[r] for r in self.read(t))]
        told += [(float(columns[i].values[t]), float(columns[i].deviation[t])) for i in at[len(told) :]]
        value, deviation = np.array(told).reshape(len(at), 2).T
        return Measurement(value, self.correlation[np.ix_(at, at)] * np.outer(deviation, deviation))

    def model(self) -> Model:
        """The balance as constraints."""
        return Model(self)


def _or_as_usual(column: Column, t: int) -> tuple[float, float]:
    if np.isfinite(column.values[t]):
        return float(column.values[t]), float(column.deviation[t])
    others = column.values[np.isfinite(column.values)]
    scatter = float(np.var(others, ddof=1)) if len(others) > 1 else 0.0
    return float(others.mean()), float(np.sqrt(np.nanmean(column.deviation) ** 2 + scatter))


@dataclass(frozen=True, eq=False)
class Model:
    """The balance of every period as blocks of constraints; it puts each point onto them."""

    problem: Problem

    def points(self, x: Sequence[FloatN], own: Sequence[FloatN], shared: FloatN) -> list[Point] | None:
        """Where the balance of each period ends up; None where one has none."""
        p = self.problem
        s = self._settings(x, shared)
        inner = np.array([_clipped(p.each, o) for o in own]).reshape(p.periods, len(p.each))
        results = solve(scenarios(p, s, self._fitted(inner, shared)))
        values = np.array([reading_of(results, key) for key in p.keys]).reshape(len(p.keys), p.periods).T
        if not all(np.isfinite(values[t, p.read(t)]).all() for t in range(p.periods)):
            return None
        return [self._point(t, s[t], inner[t], values[t], shared) for t in range(p.periods)]

    def blocks(self, points: Sequence[Point], shared: FloatN) -> list[Block]:
        """The same with exact slopes."""
        p = self.problem
        s = self._settings([point.x for point in points], shared)
        inner = np.array([point.own for point in points]).reshape(p.periods, len(p.each))
        inputs = scenarios(p, s, self._fitted(inner, shared))
        found = tangent(inputs, p.variables, p.keys)
        size = np.column_stack([s, self._fitted(inner, shared)])  # (T, V)
        moves = np.abs(found.slopes * size[:, :, None]) > _ROUNDING * np.abs(found.values[:, None, :])
        slopes = np.where(moves, found.slopes, 0.0)
        return [self._block(t, point, slopes[t]) for t, point in enumerate(points)]

    def _fitted(self, inner: Floats, shared: FloatN) -> Floats:
        fit = len(self.problem.fit)
        return np.hstack([inner, np.broadcast_to(shared[:fit], (len(inner), fit))])

    def _point(self, t: int, s: FloatN, own: FloatN, values: FloatN, shared: FloatN) -> Point:
        p = self.problem
        true = [*s, *values[p.read(t)]]
        at = [*p.settings, *(p.readings[r] for r in p.read(t))]
        off = [p.offset(t, i, shared) for i in at]
        return Point(np.array(true) + off, own, np.zeros(len(p.read(t))))

    def _settings(self, x: Sequence[FloatN], shared: FloatN) -> Floats:
        """(T, s) true values: within their ranges, without the errors allowed for."""
        p = self.problem
        columns = [p.measured.columns[i] for i in p.settings]
        off = [[p.offset(t, i, shared) for i in p.settings] for t in range(p.periods)]
        found = np.array([row[: len(p.settings)] for row in x]).reshape(
            p.periods, len(p.settings)
        ) - np.array(off).reshape(p.periods, len(p.settings))
        for k, column in enumerate(columns):
            v = column.variable
            if v is not None:
                found[:, k] = (
                    np.clip(found[:, k], v.low, v.high) if (v.low, v.high) != (None, None) else found[:, k]
                )
        return found

    def _block(self, t: int, point: Point, slopes: Floats) -> Block:
        p = self.problem
        read, n = p.read(t), len(p.settings)
        J = slopes[:, read].T  # (m, settings + each + fit)
        A = np.hstack([-J[:, :n], np.eye(len(read))])
        C = np.hstack([-J[:, n + len(p.each) :], np.zeros((len(read), len(p.offsets)))])
        place = p.index(t)
        for k, o in enumerate(p.offsets):
            if o.period in (None, t) and place[o.column] >= 0:
                C[:, len(p.fit) + k] = -A[:, place[o.column]]
        return Block(point, A, -J[:, n : n + len(p.each)], C)


def _clipped(fitted: Sequence[Fitted], values: FloatN) -> FloatN:
    return np.array([np.clip(x, f.low, f.high) for f, x in zip(fitted, values, strict=True)])


def scenarios(problem: Problem, settings: Floats, fitted: Floats) -> Inputs:
    """The periods as scenarios: measured settings (T, s), then those of each period and the fitted (T, each
    + fit)."""
    rows: Inputs = take(problem.inputs, np.zeros(problem.periods, dtype=np.int64))
    return varied(rows, problem.variables, np.hstack([settings, fitted]))


def fitted_settings(case: Case, texts: Sequence[str], option: str) -> list[Fitted]:
    """What --fit or --each ask for, "KEY" or "KEY=LOW:HIGH". Raises CaseError with every fault."""
    found: list[Fitted] = []
    faults: list[Fault] = []
    for text in texts:
        key, _, span = (part.strip() for part in text.partition("="))
        try:
            if any(f.variable.key == key for f in found):
                raise ValueError("is given twice")
            found.append(_fitted(case, key, span))
        except ValueError as error:
            faults.append(Fault(option, None, key, str(error)))
    if faults:
        raise CaseError(faults)
    return found


def _fitted(case: Case, key: str, span: str) -> Fitted:
    variable = find(case.inputs, key)
    if (why := without_effect(case.inputs).get(key)) is not None:
        raise ValueError(f"is not free in this case: {why}")
    value = variable.value(case.inputs)
    if value is None:
        raise ValueError("holds no number in this case; give it one with --set to begin from")
    low = -np.inf if variable.low is None else variable.low
    high = np.inf if variable.high is None else variable.high
    if span:
        if span.count(":") != 1:
            raise ValueError(f'"{span}" is not LOW:HIGH')
        low, high = ends(variable, *span.split(":"))
        if not low < high:
            raise ValueError(f'"{span}" is an empty range; LOW must be below HIGH')
    return Fitted(variable, float(np.clip(value[0], low, high)), float(low), float(high))


def problem_of(
    case: Case,
    measured: Measured,
    fit: Sequence[Fitted],
    each: Sequence[Fitted],
    correlation: Floats | None = None,
) -> Problem:
    """Everything put together. Raises CaseError where a setting is both measured and fitted, or both
    fitted."""
    keys = [f.variable.key for f in fit]
    faults = [
        Fault("--each", None, f.variable.key, "is fitted with one value for all periods already")
        for f in each if f.variable.key in keys
    ]  # fmt: skip
    keys += [f.variable.key for f in each]
    faults += [
        Fault("--fit", None, c.key, "is a column, so it is found from its measurement; --drop it to fit it")
        for c in measured.columns if c.variable is not None and c.key in keys
    ]  # fmt: skip
    together = [*keys, *(c.key for c in measured.columns if c.variable is not None)]
    faults += [
        Fault(measured.file, None, key, f"is moved by {wide} already, which moves all in proportion; use one")
        for wide in together if "*" in wide
        for key in together if key != wide and fnmatch.fnmatchcase(key, wide)
    ]  # fmt: skip
    if faults:
        raise CaseError(faults)
    columns = _with_twins(case, measured.columns, keys)
    n = len(columns)
    settings = tuple(i for i, c in enumerate(columns) if c.variable is not None)
    readings = tuple(i for i, c in enumerate(columns) if c.variable is None and not c.stock)
    return Problem(
        case.inputs, replace(measured, columns=columns), tuple(fit), tuple(each), settings, readings,
        np.eye(n) if correlation is None else correlation,
    )  # fmt: skip


def _with_twins(case: Case, columns: Sequence[Column], fitted: Sequence[str]) -> tuple[Column, ...]:
    """A reading that does nothing but repeat a setting (a matte grade asked for) measures that setting.

    Whichever column comes first does; a second one is a reading of it.
    """
    taken = {c.variable.key for c in columns if c.variable is not None} | set(fitted)
    twins, found = _twins(case, [c.key for c in columns if c.variable is None and not c.stock]), []
    for column in columns:
        variable = None if column.variable is not None else twins.get(column.key)
        if variable is not None and variable.key not in taken:
            taken.add(variable.key)
            column = replace(column, variable=variable)
        found.append(column)
    return tuple(found)


def _twins(case: Case, keys: Sequence[str]) -> dict[str, Variable]:
    """Reading -> the setting of its section that it repeats: the same value, and a slope of one."""
    base, unused = solved(case.inputs), without_effect(case.inputs)
    numbers = dict(case.inputs.arrays())
    free = [v for v in variables(case.inputs).values() if v.key not in unused and v.path in numbers]
    alike: dict[str, list[Variable]] = {}
    for key in keys:
        value, section = float(reading_of(base, key)[0]), key.partition(".")[0]
        same = [v for v in free if abs(float(numbers[v.path][0]) - value) <= 1e-12 * abs(value)]
        if same := [v for v in same if v.key.startswith(f"{section}.")]:
            alike[key] = same
    moved = list({v.key: v for found in alike.values() for v in found}.values())
    if not moved:
        return {}
    slopes = tangent(case.inputs, moved, list(alike)).slopes[0]
    return {
        key: v
        for k, (key, found) in enumerate(alike.items())
        for v in found
        if abs(slopes[moved.index(v), k] - 1.0) < 1e-9
    }


def without_answer(problem: Problem) -> dict[int, str]:
    """Periods that have no balance as measured, each with the reason."""
    p = problem
    values = np.array([m.value[: len(p.settings)] for m in p.measurements()]).reshape(
        p.periods, len(p.settings)
    )
    start = np.array([f.start for f in (*p.each, *p.fit)])
    results = solve(scenarios(p, values, np.broadcast_to(start, (p.periods, len(start)))))
    found = np.array([reading_of(results, key) for key in p.keys]).reshape(len(p.keys), p.periods)
    out: dict[int, str] = {}
    for t in range(p.periods):
        if not np.isfinite(found[p.read(t), t]).all():
            reason = Reason(int(np.broadcast_to(results.reason, (p.periods,))[t]))
            out[t] = reason.text if reason is not Reason.SOLVED else "a reading has no value there"
    return out


def fitted(
    problem: Problem,
    loss: str = SQUARES,
    start: Reconciled | None = None,
    progress: Callable[[int], object] = lambda _: None,
) -> Reconciled | None:
    """The fit; None where the start has no answer.

    start : an earlier answer with fewer errors allowed for
    """
    p = problem
    measurements = p.measurements()
    own = [np.array([f.start for f in p.each])] * p.periods
    shared = np.array([f.start for f in p.fit])
    if start is not None:
        own, shared = [b.own for b in start.blocks], start.shared
    shared = np.concatenate([shared, np.zeros(len(p.fit) + len(p.offsets) - len(shared))])
    open_ended = np.full(len(p.offsets), np.inf)
    low = np.concatenate([[f.low for f in p.fit], -open_ended])
    high = np.concatenate([[f.high for f in p.fit], open_ended])
    return reconcile(measurements, p.model(), own, shared, low, high, loss, _CLOSE, _ENOUGH, progress)
