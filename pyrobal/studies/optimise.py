"""Optimise: settings within ranges for the most or least of a reading, within limits."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Final

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.case.load import Case
from pyrobal.errors import CaseError, Fault
from pyrobal.studies.aim import setting_range
from pyrobal.studies.limit import Goal, Limit, in_force
from pyrobal.studies.linear import Region
from pyrobal.studies.search import Climb, Model, Seen, climb
from pyrobal.studies.setpoints import Count, Point, Range, Setpoints, climbs, quarrel, ranges
from pyrobal.studies.variable import Variable, find
from pyrobal.studies.worth import worth

STARTS: Final = 3  # of the trials, beside today's point
GIVEN_UP: Final = 0.01  # of the value: what a flat optimum may cost
_SAME: Final = 1e-4  # of the value; climbs that end nearer together have found the same


@dataclass(frozen=True)
class Move:
    """One setting on the way from today's point, and where that leaves the goal.

    broken : limits that are not kept between this move and the next
    """

    key: str
    before: float
    after: float
    value: float
    broken: tuple[Limit, ...]


@dataclass(frozen=True, eq=False)
class Setpoint:
    """One setting: unit, range, today's value and the best, in plant units.

    slope : what one more unit of it adds to the goal today, the others as they are
    worth : what one more unit of its range adds at the best point, where it ends there; else 0
    flat : the values between which it may be held while the goal loses at most ``GIVEN_UP``, the others
        following, every limit kept
    """

    variable: Variable
    low: float
    high: float
    today: float
    best: float
    slope: float
    worth: float = 0.0
    flat: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False)
class Best:
    """The best settings, and what stands in the way of better ones.

    today, best : the case as it is, and the best point; where none keeps every limit, the nearest
    limit_worth : limit -> what one more plant unit of room adds to the goal; limit_range : where that holds
    path : the settings one by one, each time the one that helps most
    starts, alike : how many climbs there were, and how many of them ended at the best value
    conflict : what cannot be met together, where no point is feasible
    error : share of the goal's slope that the binding limits do not account for
    """

    goal: Goal
    settings: tuple[Setpoint, ...]
    today: Point
    best: Point
    limit_worth: Mapping[Limit, float] = field(default_factory=dict)
    limit_range: Mapping[Limit, Range] = field(default_factory=dict)
    path: tuple[Move, ...] = ()
    starts: int = 0
    alike: int = 0
    conflict: tuple[str, ...] = ()
    error: float = 0.0

    def standing(self, limit: Limit) -> str:
        """What a limit does to the best point: broken, binds, or kept."""
        if limit in self.best.broken:
            return "broken"
        return "binds" if self.limit_worth.get(limit, 0.0) else "kept"


def optimise(
    case: Case,
    by: Sequence[str],
    goal: Goal,
    limits: Sequence[Limit] = (),
    advance: Callable[[int, float], object] | None = None,
) -> Best:
    """Choose settings for the most or least of a reading.

    by : "KEY=LOW:HIGH" each, or "KEY" where the setting has a range of its own
    limits : beside those of the case
    advance : told how many points were looked at and the best value so far
    Raises CaseError with every fault, NotSolved where no point of the ranges has a balance.
    """
    variables, low, high = _varied(case, by)
    limits = in_force(case, limits, [variable.key for variable in variables])
    problem = Setpoints.of(case, case.inputs, variables, goal, limits, Region.of(low, high))
    if advance is not None:
        problem = dataclasses.replace(problem, looked=Count(advance, goal.sense))
    found = climbs(problem, STARTS)
    best = found[0]
    today, here = problem.points(problem.own[None, :])[0], problem.model(problem.own)
    settings = [
        Setpoint(v, *ends, goal.sense * slope)
        for v, ends, slope in zip(
            variables, zip(low, high, problem.own, best.x, strict=True), here.gradient, strict=True
        )
    ]
    if not best.feasible:
        names = quarrel(problem, best)
        return Best(goal, tuple(settings), today, problem.point(best), conflict=names, starts=len(found))
    value = worth(problem, best)
    gains = goal.sense * (value.most - value.least)
    alike = [
        c
        for c in found
        if c.feasible and abs(c.model.value - best.model.value) <= _SAME * abs(best.model.value)
    ]
    around: list[Callable[[], Any]] = [
        lambda: ranges(problem, best, value.rooms),
        lambda: _flats(problem, best),
    ]
    limit_range, flats = problem.balances.side_by_side(around)
    return Best(
        goal,
        tuple(
            dataclasses.replace(one, worth=float(gain), flat=flat)
            for one, gain, flat in zip(settings, gains, flats, strict=True)
        ),
        today,
        problem.point(best),
        dict(zip(limits, (value.rooms / problem.scales).tolist(), strict=True)),
        limit_range,
        _path(problem, best),
        len(found),
        len(alike),
        error=value.error,
    )


def _varied(case: Case, by: Sequence[str]) -> tuple[list[Variable], FloatN, FloatN]:
    """The settings and the ends of their ranges in plant units."""
    found: dict[str, tuple[Variable, float, float]] = {}
    faults = []
    for text in by:
        key, _, span = (part.strip() for part in text.partition("="))
        try:
            variable = find(case.inputs, key)
            if variable.value(case.inputs) is None:
                raise ValueError("the case has no number for it; write one first, or with --set")
            if variable.count:
                raise ValueError("counts things, which come whole; compare them with sweep")
            if key in found:
                raise ValueError("is given twice")
            low, high = (float(variable.shown(end)) for end in setting_range(variable, span))
            found[key] = variable, low, high
        except ValueError as error:
            faults.append(Fault("--by", None, key, str(error)))
    if not by:
        faults.append(Fault("--by", None, "", "name a setting to move, KEY=LOW:HIGH"))
    if faults:
        raise CaseError(faults)
    variables, low_ends, high_ends = zip(*found.values(), strict=True)
    return list(variables), np.array(low_ends), np.array(high_ends)


def _flats(problem: Setpoints, best: Climb) -> list[tuple[float, float]]:
    """How far each setting may be held away from the best while the goal loses little and limits are kept."""
    scale = GIVEN_UP * abs(best.model.value) or 1.0
    least = best.model.value - scale

    def held(i: int, sense: float, x: FloatN) -> Model:
        found = problem.model(x)
        return Model(
            sense * float(x[i]),
            sense * np.eye(len(x))[i],
            np.append(found.rooms, (found.value - least) / scale),
            np.vstack([found.slopes, found.gradient / scale]),
        )

    sides = [(i, sense) for i in range(len(best.x)) for sense in (-1.0, 1.0)]
    ends = problem.balances.side_by_side(
        [partial(climb, Seen(problem.region, partial(held, i, sense)), best.x) for i, sense in sides]
    )
    found = [float((end.x if end.feasible else best.x)[i]) for (i, _), end in zip(sides, ends, strict=True)]
    return list(zip(found[::2], found[1::2], strict=True))


def _path(problem: Setpoints, best: Climb) -> tuple[Move, ...]:
    """From today's point setting by setting, each time the one that then leaves the plant best off."""
    x, moves = problem.own.copy(), []
    left = [i for i in range(len(x)) if abs(best.x[i] - x[i]) > 1e-6 * problem.region.width[i]]
    while left:
        tried = np.tile(x, (len(left), 1))
        tried[np.arange(len(left)), left] = best.x[left]
        points = problem.points(tried)
        k = max(range(len(left)), key=lambda k: problem.merit(tried[k], points[k].readings))
        i = left.pop(k)
        broken = tuple(points[k].broken)
        moves.append(Move(problem.variables[i].key, float(x[i]), float(best.x[i]), points[k].value, broken))
        x = tried[k]
    return tuple(moves)
