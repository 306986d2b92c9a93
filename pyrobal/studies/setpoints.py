"""The plant as a problem of optimisation: settings in, goal and limits of the full balance out.

Everything is in plant units, so that what one more unit is worth needs no conversion.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final, Protocol

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.case.load import Case
from pyrobal.errors import NotSolved, Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.studies.aim import Aim
from pyrobal.studies.balances import Balances
from pyrobal.studies.limit import Limit
from pyrobal.studies.linear import Region, conflict, maximise
from pyrobal.studies.measure import reading_units
from pyrobal.studies.search import FEASIBLE, Climb, Model, climb
from pyrobal.studies.variable import Variable
from pyrobal.studies.worth import looser_end, tighter_end

_TRIALS: Final = 96  # points drawn to begin from
_APART: Final = 0.1  # of the ranges; starts nearer than that to one before are left out
_BROKEN: Final = (
    -1e12
)  # merit of a point that breaks a limit by its own scale: below that of any that does not


class Objective(Protocol):
    """What is wanted most."""

    @property
    def keys(self) -> tuple[str, ...]:
        """The readings it takes."""
        ...

    @property
    def sense(self) -> int:
        """-1 where the least of it is wanted."""
        ...

    def at(self, x: FloatN, r: Mapping[str, float], d: Mapping[str, FloatN]) -> tuple[float, FloatN]:
        """``sense`` times its value and the slopes (n,) of that, from readings and theirs."""
        ...


@dataclass(frozen=True)
class Most:
    """As much of one of the unknowns as fits (sense +1), or as little."""

    i: int
    sense: int = 1

    @property
    def keys(self) -> tuple[str, ...]:
        """It takes no reading."""
        return ()

    def at(self, x: FloatN, r: Mapping[str, float], d: Mapping[str, FloatN]) -> tuple[float, FloatN]:
        """The unknown itself."""
        return self.sense * float(x[self.i]), self.sense * np.eye(len(x))[self.i]


@dataclass(frozen=True, eq=False)
class Point:
    """Settings that were looked at.

    settings : what each was set to; value : of the goal
    readings : of every limit and of the goal; rooms : limit -> how far inside, in its unit
    feasible : every limit is kept; settled : nothing better nearby
    """

    settings: Mapping[str, float]
    value: float
    readings: Mapping[str, float]
    rooms: Mapping[Limit, float]
    feasible: bool
    settled: bool

    @property
    def broken(self) -> dict[Limit, float]:
        """Limits that are not kept, and by how much in their unit."""
        return {
            limit: -room for limit, room in self.rooms.items() if room < -FEASIBLE * limit.scale(np.zeros(1))
        }


@dataclass(frozen=True)
class Range:
    """Bounds of a limit between which one more unit of room is worth the same to 2 %.

    below, above : what it is worth past the lower and the upper one; nan where no point keeps every limit
    """

    low: float
    high: float
    below: float
    above: float


@dataclass(frozen=True, eq=False)
class Setpoints:
    """The problem for ``search.climb``.

    size : (n,) of one unit of x, in the plant unit of its setting; 1 but for what comes whole
    scales : (m,) of the limits; called : what a point is, in a message
    looked : told the value of each point, sense * -inf where it breaks a limit
    """

    balances: Balances
    objective: Objective
    limits: tuple[Limit, ...]
    region: Region
    size: FloatN
    scales: FloatN
    called: str = "settings within these ranges"
    looked: Callable[[float], object] = lambda _: None

    @staticmethod
    def of(
        case: Case,
        inputs: Inputs,
        variables: Sequence[Variable],
        objective: Objective,
        limits: Sequence[Limit],
        region: Region,
        aim: Aim | None = None,
        size: FloatN | None = None,
    ) -> Setpoints:
        """Settings of ``inputs`` within a region. Raises CaseError where the case has no such reading."""
        keys = list(dict.fromkeys((*(limit.key for limit in limits), *objective.keys)))
        size = np.ones(len(variables)) if size is None else size
        balances = Balances(inputs, tuple(variables), reading_units(case, keys, "--limit"), aim)
        scales = np.array([limit.scale(np.zeros(1)) for limit in limits])
        return Setpoints(balances, objective, tuple(limits), region, size, scales)

    @property
    def variables(self) -> tuple[Variable, ...]:
        """(n,) the settings."""
        return self.balances.variables

    def wanting(self, objective: Objective) -> Setpoints:
        """The same with another goal, of which nobody is told."""
        return dataclasses.replace(self, objective=objective, looked=lambda _: None)

    def within(self, low: FloatN, high: FloatN) -> Setpoints:
        """The same with other ends (n,)."""
        return dataclasses.replace(self, region=dataclasses.replace(self.region, low=low, high=high))

    def model(self, x: FloatN) -> Model:
        """Value, rooms and slopes at x."""
        found = self.balances.at(self._inside(x[None, :]))
        values = {key: float(value[0]) for key, value in found[0].items()}
        slopes = {key: slope[0] * self.size for key, slope in found[1].items()}
        value, gradient = self.objective.at(x * self.size, values, slopes)
        rooms = self._rooms(values) / self.scales
        falls = np.reshape([limit.sense * slopes[limit.key] for limit in self.limits], (len(rooms), len(x)))
        good = bool((rooms >= -FEASIBLE).all())
        self.looked(self.objective.sense * (value if good else -math.inf))
        return Model(value, gradient, rooms, falls / self.scales[:, None])

    def _rooms(self, readings: Mapping[str, float]) -> FloatN:
        return np.array([float(limit.room(np.array(readings[limit.key]))) for limit in self.limits])

    def _inside(self, x: Floats) -> Floats:
        """Points x (N, n) in plant units, at the ends of the region where round-off went past them."""
        return np.clip(x, self.region.low, self.region.high) * self.size

    def points(self, x: Floats) -> list[Point]:
        """Points x (N, n) in words of the trade."""
        readings, _ = self.balances.readings(self._inside(x))
        return [self._point(x[k], {key: float(r[k]) for key, r in readings.items()}) for k in range(len(x))]

    def point(self, found: Climb) -> Point:
        """Where a search ended."""
        (point,) = self.points(found.x[None, :])
        return dataclasses.replace(point, feasible=found.feasible, settled=found.settled)

    def _point(self, x: FloatN, readings: dict[str, float]) -> Point:
        rooms = self._rooms(readings)
        settings = {v.key: float(value) for v, value in zip(self.variables, x * self.size, strict=True)}
        feasible = bool((rooms / self.scales >= -FEASIBLE).all())  # false for nan
        value = self.objective.sense * self._value(x, readings)
        return Point(
            settings, value, readings, dict(zip(self.limits, rooms.tolist(), strict=True)), feasible, True
        )

    def _value(self, x: FloatN, readings: Mapping[str, float]) -> float:
        nothing = dict.fromkeys(self.balances.units, np.zeros(len(x)))
        return self.objective.at(x * self.size, readings, nothing)[0]

    @functools.cached_property
    def own(self) -> FloatN:
        """(n,) of the case as it is; nan for a setting it has no number for."""
        held = [variable.value(self.balances.inputs) for variable in self.variables]
        shown = [
            math.nan if h is None else float(v.shown(h)[0]) for v, h in zip(self.variables, held, strict=True)
        ]
        return np.array(shown) / self.size

    def trials(self) -> tuple[Floats, FloatN]:
        """Points (K, n) all over the region, and how good each is (K,): its value, or less the worse it
        breaks limits; nan without an answer. The case's own is the first where it is in the region."""
        rng = np.random.default_rng(0)
        parts = dataclasses.replace(self.region, whole=np.zeros(len(self.variables), dtype=bool))
        corners = [
            maximise(c, parts) for c in rng.normal(size=(4 * len(self.variables), len(self.variables)))
        ]
        weights = rng.dirichlet(np.full(len(corners), 0.3), _TRIALS)
        x = weights @ np.stack([corner.x for corner in corners if corner is not None])
        x = np.concatenate([self.own[None, :], x]) if parts.holds(self.own) else x
        readings, reason = self.balances.readings(self._inside(x))
        if not (reason == Reason.SOLVED).any():
            raise NotSolved(Reason(int(reason[0])), f"of no {self.called}")
        rows = [{key: float(values[k]) for key, values in readings.items()} for k in range(len(x))]
        return x, np.array([self.merit(*pair) for pair in zip(x, rows, strict=True)])

    def merit(self, x: FloatN, readings: Mapping[str, float]) -> float:
        """How good a point is: its value, below any other where it breaks limits; nan without answer."""
        broken = np.maximum(-self._rooms(readings) / self.scales, 0.0).sum()
        return float(_BROKEN * broken) if broken > 0.0 else self._value(x, readings)


def climbs(problem: Setpoints, starts: int = 1) -> list[Climb]:
    """Climbs from the case's own point and from the ``starts`` best trials that are apart, the best first."""
    x, good = problem.trials()
    chosen = [0] if np.isfinite(good[0]) else []
    width = np.maximum(problem.region.width, 1e-300)
    drawn = 0
    for k in np.argsort(-np.where(np.isfinite(good), good, -np.inf)).tolist():
        if drawn >= starts or not np.isfinite(good[k]):
            break
        if k not in chosen and all(np.abs((x[k] - x[i]) / width).max() > _APART for i in chosen):
            chosen.append(k)
            drawn += 1
    found = problem.balances.side_by_side([partial(climb, problem, x[k]) for k in chosen])
    return sorted(found, key=lambda one: one.merit, reverse=True)


def ranges(problem: Setpoints, best: Climb, slopes: FloatN) -> dict[Limit, Range]:
    """How far each limit that binds may move before it is worth something else."""
    binding = np.flatnonzero(slopes > 0.0).tolist()
    sides = [(i, side) for i in binding for side in (tighter_end, looser_end)]
    ends = problem.balances.side_by_side(
        [partial(side, problem, best, i, float(slopes[i])) for i, side in sides]
    )
    found = {}
    for i, tighter, looser in zip(binding, ends[::2], ends[1::2], strict=True):
        limit, scale = problem.limits[i], float(problem.scales[i])
        pair = [(limit.bound - limit.sense * e.more * scale, e.beyond / scale) for e in (tighter, looser)]
        (low, below), (high, above) = pair if limit.sense < 0 else pair[::-1]
        found[limit] = Range(low, high, below, above)
    return found


def quarrel(problem: Setpoints, nearest: Climb, said: Sequence[str] = ()) -> tuple[str, ...]:
    """What cannot be met together, seen from the nearest point; the ends of the settings are given.

    said : what the rows of the region say
    """
    region = problem.region
    rows = Region.of(
        region.low - nearest.x,
        region.high - nearest.x,
        np.concatenate([-nearest.model.slopes, region.A]),
        np.concatenate([nearest.model.rooms, region.b - region.A @ nearest.x]),
    )
    names = [*map(str, problem.limits), *said]
    return tuple(names[row] for row in conflict(rows, range(len(names))))


@dataclass
class Count:
    """Tells ``advance`` of each point that is looked at: how many there were, and the best so far."""

    advance: Callable[[int, float], object]
    sense: int
    done: int = 0
    best: float = -math.inf

    def __call__(self, value: float) -> None:
        self.done += 1
        if math.isfinite(value) and not self.sense * value <= self.sense * self.best:
            self.best = value
        self.advance(self.done, self.best)
