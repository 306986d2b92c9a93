"""The load on the acid plant over time: steady gas, and batch vessels that follow a schedule."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, Bools, FloatN, Floats, IntN, ratio
from pyrobal.errors import Reason
from pyrobal.plant.load.cycle import STEPS, Cycle, together
from pyrobal.plant.load.schedule import flattest, shortest
from pyrobal.plant.load.settings import LoadSettings
from pyrobal.streams.dilution import AirNeed, Limit

PARTS = ("so2", "o2", "rest")  # of the dry gas, before air is added; P in the shapes below
MEASURES = ("flow", "flow", "flow", "so2")  # limit of each measure of a gas; C in the shapes below
_ROUNDING = 1e-9  # relative, so that a load equal to the limit keeps it


@dataclass(frozen=True, eq=False)
class LoadResult:
    """One schedule per scenario.

    period : (N,) [s] after which every vessel begins again
    wanted : (N,) [s] the repeat that the matte asks for; span : (N,) [s] the shortest a vessel can do
    starts : (N, K) [s]
    steady : (N, P) [mol/s] gas that does not change; vessels : (N, P, T) [mol/s] of all, mean of a step
    least : (N, C) [mol/s] what comes whatever the schedule: the steady gas, with the strongest of one
        vessel where that alone is within the limits
    offered : (N, C, T) [mol/s] what of it counts at the acid plant, with the air the gas of each step needs
    capacity : (N, C) [mol/s] limits, infinite where there is none
    reason : (N,) errors.Reason
    """

    settings: LoadSettings
    period: FloatN
    wanted: FloatN
    span: FloatN
    starts: Floats
    steady: Floats
    vessels: Floats
    least: Floats
    offered: Floats
    capacity: Floats
    reason: IntN

    @property
    def time(self) -> Floats:
        """(N, T) [s] when each step begins."""
        return self.period[:, None] * np.arange(STEPS) / STEPS

    @property
    def flow(self) -> Floats:
        """(N, T) [mol/s] dry gas for the acid plant with the air it needs."""
        largest: Floats = self.offered[:, :3].max(axis=1)
        return largest

    @property
    def so2(self) -> Floats:
        """(N, T) [mol/s] SO2 in it."""
        so2: Floats = self.offered[:, 3]
        return so2

    @property
    def swing(self) -> Floats:
        """(N, T) SO2 of the vessels over its mean; one where they give none."""
        mean = self.vessels[:, 0].mean(axis=1, keepdims=True)
        return np.where(mean == 0, 1.0, ratio(self.vessels[:, 0], mean))

    @property
    def limited(self) -> bool:
        """True where the case gives a limit at all."""
        return bool(np.isfinite(self.capacity).any())

    @property
    def limit(self) -> Floats:
        """(N, 2) [mol/s] limit on flow and on SO2, infinite where there is none."""
        return np.stack([self.capacity[:, 0], self.capacity[:, 3]], axis=1)

    @property
    def shortfall(self) -> Floats:
        """(N, 2) [mol/s] flow and SO2 by which ``least`` is above the limits; negative where it is below."""
        least = np.stack([self.least[:, :3].max(axis=1), self.least[:, 3]], axis=1)
        return least - self.limit

    @property
    def utilisation(self) -> Floats:
        """(N, T) the larger of flow and SO2, each over its limit."""
        used: Floats = (self.offered / self.capacity[:, :, None]).max(axis=1)
        return used

    @property
    def over(self) -> FloatN:
        """(N,) share of the time above a limit."""
        share = (self.utilisation > 1.0 + _ROUNDING).mean(axis=1)
        return np.where(self.reason == Reason.SOLVED, share, np.nan)

    @property
    def blown(self) -> FloatN:
        """(N,) share of the cycles asked for that the repeat leaves time for."""
        return np.minimum(self.wanted / self.period, 1.0)

    @property
    def lost(self) -> FloatN:
        """(N,) share of the cycles asked for that it does not."""
        return 1.0 - self.blown

    @property
    def short_of_vessels(self) -> BoolN:
        """(N,) True where a cycle lasts longer than the vessels have for it."""
        return np.asarray(self.span > self.wanted * (1.0 + _ROUNDING))

    @property
    def short_of_room(self) -> Bools:
        """(N, 2) True for the limit of the acid plant, on flow and on SO2, that holds the vessels up."""
        waits = self.period > np.maximum(self.wanted, self.span) * (1.0 + _ROUNDING)
        peaks = self.offered.max(axis=2) / self.capacity
        highest = waits[:, None] & (peaks >= peaks.max(axis=1, keepdims=True))
        return np.stack([highest[:, :3].any(axis=1), highest[:, 3]], axis=1)

    @property
    def cycles(self) -> FloatN:
        """(N,) [1/s] cycles of all vessels together."""
        rate: FloatN = self.settings.count / self.period
        return rate


def solve(
    cycle: Cycle, steady: Floats, air: AirNeed, limit: Limit, s: LoadSettings, cycles: FloatN | None = None
) -> LoadResult:
    """Lay the cycles of the vessels over each other and over the steady gas.

    cycle : one vessel's gas, rates (N, P, M); steady : (N, P) [mol/s]; air : what the gas needs of it
    cycles : (N,) [1/s] that the matte asks for, all vessels together; without it a vessel begins again at
    once. Where the vessels cannot keep up, the shortfall counts as lost.

    The search for starts and repeat is by trial on the grid of time, so it gives the same answer every time.
    """
    cycle, steady, air, capacity, cycles = _over_scenarios(cycle, steady, air, limit, cycles)
    wanted = cycle.span if cycles is None else s.count / cycles
    with np.errstate(all="ignore"):  # scenarios without an answer carry nan; their reason says why
        base, counted = _measures(steady, air), Cycle(cycle.duration, _measures(cycle.rates, air))
        reason = _reasons(counted, base, capacity, wanted, s)
        period = np.maximum(wanted, cycle.span)
        period, steps = _schedule(
            counted, np.where(reason == Reason.SOLVED, period, np.nan), base, capacity, s
        )
        least = np.where(reason[:, None] == Reason.BASE_LOAD_ABOVE_LIMIT, base, base + counted.highest())
        vessels = together(cycle.on_grid(period), steps)
        offered = base[:, :, None] + _measures(vessels, air)
    starts = steps * (period / STEPS)[:, None]
    return LoadResult(
        s, period, wanted, cycle.span, starts, steady, vessels, least, offered, capacity, reason
    )  # fmt: skip


def _measures(parts: Floats, air: AirNeed) -> Floats:
    """(N, C, ...) what counts at the acid plant of gases (N, P, ...) [mol/s]."""
    so2, o2, rest = (parts[:, k] for k in range(len(PARTS)))
    return np.concatenate([air.flows(so2 + o2 + rest, so2, o2), so2[:, None]], axis=1)


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
    mean = np.concatenate([np.tile(mean[:, :3].max(axis=1)[:, None], 3), mean[:, 3:]], axis=1)
    measured = np.isfinite(capacity)
    none = ~measured.any(axis=1, keepdims=True)
    return np.where(measured, capacity, np.where(none & (mean > 0), mean, np.inf))


def _over_scenarios(
    cycle: Cycle, steady: Floats, air: AirNeed, limit: Limit, cycles: FloatN | None
) -> tuple[Cycle, Floats, AirNeed, Floats, FloatN | None]:
    """Everything with one row per scenario."""
    most = [np.full(1, np.inf) if x is None else x for x in limit]
    vectors = np.broadcast_arrays(
        *air, *most, np.ones(1) if cycles is None else cycles, cycle.duration[:, 0], steady[:, 0]
    )
    n = len(vectors[0])
    duration, rates, base = (
        np.broadcast_to(x, (n, *x.shape[1:])) for x in (cycle.duration, cycle.rates, steady)
    )
    capacity = np.stack([vectors[2], vectors[2], vectors[2], vectors[3]], axis=1)
    asked = None if cycles is None else vectors[4]
    return Cycle(duration, rates), base, AirNeed(*vectors[:2]), capacity, asked


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


_ASIDE = "; the matte there is no time for is put aside (load.lost) and counts as a product"
# Reading, or setting that binds -> what is said.
CAUTIONS = {
    "load.vessels": (
        "the vessels have no time for all the matte: a cycle with its pauses lasts longer than "
        "load.period_wanted; put more vessels to work or blow faster" + _ASIDE
    ),
    "acid_plant.flow_limit": "the gas flow the acid plant can take delays the vessels" + _ASIDE,
    "acid_plant.so2_limit": "the SO2 the acid plant can take delays the vessels" + _ASIDE,
}


def cautions(r: LoadResult) -> dict[str, BoolN]:
    """(N,) True where a caution of ``CAUTIONS`` holds."""
    solved = r.reason == Reason.SOLVED
    with np.errstate(all="ignore"):
        found = {"load.vessels": r.short_of_vessels}
        found |= dict(zip(("acid_plant.flow_limit", "acid_plant.so2_limit"), r.short_of_room.T, strict=True))
    return {key: np.asarray(holds & solved) for key, holds in found.items()}
