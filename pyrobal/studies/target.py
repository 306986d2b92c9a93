"""A target: one reading that shall take a value by the choice of one setting, in every scenario at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal.arrays import BoolN, FloatN, Floats, take
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.numerics.bracketing import rise, root
from pyrobal.studies.measure import measured
from pyrobal.studies.variable import Variable

PROBES: Final = 17  # places where a change of sign is looked for, ends included
_ROUNDS: Final = 6  # of probing towards an edge, each 16 times closer
_MET: Final = 1e-10  # of the wanted value; a miss below that is none
_TOGETHER: Final = 512  # scenarios whose probes are solved as one batch
_STRETCH: Final = 1e-6  # of the range; a target that holds over less is met at a point


@dataclass(frozen=True, eq=False)
class Meeting:
    """Where a target is met, (N,) each.

    x : setting in SI, nan where nothing between the ends meets it; found : where something does
    low, high : the stretch of the setting over which it holds, both ``x`` where it is a point
    """

    x: FloatN
    found: BoolN
    low: FloatN
    high: FloatN


@dataclass(frozen=True)
class Target:
    """``reading`` shall be ``value`` (SI) by the choice of ``by`` between ``low`` and ``high`` (SI).

    noise : round-off of the reading in SI: a smaller miss is none where a stretch is looked for
    """

    reading: str
    value: float
    by: Variable
    low: float
    high: float
    noise: float = 0.0

    def solved(self, inputs: Inputs) -> Meeting:
        """The setting in every scenario.

        The range is probed at even steps, and a root enclosed in the step where the miss changes sign: the
        one nearest the setting the case has, or the lowest where it has none. Where no step does, the edges
        of the stretch that has an answer are closed in on and tried too. Where the target holds over a
        stretch, the setting is its end at which the reading begins to change.
        """
        n = inputs.scenarios
        probes = np.linspace(self.low, self.high, PROBES)
        misses = self._misses(inputs, np.repeat(probes[:, None], n, axis=1))
        misses = np.where(np.abs(misses) <= self._least, 0.0, misses)
        present = self._present(inputs)
        low, high, found = self._bracket(probes, misses, present)
        if not found.all():
            rows = np.flatnonzero(~found)
            low[rows], high[rows], found[rows] = self._at_edges(take(inputs, rows), probes, misses[:, rows])
        x = root(lambda trial: self._miss(inputs, trial), low, high).x
        found = found & np.isfinite(x)
        return self._stretched(inputs, np.where(found, x, np.nan), found, probes, misses)

    def reach(self, inputs: Inputs) -> tuple[float, float] | None:
        """The least and the most of the reading (SI) at the probes, of one scenario; None without answer."""
        probes = np.linspace(self.low, self.high, PROBES)
        values = self.value + self._misses(inputs, probes[:, None])
        there = values[np.isfinite(values)]
        return (float(there.min()), float(there.max())) if there.size else None

    @property
    def _least(self) -> float:
        """A miss that is no more than round-off."""
        return max(_MET * abs(self.value), self.noise)

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
        results = solve(self.by.put(repeated, x.ravel()))
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

    def _stretched(self, inputs: Inputs, x: FloatN, found: BoolN, probes: FloatN, misses: Floats) -> Meeting:
        """The meeting at x (N,), moved to an end of the stretch around it where the target holds over one."""
        beside = np.clip(
            x + _STRETCH * (self.high - self.low) * np.array([[-1.0], [1.0]]), self.low, self.high
        )
        with np.errstate(invalid="ignore"):
            flat = (np.abs(self._misses(inputs, beside)) <= self._least) & (beside != x)
        at, low, high = x.copy(), x.copy(), x.copy()
        rows = np.flatnonzero(found & flat.any(axis=0))
        if rows.size:
            part = take(inputs, rows)
            low[rows], left = self._end(part, x[rows], probes, misses[:, rows], -1)
            high[rows], right = self._end(part, x[rows], probes, misses[:, rows], 1)
            at[rows] = self._chosen(part, low[rows], left, high[rows], right)
        return Meeting(at, found, low, high)

    def _end(
        self, inputs: Inputs, x: FloatN, probes: FloatN, misses: Floats, side: int
    ) -> tuple[FloatN, BoolN]:
        """How far the target holds to one side of x (n,), and whether the reading changes beyond."""
        last, beyond, change = _run(x, probes, misses, side)
        if not change.any():
            return last, change
        edge = rise(lambda trial: self._over(inputs, trial), last, beyond)
        change = change & np.isfinite(edge)
        return np.where(change, edge, last), change

    def _chosen(self, inputs: Inputs, low: FloatN, left: BoolN, high: FloatN, right: BoolN) -> FloatN:
        """The end where the reading changes, of two the one nearer to the present setting; that, if none."""
        present = np.broadcast_to(self._present(inputs), low.shape)
        nearer = np.where(np.abs(low - present) <= np.abs(high - present), low, high)
        end = np.where(left & right, nearer, np.where(left, low, high))
        return np.where(left | right, end, np.clip(present, low, high))

    def _over(self, inputs: Inputs, x: FloatN) -> FloatN:
        """How far the miss at x (N,) is beyond round-off."""
        return np.abs(self._misses(inputs, x[None, :])[0]) - self._least

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


def _run(x: FloatN, probes: FloatN, misses: Floats, side: int) -> tuple[FloatN, FloatN, BoolN]:
    """To one side of x (N,): the last probe of the run of met ones beside it (x itself where there is none),
    the first beyond it, and whether the reading is something else there."""
    last, beyond = x.copy(), x.copy()
    change = np.zeros(len(x), dtype=bool)
    for i in np.flatnonzero(np.isfinite(x)):
        row = np.flatnonzero((probes - x[i]) * side > 0.0)[::side]
        met = misses[row, i] == 0.0
        count = len(row) if met.all() else int(met.argmin())
        last[i] = probes[row[count - 1]] if count else x[i]
        if count < len(row):
            beyond[i], change[i] = probes[row[count]], bool(np.isfinite(misses[row[count], i]))
    return last, beyond, change
