"""How much of a parcel is taken at which price: a step curve.

Worked out on the derivatives at the plan, with the bins and whole parcels of the plan: a step that lies far
from the parcel's own price is a guide, and a plan at that price settles it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.studies.linear import Region, maximise
from pyrobal.studies.plan.program import Program
from pyrobal.studies.search import Climb

_WIDEST: Final = 1.5  # times its cost, up to which a price is looked at
_MOST: Final = 12  # steps of one curve
_SAME: Final = 1e-6  # of the tonnes or of the money


@dataclass(frozen=True)
class Step:
    """``tonnes`` are taken at prices up to ``price``, money per dry tonne."""

    price: float
    tonnes: float


@dataclass(frozen=True, eq=False)
class _Linear:
    """The program at the plan, in which one parcel has another price."""

    gradient: FloatN
    region: Region
    i: int
    tonnes: float

    def at(self, price: float) -> tuple[float, float]:
        """Tonnes taken, and the value without what they cost."""
        c = self.gradient - price * self.tonnes * (np.arange(len(self.gradient)) == self.i)
        found = maximise(c, self.region)
        if found is None:  # the plan itself is in it, but for round-off
            return 0.0, 0.0
        taken = self.tonnes * float(found.x[self.i])
        return taken, found.value + price * taken


def curve(problem: Program, best: Climb, p: int) -> tuple[Step, ...]:
    """The steps of parcel number p from the highest price down; one step where price decides nothing.

    Two prices between which the tonnes differ: where their values meet, a third one lies on the curve
    (Eisner & Severance 1976, J. ACM 23, 619-635).
    """
    T, L, _ = problem.shape
    i, one = T * L + p, problem.plan.deliveries[p]
    region, model = problem.region.at(best.x), best.model
    comes_whole = one.whole and not one.firm
    if comes_whole:
        region.low[i], region.high[i] = 0.0, 1.0
    rooms = np.maximum(model.rooms, 0.0) + model.slopes @ -best.x
    rows = Region.of(
        region.low,
        region.high,
        np.vstack([region.A, -model.slopes]),
        np.concatenate([region.b, rooms]),
        (np.arange(len(best.x)) == i) & comes_whole,
    )
    gradient = model.gradient + (np.arange(len(best.x)) == i) * float(problem.costs[p]) * one.tonnes
    line = _Linear(gradient, rows, i, one.tonnes)
    top = _WIDEST * max(float(problem.costs[p]), 1.0)
    return tuple(_steps(line, (0.0, *line.at(0.0)), (top, *line.at(top)), _MOST))


def _steps(
    line: _Linear, low: tuple[float, float, float], high: tuple[float, float, float], left: int
) -> list[Step]:
    """Steps between two prices, each with its tonnes and value."""
    (p1, q1, v1), (p2, q2, v2) = low, high
    if abs(q1 - q2) <= _SAME * line.tonnes:
        return [Step(p2, q1)]
    meet = min(max((v1 - v2) / (q1 - q2), p1), p2)
    q, v = line.at(meet)
    gained = (v - meet * q) - (v1 - meet * q1)
    if left <= 0 or gained <= _SAME * abs(v1) or min(abs(q - q1), abs(q - q2)) <= _SAME * line.tonnes:
        return [Step(meet, q1), Step(p2, q2)]
    lower, upper = _steps(line, low, (meet, q, v), left - 1), _steps(line, (meet, q, v), high, left - 1)
    return [*lower[:-1], *upper]
