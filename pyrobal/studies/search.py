"""The best of a smooth problem by a row of linear ones, each trusted only nearby.

Sequential linear programming with an exact penalty and a trust region: Fletcher & Sainz de la Maza 1989,
Math. Prog. 43, 235-256; Nocedal & Wright 2006, Numerical Optimization, ch. 18. Blends are close to linear in
their parcels, so few rounds are needed, and the optimum mostly lies where limits meet. Whole numbers are
chosen by a mixed-integer program over the whole range, and everything else for them, in turn, until both
agree (outer approximation, Duran & Grossmann 1986, Math. Prog. 36, 307-339; here with the last program only).
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Final, Protocol

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.studies.linear import Region, maximise

_ROUNDS: Final = 80
_PATTERNS: Final = 12  # choices of whole numbers that are looked at
_CLOSE: Final = 1e-9  # of the objective's range: less is no gain
_SMALLEST: Final = 1e-7  # of a variable's range: a smaller step settles nothing
_PENALTY: Final = 10.0  # times the objective's range, for breaking a limit by its own scale
_HARDER, _HARDEST = 30.0, 1e5  # what is asked next where a limit stays broken, and the last of it
_GOOD, _POOR = 0.75, 0.25  # share of the promised gain that came true, to trust further or less far
_FEW: Final = 8  # whole numbers of which each is tried by itself
_POLISHED: Final = 60  # unknowns up to which curvature is seen to


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
    """Maximise a value with all rooms >= 0 within a region."""

    @property
    def region(self) -> Region:
        """Where x may be."""
        ...

    def model(self, x: FloatN) -> Model:
        """Value, rooms and slopes at x (n,)."""
        ...


@dataclass(frozen=True, eq=False)
class Seen:
    """A problem seen otherwise: in another region, with a limit moved, left out or made the goal."""

    region: Region
    model: Callable[[FloatN], Model]

    @staticmethod
    def of(problem: Problem, seen: Callable[[Model], Model]) -> Seen:
        return Seen(problem.region, lambda x: seen(problem.model(x)))


@dataclass(frozen=True, eq=False)
class Climb:
    """x : (n,) the best found; feasible : every limit is kept; settled : nothing better is near
    gap : share of the value by which another choice of whole numbers may be better
    """

    x: FloatN
    model: Model
    feasible: bool
    settled: bool
    gap: float = 0.0

    @property
    def merit(self) -> tuple[bool, float]:
        """What makes one better than another: the value, or how little the limits are broken."""
        return self.feasible, self.model.value if self.feasible else float(self.model.rooms.clip(max=0).sum())


FEASIBLE: Final = 1e-7  # of its scale; a limit broken by less is kept


def climb(problem: Problem, start: FloatN) -> Climb:
    """The best point that can be reached from ``start`` (n,), which must have an answer.

    Where the limits cannot all be kept it ends where they are broken the least in sum.
    """
    if problem.region.whole.any():
        return _by_patterns(problem, start)
    x, here = start, problem.model(start)
    reach, penalty, settled = 1.0, _PENALTY, False
    for _ in range(_ROUNDS):
        scale = _scale(problem, here)
        step, promised, _ = _step(problem, x, here, reach, penalty * scale)
        if promised <= _CLOSE * scale or reach < _SMALLEST:
            if (here.rooms >= -FEASIBLE).all() or penalty >= _HARDEST:
                settled = True
                break
            reach, penalty = 1.0, _HARDER * penalty
            continue
        there = problem.model(x + step)
        gain = _merit(there, penalty * scale) - _merit(here, penalty * scale)
        if gain > 0.0:  # false for nan
            x, here = x + step, there
        if not gain >= _POOR * promised:
            reach /= 4.0
        elif gain > _GOOD * promised:
            reach = min(2.0 * reach, 1.0)
    if not settled and len(x) <= _POLISHED:
        x, here, settled = _polished(problem, x, here)
    return Climb(x, here, bool((here.rooms >= -FEASIBLE).all()), settled)


def _by_patterns(problem: Problem, start: FloatN) -> Climb:
    """Whole numbers by the linear problem at the best so far, then everything else for them; at last, where
    they are few, each of them one up and one down: curvature may hide what the linear problem leaves out."""
    best, gap, settled = None, 0.0, False
    x, here = start, problem.model(start)
    for _ in range(_PATTERNS):
        scale = _scale(problem, here)
        step, promised, gap = _step(problem, x, here, 1.0, _PENALTY * scale)
        found = None
        if best is None or promised > max(_CLOSE * scale, gap * abs(here.value)):
            found = _with(problem, x + step, x, here)
        if best is not None and (found is None or not found.merit > best.merit):
            found = max(_neighbours(problem, best), key=lambda one: one.merit, default=best)
            if not found.merit > best.merit:
                settled = True
                break
        assert found is not None
        best, x, here = found, found.x, found.model
    assert best is not None
    return replace(best, settled=best.settled and settled, gap=gap)


def _neighbours(problem: Problem, best: Climb) -> Iterator[Climb]:
    """The best with one whole number more, and with one less, of each."""
    places = np.flatnonzero(problem.region.whole).tolist()
    for i in places if len(places) <= _FEW else []:
        for one in (-1.0, 1.0):
            x = best.x + one * (np.arange(len(best.x)) == i)
            if problem.region.low[i] <= x[i] <= problem.region.high[i] and not problem.region.at(x).empty:
                yield _with(problem, x, best.x, best.model)


def _with(problem: Problem, whole: FloatN, x: FloatN, here: Model) -> Climb:
    """The best with whole numbers as in ``whole`` (n,), seen from x."""
    region = problem.region.at(whole)
    fixed = Seen(region, problem.model)
    inside = np.clip(x, region.low, region.high)
    step, _, _ = _step(fixed, inside, here, 1.0, _PENALTY * _scale(problem, here))
    return climb(fixed, np.clip(inside + step, region.low, region.high))


def _scale(problem: Problem, here: Model) -> float:
    """The objective's range as far as its slopes tell."""
    return float(np.abs(here.gradient) @ problem.region.width) or 1.0


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

    region, scale = problem.region, _scale(problem, here)
    limits: list[Any] = [optimize.LinearConstraint(region.A, -np.inf, region.b)] if len(region.b) else []
    if len(here.rooms):
        limits.append(
            optimize.NonlinearConstraint(lambda z: at(z).rooms, 0.0, np.inf, jac=lambda z: at(z).slopes)
        )
    options = {"maxiter": _ROUNDS, "ftol": 1e-12}
    ends = list(zip(region.low.tolist(), region.high.tolist(), strict=True))
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


def _step(
    problem: Problem, x: FloatN, here: Model, reach: float, penalty: float
) -> tuple[FloatN, float, float]:
    """The step of the linear problem, the gain in merit it promises, and the gap it leaves.

    Unknowns, from x and over the ranges but for whole ones: the step; for each limit how far it is broken, at
    a price; and one that is 1, which brings the present value, so that a gap is a share of that. What the
    problem is linear in is trusted everywhere.
    """
    region, m = problem.region, len(here.rooms)
    width = np.where(region.whole, 1.0, region.width)
    origin = np.where(region.whole, 0.0, x)
    slopes, A = here.slopes * width, region.A * width
    bounds = np.concatenate([region.b - region.A @ origin, here.rooms + here.slopes @ (x - origin)])
    rows = np.block([[A, np.zeros((len(A), m + 1))], [-slopes, -np.eye(m), np.zeros((m, 1))]])
    near = np.where(region.linear | region.whole, 1.0, reach)
    low, high = ((end - origin) / np.where(width > 0.0, width, 1.0) for end in (region.low, region.high))
    low = np.where(region.whole, low, np.minimum(np.maximum(low, -near), 0.0))
    high = np.where(region.whole, high, np.maximum(np.minimum(high, near), 0.0))
    worst = 1.0 + np.abs(here.rooms) + np.abs(here.slopes) @ region.width
    box = Region.of(
        np.concatenate([low, np.zeros(m), np.ones(1)]),
        np.concatenate([high, worst, np.ones(1)]),
        rows,
        bounds,
        np.concatenate([region.whole, np.zeros(m + 1, dtype=bool)]),
    )
    unit = _scale(problem, here)  # so that money by the million is no matter to the solver
    c = np.concatenate([here.gradient * width, np.full(m, -penalty), [abs(here.value)]])
    found = maximise(c / unit, box)
    if found is None:  # A x <= b holds only to round-off
        return np.zeros(len(x)), 0.0, 0.0
    step = origin + width * found.x[: len(x)] - x
    broken = np.maximum(-here.rooms, 0.0).sum() - found.x[len(x) : -1].sum()
    return step, float(here.gradient @ step + penalty * broken), found.gap


def _merit(model: Model, penalty: float) -> float:
    return model.value - penalty * float(np.maximum(-model.rooms, 0.0).sum())


def without_room(model: Model, i: int) -> Model:
    """The model without limit i."""
    return replace(model, rooms=np.delete(model.rooms, i), slopes=np.delete(model.slopes, i, axis=0))


def with_room(model: Model, i: int, more: float) -> Model:
    """More room before limit i; without it where that is infinite."""
    if math.isinf(more):
        return without_room(model, i)
    return replace(model, rooms=model.rooms + more * (np.arange(len(model.rooms)) == i))


def room_wanted(model: Model, i: int) -> Model:
    """The room of limit i is wanted most."""
    return replace(without_room(model, i), value=float(model.rooms[i]), gradient=model.slopes[i])
