"""What a limit is worth at an optimum, and the bounds between which it is worth that."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.studies.search import Climb, Problem, Seen, climb, room_wanted, with_room

_ROUNDS: Final = 80
_SAME: Final = 0.02  # share by which what a limit is worth may change and still count as the same
_SMOOTH: Final = 0.05  # of the way: tangents that meet so near the middle are of a smooth curve
_NARROW: Final = 1e-3  # of the way to a kink: nearer than that it is found
_EXCHANGES: Final = 100  # of each multiplier at most: where many limits meet in a corner they take turns


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

    region, x, model = problem.region.at(climbed.x), climbed.x, climbed.model
    width = np.maximum(region.width, 1e-300)
    unit = np.eye(len(x))
    groups = (
        (-model.slopes, model.rooms <= near),
        (region.A, region.b - region.A @ x <= near * (1.0 + np.abs(region.b))),
        (unit, region.high - x <= near * width),
        (-unit, x - region.low <= near * width),
    )
    gradient = model.gradient * width  # scaled so that every variable runs from 0 to 1
    matrix = np.concatenate([normals[met] for normals, met in groups]) * width
    found, left = np.zeros(0), float(np.linalg.norm(gradient))
    if matrix.size:
        found, left = nnls(matrix.T, gradient, maxiter=_EXCHANGES * len(matrix))
    parts, at = [], 0
    for normals, met in groups:
        part = np.zeros(len(normals))
        part[met] = found[at : at + met.sum()]
        at += int(met.sum())
        parts.append(part)
    rooms, bounds, most, least = parts
    return Worth(rooms, bounds, most, least, float(left) / (float(np.linalg.norm(gradient)) or 1.0))


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


def tighter_end(problem: Problem, best: Climb, i: int, slope: float) -> End:
    """How far limit i may be tightened and still be worth ``slope`` to 2 %, found by solving.

    The best value over the room of a limit is a curve of nearly straight pieces; two of its tangents meet at
    or near a kink, where the next is drawn (Eisner & Severance 1976, J. ACM 23, 619-635).
    """
    most = climb(Seen.of(problem, lambda m: room_wanted(m, i)), best.x)
    tightest = _with_room(problem, most.x, i, -max(most.model.value, 0.0))
    return _kink(problem, best, i, slope, tightest, math.nan)


def looser_end(problem: Problem, best: Climb, i: int, slope: float) -> End:
    """The same for more room, as far as the optimum without the limit."""
    free = climb(Seen.of(problem, lambda m: with_room(m, i, math.inf)), best.x)
    room = float(problem.model(free.x).rooms[i])
    return _kink(problem, best, i, slope, _Optimum(max(-room, 0.0), free.model.value, 0.0), 0.0)


def _kink(problem: Problem, best: Climb, i: int, slope: float, far: _Optimum, beyond: float) -> End:
    """The end on the way from the best to ``far``, past which ``beyond`` is known."""
    near, last = _Optimum(0.0, best.model.value, slope), far.more
    if far.more == 0.0 or _same(far.slope, slope):
        return End(far.more, beyond)
    at = far.more
    for _ in range(_ROUNDS):
        at = _edge(near, far, slope)
        if min(abs(at - near.more), abs(at - far.more)) <= _NARROW * abs(at):
            break
        found = _with_room(problem, best.x, i, at)
        if _same(found.slope, slope):
            near = found
        else:
            far = found
    if abs(at - last) <= _NARROW * abs(last):
        return End(at, beyond)
    return End(at, _changed(slope, far) if _smooth(near, far) else far.slope)


def _same(one: float, other: float) -> bool:
    return abs(one - other) <= _SAME * abs(other)


def _meeting(near: _Optimum, far: _Optimum) -> float:
    """Where the tangents of two optima meet, as a share of the way; nan where they are parallel."""
    apart, bend = far.more - near.more, far.slope - near.slope
    return (near.value - far.value + far.slope * apart) / (bend * apart) if bend else math.nan


def _smooth(near: _Optimum, far: _Optimum) -> bool:
    """Whether the slope seems to change evenly between them, and not at a kink."""
    return abs(_meeting(near, far) - 0.5) <= _SMOOTH


def _changed(slope: float, far: _Optimum) -> float:
    """What no longer counts as the same worth, towards that of ``far``."""
    return slope + math.copysign(_SAME * slope, far.slope - slope)


def _edge(near: _Optimum, far: _Optimum, slope: float) -> float:
    """Where two optima let expect another worth than ``slope``; halfway where that is not between them."""
    if _smooth(near, far):
        share = (_changed(slope, far) - near.slope) / (far.slope - near.slope)
    else:
        share = _meeting(near, far)
    share = min(max(share, 0.0), 1.0) if -_SAME <= share <= 1.0 + _SAME else 0.5
    return near.more + share * (far.more - near.more)


def _with_room(problem: Problem, start: FloatN, i: int, more: float) -> _Optimum:
    """The best with more room to limit i."""
    moved = Seen.of(problem, lambda m: with_room(m, i, more))
    found = climb(moved, start)
    return _Optimum(more, found.model.value, float(worth(moved, found).rooms[i]))
