"""Blend: shares of the parcels on offer for most margin, most copper, or most of a reading, within limits."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.case.load import Case
from pyrobal.studies.aim import Aim
from pyrobal.studies.blending import COPPER, MARGIN, Blending
from pyrobal.studies.limit import Goal, Limit, in_force
from pyrobal.studies.linear import conflict, maximise
from pyrobal.studies.search import Climb, climb, span, worth
from pyrobal.studies.terms import Terms

_BROKEN: Final = 1e-6  # of its bound
_USED: Final = 1e-4  # of the charge: less of a parcel is none


@dataclass(frozen=True, eq=False)
class Blend:
    """One blend that was looked at.

    rates : parcel -> t/h dry; value : of the goal, per hour where it is money or copper
    readings : key -> plant unit, of every limit and flow; rooms : limit -> how far inside
    feasible : every limit is kept; settled : nothing better nearby
    """

    rates: Mapping[str, float]
    value: float
    readings: Mapping[str, float]
    rooms: Mapping[Limit, float]
    feasible: bool
    settled: bool

    @property
    def charge(self) -> float:
        """t/h dry of all parcels."""
        return sum(self.rates.values())

    @property
    def used(self) -> list[str]:
        """Parcels there is more of than none."""
        return [name for name, rate in self.rates.items() if rate > _USED * self.charge]


@dataclass(frozen=True)
class Range:
    """Bounds of a limit, in its plant unit, between which one more unit of room is worth the same to 2 %.

    below, above : what it is worth past the lower and the upper one; nan where no blend keeps every limit
    """

    low: float
    high: float
    below: float
    above: float


@dataclass(frozen=True, eq=False)
class Advice:
    """The best blend and what stands in its way.

    goal : "margin", "copper", or the Goal; terms : what was offered
    limit_worth : limit -> what one more plant unit of room adds to the value
    limit_range : binding limit -> the bounds between which it is worth that
    charge_worth : what one more t/h of the whole blend adds, or takes where it is forced up (negative)
    parcel_worth : parcel -> what one more t/h of it adds: positive where there is no more of it, negative
        where it is left out or forced in
    most : parcel -> t/h of it that could be taken within every limit, whatever it costs
    without : parcel of the best blend -> the best blend without it, the best of these first
    taking : parcel -> the best blend that takes as much of it as fits, where the best one takes less
    conflict : what cannot be met together, where no blend is feasible; ``best`` is then the nearest
    error : share of the goal's slope that the binding limits do not account for, zero at an exact optimum
    """

    goal: str | Goal
    terms: Terms
    best: Blend
    limit_worth: Mapping[Limit, float] = field(default_factory=dict)
    limit_range: Mapping[Limit, Range] = field(default_factory=dict)
    charge_worth: float = 0.0
    parcel_worth: Mapping[str, float] = field(default_factory=dict)
    most: Mapping[str, float] = field(default_factory=dict)
    without: Mapping[str, Blend] = field(default_factory=dict)
    taking: Mapping[str, Blend] = field(default_factory=dict)
    conflict: tuple[str, ...] = ()
    error: float = 0.0

    def standing(self, limit: Limit) -> str:
        """What a limit does to the best blend: broken, binds, or kept."""
        if self.best.rooms[limit] < -_BROKEN * abs(limit.bound):
            return "broken"
        return "binds" if self.limit_worth.get(limit, 0.0) else "kept"


def blend(
    case: Case,
    terms: Terms,
    limits: Sequence[Limit] = (),
    goal: str | Goal | None = None,
    aim: Aim | None = None,
    advance: Callable[[int, float], object] | None = None,
) -> Advice:
    """Choose the rate of each parcel of ``terms``.

    goal : "margin" where copper has a price, else "copper"; a Goal for most or least of a reading
    limits : beside those of the case
    aim : met by its setting in every blend
    advance : told how many blends were looked at and the best value so far, -inf where none keeps the limits

    A linear program over the whole range, from the derivatives of the full balance, gives the first step; it
    is repeated on the balance of each blend it finds until nothing better is near. A few dozen random blends
    are tried as starts too. Raises CaseError where the parcels cannot make up the charge, NotSolved where
    no blend of them has a balance.
    """
    goal = goal if goal is not None else (MARGIN if terms.copper_price is not None else COPPER)
    limits = in_force(case, limits)
    problem = Blending.of(case, terms, limits, goal, aim)
    if advance is not None:
        problem = dataclasses.replace(problem, looked=_Count(advance, problem.sense))
    found = _best(problem)
    if not found.feasible:
        return Advice(goal, terms, _described(problem, found), conflict=_conflict(problem, found))
    value = worth(problem, found)
    best = _described(problem, found)
    most = {p.name: max(_most(problem, found, i), 0.0) for i, p in enumerate(terms.parcels)}
    without = apart(_without(problem, best), [best])
    return Advice(
        goal,
        terms,
        best,
        dict(zip(limits, value.rooms / problem.scales, strict=True)),
        _ranges(problem, found, value.rooms),
        float(value.bounds[0] - value.bounds[1]),
        {p.name: float(m - s) for p, m, s in zip(terms.parcels, value.most, value.least, strict=True)},
        most,
        without,
        apart(_taking(problem, best, most), [best, *without.values()]),
        error=value.error,
    )


@dataclass
class _Count:
    """Tells ``advance`` of each point that is looked at."""

    advance: Callable[[int, float], object]
    sense: int
    done: int = 0
    best: float = -math.inf

    def __call__(self, value: float) -> None:
        self.done += 1
        if math.isfinite(value) and not self.sense * value <= self.sense * self.best:
            self.best = value
        self.advance(self.done, self.best)


def _described(problem: Blending, found: Climb) -> Blend:
    """A point of the search in words of the trade."""
    readings = {key: float(values[0]) for key, values in problem.readings_at(found.x[None, :])[0].items()}
    rooms = {limit: float(limit.room(np.array(readings[limit.key]))) for limit in problem.limits}
    rates = {p.name: float(max(x, 0.0)) for p, x in zip(problem.terms.parcels, found.x, strict=True)}
    value = problem.value_of(found.x, readings)
    return Blend(rates, value, readings, rooms, found.feasible, found.settled)


def _best(problem: Blending) -> Climb:
    """The better of climbs from the case's own blend and from the best of the trials."""
    x, good = problem.trials()
    starts = dict.fromkeys([int(np.nanargmax(good)), *([0] if np.isfinite(good[0]) else [])])
    climbs = [climb(problem, x[i]) for i in starts]
    return max(
        climbs, key=lambda c: (c.feasible, c.model.value if c.feasible else c.model.rooms.clip(max=0).sum())
    )


def _ranges(problem: Blending, best: Climb, slopes: FloatN) -> dict[Limit, Range]:
    """How far each limit that binds may move before it is worth something else."""
    found = {}
    for i, (limit, scale) in enumerate(zip(problem.limits, problem.scales.tolist(), strict=True)):
        if slopes[i] > 0.0:
            ends = [(limit.bound - limit.sense * end.more * scale, end.beyond / scale)
                    for end in span(problem, best, i, float(slopes[i]))]  # fmt: skip
            (low, below), (high, above) = ends if limit.sense < 0 else ends[::-1]
            found[limit] = Range(low, high, below, above)
    return found


def _most(problem: Blending, best: Climb, i: int) -> float:
    """t/h of one parcel that can be taken within every limit."""
    found = climb(dataclasses.replace(problem, only=i), best.x)
    return float(found.x[i] if found.feasible else best.x[i])


def _without(problem: Blending, best: Blend) -> dict[str, Blend]:
    """The best blends that leave out a parcel of the best one, where the others make up the charge."""
    found = {}
    for i, parcel in enumerate(problem.terms.parcels):
        if parcel.name in best.used and parcel.least == 0.0:
            high = problem.high.copy()
            high[i] = 0.0
            if maximise(0 * high, problem.A, problem.b, problem.low, high) is not None:
                other = dataclasses.replace(problem, high=high)
                climbed = _best(other)
                if climbed.feasible:
                    found[parcel.name] = _described(other, climbed)
    return dict(sorted(found.items(), key=lambda item: -problem.sense * item[1].value))


def _taking(problem: Blending, best: Blend, most: Mapping[str, float]) -> dict[str, Blend]:
    """What the best blend becomes when as much of a parcel is taken as fits."""
    found = {}
    for i, parcel in enumerate(problem.terms.parcels):
        if most[parcel.name] - best.rates[parcel.name] > _USED * best.charge:
            low = problem.low.copy()
            low[i] = most[parcel.name] * (1.0 - _USED)
            climbed = _best(dataclasses.replace(problem, low=low))
            if climbed.feasible:
                found[parcel.name] = _described(problem, climbed)
    return found


def apart(blends: Mapping[str, Blend], shown: Sequence[Blend]) -> dict[str, Blend]:
    """The blends that repeat neither one that is ``shown`` already nor each other."""
    known, found = list(shown), {}
    for name, blend in blends.items():
        if not any(_alike(blend, other) for other in known):
            found[name] = blend
            known.append(blend)
    return found


def _alike(one: Blend, other: Blend) -> bool:
    return all(abs(rate - other.rates[name]) <= _USED * one.charge for name, rate in one.rates.items())


def _conflict(problem: Blending, nearest: Climb) -> tuple[str, ...]:
    """Limits that cannot be met together, seen from the nearest blend; the parcels on offer are given."""
    rows = np.concatenate([-nearest.model.slopes, problem.A])
    bounds = np.concatenate([nearest.model.rooms, problem.b - problem.A @ nearest.x])
    low, high = problem.low - nearest.x, problem.high - nearest.x
    most, least = (
        f"a charge of at {word} {abs(bound):.4g} t/h"
        for word, bound in zip(("most", "least"), problem.b, strict=True)
    )
    names = [*map(str, problem.limits), most, least]
    return tuple(names[row] for row in conflict(rows, bounds, low, high, range(len(names))))
