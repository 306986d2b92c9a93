"""Window: where two settings keep every limit, which limit stands in the way elsewhere, the best point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from pyrobal import units
from pyrobal.arrays import Bools, FloatN, Floats
from pyrobal.case.load import Case
from pyrobal.errors import CaseError, Fault, Reason
from pyrobal.studies.aim import Aim
from pyrobal.studies.limit import Goal, Limit, in_force
from pyrobal.studies.run import PLANT_CHUNK, Progress, unseen
from pyrobal.studies.sweep import prepare
from pyrobal.studies.table import StudyTable
from pyrobal.studies.variable import Variable, find

Ints = npt.NDArray[np.int64]  # of any shape
FEASIBLE: Final = -1
NO_ANSWER: Final = -2
LETTERS: Final = "abcdefghijklmnopqrstuvwyz"  # of the limits in a picture; x is no answer
_AXES: Final = "--x, --y"
NEAR: Final = 0.01  # of its scale; a limit this close binds
_CHUNK, _MOST = PLANT_CHUNK, 250_000  # points solved together, and in all
_ZOOMS, _SIDE = 5, 9  # rounds of closing in on the best point, and probes a side in each


@dataclass(frozen=True, eq=False)
class Point:
    """One point of a window: the settings and every reading there, in plant units.

    rooms : limit -> how far inside, in its unit; binding : those within ``NEAR`` of their scale
    """

    x: float
    y: float
    readings: Mapping[str, float]
    rooms: Mapping[Limit, float]
    binding: tuple[Limit, ...]

    def limits_on(self, key: str) -> str:
        """The limits on a reading, and whether each binds; "" where there is none."""
        bound = (limit for limit in self.rooms if limit.key == key)
        return "; ".join(f"{limit}{', binds' if limit in self.binding else ''}" for limit in bound)


@dataclass(frozen=True, eq=False)
class Window:
    """Two settings against limits on readings; arrays (Y, X), rows from the lowest y, in plant units.

    readings : key -> (Y, X); nan where there is no answer
    rooms : (L, Y, X) room of each limit over its scale, negative where it is broken
    reason : (Y, X) errors.Reason
    best : the best point for ``goal``; None without a goal or a feasible point
    """

    x: Variable
    y: Variable
    x_values: FloatN
    y_values: FloatN
    limits: tuple[Limit, ...]
    readings: Mapping[str, Floats]
    rooms: Floats
    reason: Ints
    goal: Goal | None = None
    best: Point | None = field(default=None)

    def unit_of(self, key: str) -> str:
        """The plant unit of a reading that is limited or aimed for."""
        return next(one.unit for one in (*self.limits, self.goal) if one is not None and one.key == key)

    @property
    def feasible(self) -> Bools:
        """(Y, X) True where there is an answer that keeps every limit."""
        return np.asarray((self.reason == Reason.SOLVED) & (self.rooms >= 0.0).all(axis=0))

    @property
    def verdict(self) -> Ints:
        """(Y, X) FEASIBLE, NO_ANSWER, or the number of the limit that is broken the most."""
        known = np.where(np.isnan(self.rooms), -np.inf, self.rooms)
        worst = known.argmin(axis=0) if self.limits else np.zeros(self.reason.shape, dtype=np.int64)
        broken = np.where(self.feasible, FEASIBLE, worst)
        return np.where(self.reason == Reason.SOLVED, broken, NO_ANSWER)

    @property
    def nearest(self) -> tuple[float, float] | None:
        """Where the worst limit is broken the least, if nothing is feasible: x and y; None without answer."""
        least = np.where(self.reason == Reason.SOLVED, self.rooms.min(axis=0), -np.inf)
        row, column = np.unravel_index(int(np.nanargmax(least)), least.shape)
        if not np.isfinite(least[row, column]):
            return None
        return float(self.x_values[column]), float(self.y_values[row])


def window(
    case: Case,
    x: tuple[str, str],
    y: tuple[str, str],
    limits: Sequence[Limit],
    goal: Goal | None = None,
    aim: Aim | None = None,
    executor: Executor | None = None,
    progress: Progress = unseen,
    read: Sequence[str] = (),
) -> Window:
    """Solve a grid of two settings and hold it against limits, those of the case among them.

    x, y : key and "FROM:TO:COUNT"; goal : close in on the best feasible point for it
    aim : met by a third setting at every point
    read : other readings that are wanted over the grid, for which no limit is needed
    Raises CaseError with everything that is wrong with what was asked.
    """
    limits = in_force(case, limits, (x[0], y[0]))
    if not limits and not read:
        raise CaseError(
            [Fault("--limit", None, "", 'a window needs a limit, e.g. "smelting.heat.surplus >= 0"')]
        )
    if x[0] == y[0]:
        raise CaseError([Fault("--y", None, y[0], "is varied already along x")])
    solver = _Solver(case, limits, goal, aim, executor, progress, tuple(read))
    table = solver.table({y[0]: y[1], x[0]: x[1]})
    across, up = find(case.inputs, x[0]), find(case.inputs, y[0])
    shape = (len(dict.fromkeys(table[y[0]].tolist())), -1)
    grid = {column.key: table[column.key].reshape(shape) for column in table.columns}
    readings = {key: grid[key] for key in solver.wanted}
    scales = [limit.scale(readings[limit.key]) for limit in limits]
    rooms = np.array([_room(limit, readings, scale) for limit, scale in zip(limits, scales, strict=True)])
    rooms = rooms.reshape(len(limits), *grid[x[0]].shape)
    found = Window(
        across, up, grid[x[0]][0], grid[y[0]][:, 0], tuple(limits), readings, rooms,
        table.reason.reshape(shape), goal,
    )  # fmt: skip
    if goal is None or not found.feasible.any():
        return found
    best = _best(solver, found, goal, scales)
    return Window(**{**vars(found), "best": best})


@dataclass(frozen=True, eq=False)
class _Solver:
    """What stays the same from one grid to the next."""

    case: Case
    limits: tuple[Limit, ...]
    goal: Goal | None
    aim: Aim | None
    executor: Executor | None
    progress: Progress
    read: tuple[str, ...]

    @property
    def wanted(self) -> list[str]:
        """The readings of limits and goal, and others."""
        keys = [*(limit.key for limit in self.limits), *([self.goal.key] if self.goal else []), *self.read]
        return list(dict.fromkeys(keys))

    def table(self, over: Mapping[str, str | Sequence[str]]) -> StudyTable:
        """The grid over two settings."""
        job = prepare(self.case, over, self.wanted, aim=self.aim, chunk=_CHUNK, option=_AXES)
        if job.grid.scenarios > _MOST:
            text = f"{job.grid.scenarios:,} points are more than {_MOST:,}; take fewer steps"
            raise CaseError([Fault(_AXES, None, "", text)])
        return job.table(self.executor, self.progress)


def _room(limit: Limit, readings: Mapping[str, Floats], scale: float) -> Floats:
    return limit.room(readings[limit.key]) / scale


def _best(solver: _Solver, found: Window, goal: Goal, scales: Sequence[float]) -> Point:
    """Close in on the best feasible grid point: each round a finer grid around the best so far."""
    x_step, y_step = (np.ptp(v) / max(len(v) - 1, 1) for v in (found.x_values, found.y_values))
    score = np.where(found.feasible, goal.sense * found.readings[goal.key], -np.inf)
    row, column = np.unravel_index(int(score.argmax()), score.shape)
    x, y = float(found.x_values[column]), float(found.y_values[row])
    readings = {key: float(values[row, column]) for key, values in found.readings.items()}
    for _ in range(_ZOOMS):
        over = {
            found.y.key: _around(found.y, y, y_step, found.y_values),
            found.x.key: _around(found.x, x, x_step, found.x_values),
        }
        table = solver.table(over)
        kept = np.all([limit.room(table[limit.key]) >= 0.0 for limit in found.limits], axis=0)
        score = np.where(kept & (table.reason == Reason.SOLVED), goal.sense * table[goal.key], -np.inf)
        i = int(score.argmax())
        if score[i] >= goal.sense * readings[goal.key]:
            x, y = float(table[found.x.key][i]), float(table[found.y.key][i])
            readings = {key: float(table[key][i]) for key in readings}
        x_step, y_step = 2 * x_step / (_SIDE - 1), 2 * y_step / (_SIDE - 1)
    rooms = {limit: float(limit.room(np.array(readings[limit.key]))) for limit in found.limits}
    near = (limit for limit, scale in zip(found.limits, scales, strict=True) if rooms[limit] <= NEAR * scale)
    return Point(x, y, readings, rooms, tuple(near))


def _around(variable: Variable, centre: float, step: float, whole: FloatN) -> list[str]:
    """Probes a step to either side of a value in its plant unit, none outside the window."""
    probes = np.clip(np.linspace(centre - step, centre + step, _SIDE), whole.min(), whole.max())
    return [f"{x!r}{units.behind(variable.unit)}" for x in dict.fromkeys(probes.tolist())]
