"""The best of a smooth problem by a row of linear ones, each trusted only nearby.

Sequential linear programming with an exact penalty and a trust region: Fletcher & Sainz de la Maza 1989,
Math. Prog. 43, 235-256; Nocedal & Wright 2006, Numerical Optimization, ch. 18. Blends are close to linear in
their parcels, so few rounds are needed, and the optimum mostly lies where limits meet.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final, Protocol

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.studies.linear import maximise

_ROUNDS: Final = 80
_CLOSE: Final = 1e-9  # of the objective's range: less is no gain
_SMALLEST: Final = 1e-7  # of a variable's range: a smaller step settles nothing
_PENALTY: Final = 10.0  # times the objective's range, for breaking a limit by its own scale
_SAME: Final = 0.02  # share by which what a limit is worth may change and still count as the same
_NARROW: Final = 1e-3  # of the way to a kink: nearer than that it is found
_GOOD, _POOR = 0.75, 0.25  # share of the promised gain that came true, to trust further or less far


@dataclass(frozen=True, eq=False)
class Model:
    """A problem seen from x: objective and rooms with their slopes; nan where it has no answer.

    rooms : (m,) each over its scale, negative where a limit is broken; slopes : (m, n)
    """

    value: float
    gradient: FloatN
    rooms: FloatN
    slopes: Floats


class Problem(Protocol):
    """Maximise a value with all rooms >= 0, A x <= b and low <= x <= high."""

    @property
    def low(self) -> FloatN:
        """(n,) finite."""
        ...

    @property
    def high(self) -> FloatN:
        """(n,) finite."""
        ...

    @property
    def A(self) -> Floats:
        """(k, n)."""
        ...

    @property
    def b(self) -> FloatN:
        """(k,)."""
        ...

    def model(self, x: FloatN) -> Model:
        """Value, rooms and slopes at x (n,)."""
        ...


@dataclass(frozen=True, eq=False)
class Climb:
    """x : (n,) the best found; feasible : every limit is kept; settled : nothing better is near."""

    x: FloatN
    model: Model
    feasible: bool
    settled: bool


FEASIBLE: Final = 1e-7  # of its scale; a limit broken by less is kept


def climb(problem: Problem, start: FloatN) -> Climb:
    """The best point that can be reached from ``start`` (n,), which must have an answer.

    Where the limits cannot all be kept it ends where they are broken the least in sum.
    """
    x, here = start, problem.model(start)
    width = problem.high - problem.low
    reach, settled = 1.0, False
    for _ in range(_ROUNDS):
        scale = float(np.abs(here.gradient) @ width) or 1.0
        step, promised = _step(problem, x, here, reach * width, _PENALTY * scale)
        if promised <= _CLOSE * scale or reach < _SMALLEST:
            settled = True
            break
        there = problem.model(x + step)
        gain = _merit(there, _PENALTY * scale) - _merit(here, _PENALTY * scale)
        if gain > 0.0:  # false for nan
            x, here = x + step, there
        if not gain >= _POOR * promised:
            reach /= 4.0
        elif gain > _GOOD * promised:
            reach = min(2.0 * reach, 1.0)
    if not settled:
        x, here, settled = _polished(problem, x, here)
    return Climb(x, here, bool((here.rooms >= -FEASIBLE).all()), settled)


class _NoAnswer(Exception):
    """The search has come to a point without an answer."""


def _polished(problem: Problem, x: FloatN, here: Model) -> tuple[FloatN, Model, bool]:
    """The same by quadratic programs, for an optimum that curvature rounds off: SLSQP (Kraft 1988, DFVLR-FB
    88-28) as scipy carries it. Where it finds nothing better the point stands."""
    from scipy import optimize

    @functools.lru_cache(maxsize=8)
    def model(point: bytes) -> Model:
        found = problem.model(np.frombuffer(point))
        if not np.isfinite(found.value):
            raise _NoAnswer
        return found

    def at(z: FloatN) -> Model:
        return model(np.ascontiguousarray(z, dtype=float).tobytes())

    scale = float(np.abs(here.gradient) @ (problem.high - problem.low)) or 1.0
    limits: list[Any] = [optimize.LinearConstraint(problem.A, -np.inf, problem.b)] if len(problem.A) else []
    if len(here.rooms):
        limits.append(
            optimize.NonlinearConstraint(lambda z: at(z).rooms, 0.0, np.inf, jac=lambda z: at(z).slopes)
        )
    options = {"maxiter": _ROUNDS, "ftol": 1e-12}
    ends = list(zip(problem.low.tolist(), problem.high.tolist(), strict=True))
    try:
        minimize: Any = optimize.minimize
        found = minimize(
            lambda z: float(-at(z).value / scale), x, jac=lambda z: -at(z).gradient / scale, method="SLSQP",
            bounds=ends, constraints=limits, options=options,
        )  # fmt: skip
        there = at(found.x)
    except _NoAnswer:
        return x, here, False
    if _merit(there, _PENALTY * scale) > _merit(here, _PENALTY * scale):
        return np.asarray(found.x), there, bool(found.success)
    return x, here, False


def _step(problem: Problem, x: FloatN, here: Model, reach: FloatN, penalty: float) -> tuple[FloatN, float]:
    """The step of the linear problem, and the gain in merit it promises.

    Unknowns: the step, and for each limit how far it is broken, at a price.
    """
    n, m = len(x), len(here.rooms)
    rows = np.block([[problem.A, np.zeros((len(problem.A), m))], [-here.slopes, -np.eye(m)]])
    bounds = np.concatenate([problem.b - problem.A @ x, here.rooms])
    c = np.concatenate([here.gradient, np.full(m, -penalty)])
    worst = 1.0 + np.abs(here.rooms) + np.abs(here.slopes) @ (problem.high - problem.low)
    low = np.concatenate([np.maximum(problem.low - x, -reach), np.zeros(m)])
    high = np.concatenate([np.minimum(problem.high - x, reach), worst])
    found = maximise(c, rows, bounds, np.minimum(low, 0.0), np.maximum(high, 0.0))
    if found is None:  # A x <= b holds only to round-off
        return np.zeros(n), 0.0
    broken = np.maximum(-here.rooms, 0.0).sum()
    return found.x[:n], found.value + penalty * float(broken)


def _merit(model: Model, penalty: float) -> float:
    return model.value - penalty * float(np.maximum(-model.rooms, 0.0).sum())


@dataclass(frozen=True, eq=False)
class Worth:
    """What one more unit adds to the value at an optimum; never negative.

    rooms : (m,) of each limit; bounds : of A x <= b; most, least : (n,) of each variable's own ends
    error : share of the gradient that no limit accounts for, zero at an exact optimum
    """

    rooms: FloatN
    bounds: FloatN
    most: FloatN
    least: FloatN
    error: float


def worth(problem: Problem, climbed: Climb, near: float = 1e-5) -> Worth:
    """Multipliers of the limits that are met, by non-negative least squares."""
    from scipy.optimize import nnls

    x, model = climbed.x, climbed.model
    width = np.maximum(problem.high - problem.low, 1e-300)
    unit = np.eye(len(x))
    groups = (
        (-model.slopes, model.rooms <= near),
        (problem.A, problem.b - problem.A @ x <= near * (1.0 + np.abs(problem.b))),
        (unit, problem.high - x <= near * width),
        (-unit, x - problem.low <= near * width),
    )
    gradient = model.gradient * width  # scaled so that every variable runs from 0 to 1
    matrix = np.concatenate([normals[met] for normals, met in groups]) * width
    found, left = nnls(matrix.T, gradient) if matrix.size else (np.zeros(0), float(np.linalg.norm(gradient)))
    parts, at = [], 0
    for normals, met in groups:
        part = np.zeros(len(normals))
        part[met] = found[at : at + met.sum()]
        at += int(met.sum())
        parts.append(part)
    rooms, bounds, most, least = parts
    return Worth(rooms, bounds, most, least, float(left) / (float(np.linalg.norm(gradient)) or 1.0))


@dataclass(frozen=True, eq=False)
class Seen:
    """A problem of which the model is seen otherwise: a limit moved, left out, or made the goal."""

    low: FloatN
    high: FloatN
    A: Floats
    b: FloatN
    model: Callable[[FloatN], Model]

    @staticmethod
    def of(problem: Problem, seen: Callable[[Model], Model]) -> Seen:
        return Seen(problem.low, problem.high, problem.A, problem.b, lambda x: seen(problem.model(x)))


@dataclass(frozen=True)
class End:
    """Where what a limit is worth changes.

    more : room it has gained there, over its scale; negative where it was tightened
    beyond : what it is worth past that; nan where no point keeps every limit
    """

    more: float
    beyond: float


@dataclass(frozen=True, eq=False)
class _Optimum:
    """more : room given to a limit; value : of the best with it; slope : its change with that room."""

    more: float
    value: float
    slope: float


def span(problem: Problem, best: Climb, i: int, slope: float) -> tuple[End, End]:
    """The ends, tighter and looser, between which limit i is worth ``slope`` to 2 %, found by solving.

    The best value over the room of a limit is a curve of nearly straight pieces; two of its tangents meet at
    or near a kink, where the next is drawn (Eisner & Severance 1976, J. ACM 23, 619-635).
    """
    here = _Optimum(0.0, best.model.value, slope)
    free = climb(Seen.of(problem, lambda m: _moved(m, i, math.inf)), best.x)
    room = float(problem.model(free.x).rooms[i])
    loosest = _Optimum(max(-room, 0.0), free.model.value, 0.0)
    most = climb(Seen.of(problem, lambda m: _room_of(m, i)), best.x)
    tightest = _with_room(problem, most.x, i, -max(most.model.value, 0.0))
    return _kink(problem, best, i, here, tightest, math.nan), _kink(problem, best, i, here, loosest, 0.0)


def _kink(problem: Problem, best: Climb, i: int, here: _Optimum, far: _Optimum, beyond: float) -> End:
    """The end on the way from ``here`` to ``far``, past which ``beyond`` is known."""
    slope, near, last = here.slope, here, far.more
    if far.more == 0.0 or _same(far.slope, slope):
        return End(far.more, beyond)
    at = far.more
    for _ in range(_ROUNDS):
        at = _meeting(near, far)
        if min(abs(at - near.more), abs(at - far.more)) <= _NARROW * abs(at):
            break
        found = _with_room(problem, best.x, i, at)
        if _same(found.slope, slope):
            near = found
        else:
            far = found
    return End(at, beyond if abs(at - last) <= _NARROW * abs(last) else far.slope)


def _same(one: float, other: float) -> bool:
    return abs(one - other) <= _SAME * abs(other)


def _meeting(near: _Optimum, far: _Optimum) -> float:
    """Where the tangents of two optima meet; halfway where that is not between them."""
    apart = far.more - near.more
    bend = near.slope - far.slope
    share = (far.value - near.value - far.slope * apart) / (bend * apart) if bend else math.nan
    return near.more + apart * (min(max(share, 0.0), 1.0) if -_SAME <= share <= 1.0 + _SAME else 0.5)


def _with_room(problem: Problem, start: FloatN, i: int, more: float) -> _Optimum:
    """The best with more room to limit i."""
    moved = Seen.of(problem, lambda m: _moved(m, i, more))
    found = climb(moved, start)
    return _Optimum(more, found.model.value, float(worth(moved, found).rooms[i]))


def _moved(model: Model, i: int, more: float) -> Model:
    """More room before limit i; without it where that is infinite."""
    if math.isinf(more):
        return replace(model, rooms=np.delete(model.rooms, i), slopes=np.delete(model.slopes, i, axis=0))
    return replace(model, rooms=model.rooms + more * (np.arange(len(model.rooms)) == i))


def _room_of(model: Model, i: int) -> Model:
    """The room of limit i is wanted most."""
    return Model(
        float(model.rooms[i]), model.slopes[i], np.delete(model.rooms, i), np.delete(model.slopes, i, axis=0)
    )
