"""Curves: a reading over the range of each of several settings in turn, all from one batched solve.

Between neighbouring points a reading is taken as a straight line; so is the room of a limit, which is just
kept where it passes through nought.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import Bools, FloatN, Floats, IntN, take
from pyrobal.case.load import Case
from pyrobal.errors import Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.studies.aim import Aim
from pyrobal.studies.limit import Limit, in_force
from pyrobal.studies.measure import reading_units
from pyrobal.studies.run import Block, Task, blocks, fingerprint
from pyrobal.studies.tangent import held
from pyrobal.studies.variable import Variable

POINTS: Final = 33
_ENRICHMENT, _AUTOGENOUS = "smelting.enrichment", "smelting.heat.autogenous_enrichment"


@dataclass(frozen=True)
class Crossing:
    """A place on a curve where something begins or ends.

    x : in the unit of the setting; what : the limit that is just met there, or the reason beyond which there
        is no answer
    """

    x: float
    what: Limit | Reason


@dataclass(frozen=True, eq=False)
class Curve:
    """A reading over one setting, the others as they are; P points, in plant units.

    x : (P,) from low to high, the present value ``now`` among them; y : (P,) nan where there is no answer
    reason : (P,) errors.Reason; rooms : (L, P) of each limit, negative where it is broken
    autogenous : where the furnace needs neither fuel nor coolant, each place
    """

    variable: Variable
    reading: str
    unit: str
    now: float
    x: FloatN
    y: FloatN
    reason: IntN
    limits: tuple[Limit, ...]
    rooms: Floats
    autogenous: tuple[float, ...]

    @property
    def feasible(self) -> Bools:
        """(P,) True where there is an answer that keeps every limit."""
        return np.asarray((self.reason == Reason.SOLVED) & (self.rooms >= 0.0).all(axis=0))

    @property
    def crossings(self) -> tuple[Crossing, ...]:
        """Where a limit is just met and where the answers end, from low to high."""
        found = [
            Crossing(x, limit)
            for limit, room in zip(self.limits, self.rooms, strict=True)
            for x in _zeros(self.x, room)
        ]
        return tuple(sorted((*found, *self._ends()), key=lambda one: one.x))

    def _ends(self) -> Iterator[Crossing]:
        """The last point with an answer beside one without."""
        solved = self.reason == Reason.SOLVED
        for i in np.flatnonzero(solved[:-1] != solved[1:]):
            inner, outer = (i, i + 1) if solved[i] else (i + 1, i)
            yield Crossing(float(self.x[inner]), Reason(int(self.reason[outer])))


def curves(
    case: Case,
    over: Mapping[Variable, tuple[float, float]],
    reading: str,
    aim: Aim | None = None,
    executor: Executor | None = None,
    points: int = POINTS,
) -> tuple[Curve, ...]:
    """A curve for each setting between two values in SI; a setting that holds no number has none.

    aim : met at every point; a setting it is met by has no curve
    Raises CaseError for a reading the case has not.
    """
    unit = reading_units(case, [reading])[reading]
    limits = in_force(case, ())
    chosen = _chosen(case.inputs, over, aim, points)
    if not chosen:
        return ()
    wanted = [reading, *(limit.key for limit in limits), *_of_heat(case.inputs)]
    block = readings_of(in_turn(case.inputs, chosen), wanted, aim, executor)
    ends = np.cumsum([0, *map(len, chosen.values())])
    return tuple(
        _curve(case, variable, (reading, unit), limits, block.readings[a:b], block.reason[a:b], x)
        for (variable, x), a, b in zip(chosen.items(), ends[:-1], ends[1:], strict=True)
    )


def _curve(
    case: Case,
    variable: Variable,
    read: tuple[str, str],
    limits: tuple[Limit, ...],
    values: Floats,
    reason: IntN,
    x: FloatN,
) -> Curve:
    """One curve; values (P, R) in SI of the reading, of what is limited, and of the heat."""
    columns = values.T[1 : 1 + len(limits)]
    rooms = [limit.room(units.display(one, limit.unit)) for limit, one in zip(limits, columns, strict=True)]
    place = np.asarray(variable.shown(x))
    beyond = values[:, -2] - values[:, -1] if _of_heat(case.inputs) else np.full(len(x), np.nan)
    return Curve(
        variable,
        *read,
        float(variable.shown(float(held(case.inputs, variable)[0]))),
        place,
        np.asarray(units.display(values[:, 0], read[1])),
        reason,
        limits,
        np.array(rooms).reshape(len(limits), len(x)),
        tuple(_zeros(place, beyond)),
    )


def readings_of(
    inputs: Inputs, keys: Sequence[str], aim: Aim | None = None, executor: Executor | None = None
) -> Block:
    """Readings of every scenario of ``inputs``, solved together."""
    task = Task(inputs, (), np.empty((inputs.scenarios, 0)), tuple(keys), aim, fingerprint())
    (block,) = blocks([task], executor)
    return block


def in_turn(inputs: Inputs, over: Mapping[Variable, FloatN]) -> Inputs:
    """One scenario for each value of each setting in SI, the other settings as one scenario has them."""
    n = sum(map(len, over.values()))
    rows, start = take(inputs, np.zeros(n, dtype=np.int64)), 0
    for variable, values in over.items():
        column = np.broadcast_to(held(rows, variable), (n,)).copy()  # with what another has moved
        column[start : start + len(values)] = values
        rows, start = variable.put(rows, column), start + len(values)
    return rows


def _chosen(
    inputs: Inputs, over: Mapping[Variable, tuple[float, float]], aim: Aim | None, points: int
) -> dict[Variable, FloatN]:
    """The values of each setting that is a number and follows no target."""
    followers = set() if aim is None else aim.keys
    found = {}
    for variable, (low, high) in over.items():
        value = variable.value(inputs)
        if value is not None and variable.key not in followers and low < high:
            found[variable] = np.unique([*np.linspace(low, high, points), float(value[0])])
            if variable.count:
                found[variable] = np.unique(np.round(found[variable]))
    return found


def _of_heat(inputs: Inputs) -> tuple[str, ...]:
    """Enrichment, and that at which the furnace is autogenous; of a plant that has a furnace."""
    return () if inputs.acid_feed is not None else (_ENRICHMENT, _AUTOGENOUS)


def _zeros(x: FloatN, room: FloatN) -> list[float]:
    """Where a room passes through nought between two neighbours."""
    found = []
    for i in range(len(x) - 1):
        a, b = float(room[i]), float(room[i + 1])
        if np.isfinite(a) and np.isfinite(b) and (a >= 0.0) != (b >= 0.0):
            found.append(float(x[i] + (x[i + 1] - x[i]) * a / (a - b)))
    return found
