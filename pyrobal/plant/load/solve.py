"""The load on the acid plant over time: steady gas, and batch vessels that follow a schedule."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pyrobal.arrays import BoolN, Bools, FloatN, Floats, IntN
from pyrobal.errors import Reason
from pyrobal.plant.load.cycle import STEPS, Cycle, together
from pyrobal.plant.load.schedule import flattest, shortest
from pyrobal.plant.load.settings import LoadSettings

_ROUNDING = 1e-9  # relative, so that a load equal to the limit keeps it


class Gas(NamedTuple):
    """Gas and the SO2 in it; as a limit None where there is none.

    flow, so2 : (N,) [mol/s]
    """

    flow: FloatN | None
    so2: FloatN | None


@dataclass(frozen=True, eq=False)
class LoadResult:
    """One schedule per scenario.

    period : (N,) [s] after which every vessel begins again
    wanted : (N,) [s] the repeat that the matte asks for; span : (N,) [s] the shortest a vessel can do
    starts : (N, K) [s]
    flow, so2 : (N, T) [mol/s] mean of each step, all that reaches the acid plant
    capacity : (N, C) [mol/s] limits, infinite where there is none
    cut : (N, T) [-] share of the vessels' blowing that has to be cut to keep the limits
    reason : (N,) errors.Reason
    """

    settings: LoadSettings
    period: FloatN
    wanted: FloatN
    span: FloatN
    starts: Floats
    steady: Floats
    flow: Floats
    so2: Floats
    capacity: Floats
    cut: Floats
    reason: IntN

    @property
    def time(self) -> Floats:
        """(N, T) [s] when each step begins."""
        return self.period[:, None] * np.arange(STEPS) / STEPS

    @property
    def limited(self) -> bool:
        """True where the case gives a limit at all."""
        return bool(np.isfinite(self.capacity).any())

    @property
    def utilisation(self) -> Floats:
        """(N, T) the larger of flow and SO2, each over its limit."""
        load = np.stack([self.flow, self.so2], axis=1)
        used: Floats = (load / self.capacity[:, :, None]).max(axis=1)
        return used

    @property
    def over(self) -> FloatN:
        """(N,) share of the time above a limit."""
        share = (self.utilisation > 1.0 + _ROUNDING).mean(axis=1)
        return np.where(self.reason == Reason.SOLVED, share, np.nan)

    @property
    def lost_waiting(self) -> FloatN:
        """(N,) share of the cycles asked for that the repeat does not leave time for."""
        return np.maximum(1.0 - self.wanted / self.period, 0.0)

    @property
    def lost(self) -> FloatN:
        """(N,) share of the blowing asked for that is lost: to waiting, and to cuts above a limit, by SO2."""
        blown = self.so2 - self.steady[:, 1:]
        whole = blown.sum(axis=1)
        cut = np.divide((self.cut * blown).sum(axis=1), whole, out=np.zeros_like(whole), where=whole > 0)
        lost: FloatN = 1.0 - (1.0 - self.lost_waiting) * (1.0 - cut)
        return lost

    @property
    def short_of_vessels(self) -> BoolN:
        """(N,) True where a cycle lasts longer than the vessels have for it."""
        return np.asarray(self.span > self.wanted * (1.0 + _ROUNDING))

    @property
    def short_of_room(self) -> Bools:
        """(N, C) True for the limit of the acid plant that holds the vessels up."""
        waits = self.period > np.maximum(self.wanted, self.span) * (1.0 + _ROUNDING)
        held_up = waits | (self.cut > _ROUNDING).any(axis=1)
        peaks = np.stack([self.flow.max(axis=1), self.so2.max(axis=1)], axis=1) / self.capacity
        return held_up[:, None] & (peaks >= peaks.max(axis=1, keepdims=True))

    @property
    def cycles(self) -> FloatN:
        """(N,) [1/s] cycles of all vessels together."""
        rate: FloatN = self.settings.count / self.period
        return rate

    @property
    def strength(self) -> Floats:
        """(N, T) [mol/mol] SO2 in the gas; zero where none flows."""
        return np.divide(self.so2, self.flow, out=np.zeros_like(self.so2), where=self.flow > 0)


def solve(cycle: Cycle, steady: Gas, limit: Gas, s: LoadSettings, cycles: FloatN | None = None) -> LoadResult:
    """Lay the cycles of the vessels over each other and over the steady gas.

    cycle : one vessel's gas; cycles : (N,) [1/s] that the matte asks for, all vessels together; without it a
    vessel begins again at once. Where the vessels cannot keep up, the shortfall counts as lost.

    The search for starts and repeat is by trial on the grid of time, so it gives the same answer every time.
    """
    cycle, base, capacity, cycles = _over_scenarios(cycle, steady, limit, cycles)
    wanted = cycle.span if cycles is None else s.count / cycles
    with np.errstate(all="ignore"):  # scenarios without an answer carry nan; their reason says why
        reason = _reasons(cycle, base, capacity, wanted, s)
        period = np.maximum(wanted, cycle.span)
        good = reason == Reason.SOLVED
        period, steps = _schedule(cycle, np.where(good, period, np.nan), base, capacity, s)
        one = cycle.on_grid(period)
        vessels = together(one, steps)
        cut = _cut(vessels, base, capacity)
    load = base[:, :, None] + vessels
    starts = steps * (period / STEPS)[:, None]
    return LoadResult(
        s, period, wanted, cycle.span, starts, base, load[:, 0], load[:, 1], capacity, cut, reason
    )


def _schedule(
    cycle: Cycle, period: FloatN, base: Floats, capacity: Floats, s: LoadSettings
) -> tuple[FloatN, IntN]:
    """Period [s] and starts [steps]; starts that are given are put on the nearest step."""
    good = np.flatnonzero(np.isfinite(period))
    steps = np.zeros((len(period), s.count), dtype=np.int64)
    part = cycle.take(good)
    if s.schedule == "limited":
        found, steps[good] = shortest(part, period[good], base[good], capacity[good], s.count)
        period = period.copy()
        period[good] = found
    elif s.schedule == "flattest":
        one, own = part.on_grid(period[good]), base[good]
        scale = _scale(one, own, capacity[good], s.count)
        steps[good] = flattest(one / scale[:, :, None], own / scale, s.count)
    else:
        starts = np.stack(np.broadcast_arrays(*s.starts(period), period), axis=1)[good, : s.count]
        steps[good] = np.rint((starts / period[good, None]).real * STEPS).astype(np.int64) % STEPS
    return period, steps


def _scale(one: Floats, base: Floats, capacity: Floats, vessels: int) -> Floats:
    """(N, C) what a load is measured by: the limit, or its own mean where there is none."""
    mean = base + vessels * one.mean(axis=2)
    measured = np.isfinite(capacity)
    none = ~measured.any(axis=1, keepdims=True)
    return np.where(measured, capacity, np.where(none & (mean > 0), mean, np.inf))


def _cut(vessels: Floats, base: Floats, capacity: Floats) -> Floats:
    """(N, T) share of the vessels' gas above what is left of the limits beside the steady gas."""
    room = np.maximum(capacity - base, 0.0)[:, :, None]
    kept = np.where(vessels > room, room / np.where(vessels > room, vessels, 1.0), 1.0)
    cut: Floats = 1.0 - kept.min(axis=1)
    return cut


def _over_scenarios(
    cycle: Cycle, steady: Gas, limit: Gas, cycles: FloatN | None
) -> tuple[Cycle, Floats, Floats, FloatN | None]:
    """Everything with one row per scenario."""
    base = [np.zeros(1) if x is None else x for x in steady]
    most = [np.full(1, np.inf) if x is None else x for x in limit]
    vectors = np.broadcast_arrays(
        *base, *most, np.ones(1) if cycles is None else cycles, cycle.duration[:, 0]
    )
    n = len(vectors[0])
    spans = (np.broadcast_to(x, (n, x.shape[1])) for x in (cycle.duration, cycle.flow, cycle.so2))
    two = np.stack(vectors[:2], axis=1), np.stack(vectors[2:4], axis=1)
    return Cycle(*spans), two[0], two[1], None if cycles is None else vectors[4]


def _reasons(cycle: Cycle, base: Floats, capacity: Floats, wanted: FloatN, s: LoadSettings) -> IntN:
    above = (base > capacity * (1.0 + _ROUNDING)).any(axis=1)
    alone = (base + cycle.highest() > capacity * (1.0 + _ROUNDING)).any(axis=1)
    reason = np.full(len(base), Reason.SOLVED, dtype=np.int64)
    if s.schedule == "limited":
        reason = np.where(alone, Reason.VESSEL_ABOVE_LIMIT, reason)
        reason = np.where(above, Reason.BASE_LOAD_ABOVE_LIMIT, reason)
    finite = np.isfinite(np.concatenate([cycle.made(), base, wanted[:, None]], axis=1)).all(axis=1)
    finite = finite & ~np.isnan(capacity).any(axis=1) & (cycle.span > 0)
    return np.where(finite, reason, Reason.INPUT_NOT_FINITE).astype(np.int64)


_FULL = (
    "; all rates of this result are for the full matte; load.matte, load.concentrate and load.copper are "
    "what this schedule can hold"
)
# Reading, or setting that binds -> what is said.
CAUTIONS = {
    "load.time_over": (
        "with this schedule the acid plant is over a limit part of the time: that gas is vented or the "
        'blowing cut (load.lost); try load.schedule = "limited"'
    ),
    "load.vessels": (
        "the vessels have no time for all the matte: a cycle with its pauses lasts longer than "
        "load.period_wanted; put more vessels to work or blow faster" + _FULL
    ),
    "acid_plant.flow_limit": "the flow the acid plant takes holds the vessels up (load.lost)" + _FULL,
    "acid_plant.so2_limit": "the SO2 the acid plant takes holds the vessels up (load.lost)" + _FULL,
}


def cautions(r: LoadResult) -> dict[str, BoolN]:
    """(N,) True where a caution of ``CAUTIONS`` holds."""
    solved = r.reason == Reason.SOLVED
    with np.errstate(all="ignore"):
        found = {"load.time_over": r.over > 0, "load.vessels": r.short_of_vessels}
        found |= dict(zip(("acid_plant.flow_limit", "acid_plant.so2_limit"), r.short_of_room.T, strict=True))
    return {key: np.asarray(holds & solved) for key, holds in found.items()}
