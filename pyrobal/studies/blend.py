"""Blend: shares of the parcels on offer for most margin, most copper, or most of a reading, within limits."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Final

from pyrobal.case.load import Case
from pyrobal.studies.aim import Aim
from pyrobal.studies.blending import COPPER, MARGIN, blending, cost
from pyrobal.studies.limit import Goal, Limit, in_force
from pyrobal.studies.search import Climb, climb
from pyrobal.studies.setpoints import Count, Most, Point, Range, Setpoints, climbs, quarrel, ranges
from pyrobal.studies.terms import Terms
from pyrobal.studies.worth import worth

_BROKEN: Final = 1e-6  # of its bound
_USED: Final = 1e-4  # of the charge: less of a parcel is none


class Blend(Point):
    """One blend that was looked at; its value is per hour where that is money or copper."""

    @property
    def rates(self) -> dict[str, float]:
        """Parcel -> t/h dry."""
        return dict(self.settings)

    @property
    def charge(self) -> float:
        """t/h dry of all parcels."""
        return sum(self.settings.values())

    @property
    def used(self) -> list[str]:
        """Parcels there is more of than none."""
        return [name for name, rate in self.settings.items() if rate > _USED * self.charge]


@dataclass(frozen=True, eq=False)
class Advice:
    """The best blend and what stands in its way.

    goal : "margin", "copper", or the Goal; terms : what was offered
    limit_worth : limit -> what one more plant unit of room adds to the value
    limit_range : binding limit -> the bounds between which it is worth that
    charge_worth : what one more t/h of the whole blend adds, or takes where it is forced up (negative)
    parcel_worth : parcel -> what one more t/h of it adds: positive where there is no more of it, negative
        where it is left out or forced in
    breaks_even : parcel -> money per dry tonne that it may cost to be worth it, where margin is wanted
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
    breaks_even: Mapping[str, float] = field(default_factory=dict)
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
    if goal is None:
        goal = COPPER if terms.market.copper_price is None else MARGIN
    limits = in_force(case, limits)
    problem = blending(case, terms, limits, goal, aim)
    if advance is not None:
        problem = dataclasses.replace(problem, looked=Count(advance, problem.objective.sense))
    found = climbs(problem)[0]
    best = _blend(problem, found)
    if not found.feasible:
        return Advice(goal, terms, best, conflict=_conflict(problem, found))
    value = worth(problem, found)
    names = [p.name for p in terms.parcels]
    gains = dict(zip(names, ((value.most - value.least) / problem.size).tolist(), strict=True))
    around: list[Callable[[], Any]] = [  # they know nothing of each other
        lambda: ranges(problem, found, value.rooms),
        lambda: _without(problem, terms, best),
        lambda: _taking(problem, best, found),
    ]
    limit_range, without, (most, taking) = problem.balances.side_by_side(around)
    without = apart(without, [best])
    return Advice(
        goal,
        terms,
        best,
        dict(zip(limits, value.rooms / problem.scales, strict=True)),
        limit_range,
        float(value.bounds[0] - value.bounds[1]),
        gains,
        _breaks_even(problem, terms, gains) if goal == MARGIN else {},
        most,
        without,
        apart(taking, [best, *without.values()]),
        error=value.error,
    )


def _blend(problem: Setpoints, found: Climb) -> Blend:
    """A point of the search, by parcel."""
    point = problem.point(found)
    names = [variable.path.split(".", 1)[1].removesuffix(".rate") for variable in problem.variables]
    rates = dict(zip(names, point.settings.values(), strict=True))
    return Blend(**{**vars(point), "settings": rates})


def _breaks_even(problem: Setpoints, terms: Terms, gains: Mapping[str, float]) -> dict[str, float]:
    """Price of each parcel that does not come whole, less which it would be taken, or more of it."""
    return {
        p.name: cost(problem.balances.inputs, p.name, p.contract, terms.market) + gains[p.name]
        for p in terms.parcels
        if not p.whole
    }


def _without(problem: Setpoints, terms: Terms, best: Blend) -> dict[str, Blend]:
    """The best blends that leave out a parcel of the best one, where the others make up the charge."""
    others = {}
    for i, parcel in enumerate(terms.parcels):
        if parcel.name in best.used and parcel.least == 0.0:
            high = problem.region.high.copy()
            high[i] = 0.0
            other = problem.within(problem.region.low, high)
            if not other.region.empty:
                others[parcel.name] = other
    climbed = problem.balances.side_by_side([partial(climbs, other) for other in others.values()])
    found = {
        name: _blend(other, first)
        for (name, other), (first, *_) in zip(others.items(), climbed, strict=True)
        if first.feasible
    }
    return dict(sorted(found.items(), key=lambda item: -problem.objective.sense * item[1].value))


def _taking(problem: Setpoints, best: Blend, found: Climb) -> tuple[dict[str, float], dict[str, Blend]]:
    """Parcel -> t/h of it that can be taken within every limit; and, where that is more than the best blend
    takes, what the best blend becomes with so much of it."""
    names = list(best.rates)
    searches = [partial(_with_most, problem, best, found, i) for i in range(len(names))]
    pairs = dict(zip(names, problem.balances.side_by_side(searches), strict=True))
    others = {name: other for name, (_, other) in pairs.items() if other is not None}
    return {name: most for name, (most, _) in pairs.items()}, others


def _with_most(problem: Setpoints, best: Blend, found: Climb, i: int) -> tuple[float, Blend | None]:
    """t/h of one parcel that can be taken, and the best blend that takes it."""
    most = climb(problem.wanting(Most(i)), found.x)
    rate = max(float((most.x if most.feasible else found.x)[i] * problem.size[i]), 0.0)
    if rate - list(best.rates.values())[i] <= _USED * best.charge:
        return rate, None
    low = problem.region.low.copy()
    low[i] = rate * (1.0 - _USED) / problem.size[i]
    climbed = climbs(problem.within(low, problem.region.high))[0]
    return rate, _blend(problem, climbed) if climbed.feasible else None


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


def _conflict(problem: Setpoints, nearest: Climb) -> tuple[str, ...]:
    """Limits that cannot be met together, seen from the nearest blend; the parcels on offer are given."""
    bounds = zip(("most", "least"), problem.region.b.tolist(), strict=True)
    return quarrel(
        problem, nearest, [f"a charge of at {word} {abs(bound):.4g} t/h" for word, bound in bounds]
    )
