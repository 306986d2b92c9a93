"""One cycle added up: totals, the peak, and the course of the blows over time."""

from __future__ import annotations

import functools
import operator
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pyrobal.arrays import BoolN, FloatN, FloatNS, Floats, column
from pyrobal.plant.converting.deportment import FE, phases
from pyrobal.plant.converting.melts import M_FE, Matte
from pyrobal.plant.converting.time_step import TimeStep
from pyrobal.plant.converting.vessel import Bath

_ROUNDING = 1e-9
_INSTANT = 1e-6  # s


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


class _Row(NamedTuple):
    """One column of the course, (N,) each in the units of its fields, whose order is kept."""

    duration: FloatN
    T: FloatN
    matte: FloatN
    copper: FloatN
    slag: FloatN
    iron: FloatN
    gas: FloatN
    so2: FloatN
    o2: FloatN
    cold: FloatN

    @staticmethod
    def of(m: TimeStep, rule: Matte) -> _Row:
        p, b = phases(), m.bath
        matte = rule.mass(b.white)
        iron = np.divide(b.white[:, FE] * M_FE, matte, out=np.full_like(matte, np.nan), where=matte > 0)
        gas = per_second(m.gas, m.duration)
        copper, slag = b.melt @ p["bath"].molar_mass - matte, b.slag @ p["slag"].molar_mass
        return _Row(
            m.duration,
            b.T,
            matte,
            copper,
            slag,
            iron,
            gas.sum(axis=1),
            gas[:, p["gas"].index("SO2(g)")],
            gas[:, p["gas"].index("O2(g)")],
            m.cold,
        )


@dataclass(frozen=True, eq=False)
class Totals:
    """A cycle or a part of it.

    gas, copper_gas, dust, slag : (N, S) [mol], copper_gas that of the copper blow
    gas_heat, slag_heat : (N,) [J] of gas and dust, and of slag
    slag_blown, copper_blown : (N,) [mol] dry blast; flux : (N,) [kg] dry; loss : (N,) [J]
    peak_gas, peak_gas_T : (N, S) [mol/s] and (N,) [K] of the moment with most SO2
    backwards : (N,) True where a step would give off oxygen or bind SO2
    end : the bath at the end
    """

    gas: FloatNS
    copper_gas: FloatNS
    gas_heat: FloatN
    dust: FloatNS
    slag: FloatNS
    slag_heat: FloatN
    slag_blown: FloatN
    copper_blown: FloatN
    flux: FloatN
    loss: FloatN
    peak_gas: FloatNS
    peak_gas_T: FloatN
    backwards: BoolN
    end: Bath

    @staticmethod
    def of(m: TimeStep) -> Totals:
        """The totals of one moment."""
        backwards = np.zeros(len(m.bath.T), dtype=bool)
        if m.reaction is not None:
            least = -_ROUNDING * np.abs(m.bath.melt).sum(axis=1)
            backwards = (m.reaction.so2 < least) | (m.reaction.oxygen_reacted < least)
        in_slag_blow = m.label.startswith("slag blow")
        return Totals(
            m.gas, m.gas * (not in_slag_blow), m.gas_heat, m.dust, m.slag, m.slag_heat,
            m.blown * in_slag_blow, m.blown * (not in_slag_blow), m.flux, m.loss,
            per_second(m.gas, m.duration), m.gas_T, backwards, m.bath,
        )  # fmt: skip

    def __add__(self, later: Totals) -> Totals:
        so2 = phases()["gas"].index("SO2(g)")
        higher = later.peak_gas[:, so2] > self.peak_gas[:, so2] * (1.0 + _ROUNDING)
        return Totals(
            self.gas + later.gas, self.copper_gas + later.copper_gas, self.gas_heat + later.gas_heat,
            self.dust + later.dust, self.slag + later.slag, self.slag_heat + later.slag_heat,
            self.slag_blown + later.slag_blown, self.copper_blown + later.copper_blown,
            self.flux + later.flux, self.loss + later.loss,
            np.where(higher[:, None], later.peak_gas, self.peak_gas),
            np.where(higher, later.peak_gas_T, self.peak_gas_T), self.backwards | later.backwards, later.end,
        )  # fmt: skip


def add_up(moments: Iterable[TimeStep], rule: Matte) -> tuple[Course, Totals]:
    """Walk through a cycle once; of each moment only its share of the sums and one column are kept."""
    labels: list[str] = []
    rows: list[_Row] = []

    def parts() -> Iterable[Totals]:
        for moment in moments:
            labels.append(moment.label)
            rows.append(_Row.of(moment, rule))
            yield Totals.of(moment)

    totals = functools.reduce(operator.add, parts())
    table = {
        name: np.stack(column_, axis=1)
        for name, column_ in zip(_Row._fields, zip(*rows, strict=True), strict=True)
    }
    return Course(tuple(labels), np.cumsum(table["duration"], axis=1), **table), totals


def per_second(amount: Floats, duration: FloatN) -> Floats:
    """(N, S) [mol/s] of an amount (N, S) [mol]; zero where no time passes.

    A blow that a scenario does not have, beside others that have it, lasts as long as round-off makes it.
    """
    passes = duration.real > _INSTANT
    return np.where(passes[:, None], amount / column(np.where(passes, duration, 1.0)), 0.0)
