"""One cycle added up: totals, the peak, and the course of the blows over time."""

from __future__ import annotations

import functools
import operator
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from pyrobal import arrays
from pyrobal.arrays import BoolN, FloatN, FloatNS, Floats, column, ratio, take, zeros
from pyrobal.constants import SECOND
from pyrobal.plant.converting.deportment import phases
from pyrobal.plant.converting.schedule import Stage, summed
from pyrobal.plant.converting.sums import (
    BLOWN,
    GAS_MOLES,
    IRON,
    MELT,
    MOLES,
    O2,
    SLAG_MASS,
    SO2,
    STANDING,
    parts,
)
from pyrobal.plant.converting.time_step import Bath, Moment

_ROUNDING = 1e-9
_INSTANT = 1e-6 * SECOND


@dataclass(frozen=True, eq=False)
class Course:
    """The cycle over time: one column per moment, (N, M), each valid until its ``end``.

    labels : M names of what the vessel does; end, duration : [s]
    T : [K] at the end; matte, copper, slag : [kg] in the vessel
    iron : [kg/kg] in the matte, nan without matte
    gas : [mol/s] at the mouth, wet; so2, o2 : [mol/s] in it; cold : [kg] cold charge
    """

    labels: tuple[str, ...]
    end: Floats
    duration: Floats
    T: Floats
    matte: Floats
    copper: Floats
    slag: Floats
    iron: Floats
    gas: Floats
    so2: Floats
    o2: Floats
    cold: Floats

    def columns(self, name: str) -> BoolN:
        """(M,) True for moments whose label begins with ``name``."""
        return np.array([label.startswith(name) for label in self.labels])

    def time_in(self, name: str) -> FloatN:
        """(N,) [s] spent in them."""
        time: FloatN = self.duration[:, self.columns(name)].sum(axis=1)
        return time

    def cold_in(self, name: str) -> FloatN:
        """(N,) [kg] cold charge in them."""
        cold: FloatN = self.cold[:, self.columns(name)].sum(axis=1)
        return cold


@dataclass(frozen=True, eq=False)
class Totals:
    """A cycle.

    melt, slag, gas, dust, copper_gas : (N, S) [mol]: copper as poured, all slag made, gas, dust, gas of the
        copper blow
    gas_heat, slag_heat : (N,) [J] of gas, and of all slag as it is skimmed or poured
    slag_blown, copper_blown : (N,) [mol] dry blast; flux : (N,) [kg] dry; loss : (N,) [J]
    peak_gas, peak_gas_T : (N, S) [mol/s] and (N,) [K] of the moment with most SO2
    backwards : (N,) True where a step would give off oxygen or bind SO2
    end : the bath at the end
    """

    melt: FloatNS
    slag: FloatNS
    gas: FloatNS
    dust: FloatNS
    copper_gas: FloatNS
    gas_heat: FloatN
    slag_heat: FloatN
    slag_blown: FloatN
    copper_blown: FloatN
    flux: FloatN
    loss: FloatN
    peak_gas: FloatNS
    peak_gas_T: FloatN
    backwards: BoolN
    end: Bath


def add_up(stages: Sequence[Stage]) -> tuple[Course, Totals]:
    """The course of a cycle and its totals."""
    moments = [moment for stage in stages for moment in stage.moments]
    course = _course(moments)
    at, copper = parts(), stages[-2].total
    total = functools.reduce(operator.add, (stage.total for stage in stages if stage.changes))
    added = functools.reduce(operator.add, (stage.added for stage in stages))
    melt, slag, gas, dust = (total[:, at[name]] for name in ("bath", "slag", "gas", "dust"))
    end = moments[-1].bath
    blown, copper_blown = (x[:, at["blown"]][:, 0] for x in (total, copper))
    skimmed = arrays.total(moment.slag_heat for moment in moments)
    peak_gas, peak_gas_T = _peak(stages, course)
    return course, Totals(
        melt + added, slag, gas, dust, copper[:, at["gas"]],
        arrays.total(moment.gas_heat for moment in moments), skimmed + end.slag.enthalpy(end.T),
        blown - copper_blown, copper_blown, total[:, at["flux"]][:, 0],
        arrays.total(moment.loss for moment in moments), peak_gas, peak_gas_T, _backwards(moments), end,
    )  # fmt: skip


def _course(moments: Sequence[Moment]) -> Course:
    duration, matte = _over_time(m.duration for m in moments), _over_time(m.matte for m in moments)
    iron, melt, slag = (_over_time(m.bath.sums[i] for m in moments) for i in (IRON, MELT, SLAG_MASS))
    gas, so2, o2 = (
        per_second(_over_time(m.flow[i - STANDING] for m in moments), duration) for i in (GAS_MOLES, SO2, O2)
    )
    return Course(
        tuple(m.label for m in moments), np.cumsum(duration, axis=1), duration,
        _over_time(m.bath.T for m in moments), matte, melt - matte, slag,
        np.divide(iron, matte, out=np.full_like(matte, np.nan), where=matte > 0), gas, so2, o2,
        _over_time(m.cold for m in moments),
    )  # fmt: skip


def _over_time(of_moments: Iterable[FloatN]) -> Floats:
    """(N, M) of M values (N,)."""
    return np.stack(list(of_moments), axis=1)


def _backwards(moments: Sequence[Moment]) -> BoolN:
    found = np.zeros(len(moments[0].duration), dtype=bool)
    for m in moments:
        least = -_ROUNDING * np.abs(m.bath.sums[MOLES])
        found = found | (m.flow[SO2 - STANDING] < least) | (m.flow[BLOWN - STANDING] < least)
    return found


def _peak(stages: Sequence[Stage], course: Course) -> tuple[FloatNS, FloatN]:
    """Gas (N, S) [mol/s] of the moment with most SO2, the first of those that have it, and its T (N,) [K]."""
    so2 = course.so2.real
    place = np.argmax(so2 >= so2.max(axis=1, keepdims=True) * (1.0 - _ROUNDING), axis=1)
    every, first = np.arange(len(place)), 0
    gas = zeros((len(place), len(phases()["gas"])), course.gas)
    for stage in stages:
        rows = np.flatnonzero((place >= first) & (place < first + len(stage.moments)))
        if rows.size > 0 and stage.changes:
            extents = np.stack([m.extents for m in stage.moments])[place[rows] - first, :, rows]
            gas[rows] = summed(extents, [take(change, rows)[:, parts()["gas"]] for change in stage.changes])
        first += len(stage.moments)
    T = _over_time(m.gas_T for stage in stages for m in stage.moments)[every, place]
    return per_second(gas, column(course.duration[every, place])), T


def per_second(amount: Floats, duration: Floats) -> Floats:
    """[mol/s] of amounts [mol]; zero where no time passes.

    A blow that a scenario does not have, beside others that have it, lasts as long as round-off makes it.
    """
    passes = duration.real > _INSTANT
    return ratio(amount, np.where(passes, duration, 0.0))
