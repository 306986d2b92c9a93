"""The best of a smooth problem by a row of linear ones, each trusted only nearby.

Sequential linear programming with an exact penalty and a trust region: Fletcher & Sainz de la Maza 1989,
Math. Prog. 43, 235-256; Nocedal & Wright 2006, Numerical Optimization, ch. 18. Blends are close to linear in
their parcels, so few rounds are needed, and the optimum mostly lies where limits meet.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any, Final, Protocol

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.studies.linear import maximise

_ROUNDS: Final = 80
_CLOSE: Final = 1e-9  # of the objective's range: less is no gain
_SMALLEST: Final = 1e-7  # of a variable's range: a smaller step settles nothing
_PENALTY: Final = 10.0  # times the objective's range, for breaking a limit by its own scale
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
