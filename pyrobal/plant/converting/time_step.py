"""The cycle in time and heat, moment by moment, by the few sums over substances that it needs.

All substances of a step are a sum of changes (``blow``), so only these sums are marched: the heat content
over temperature, iron and mass. The streams are put together once the cycle is through (``cycle``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.constants import KELVIN
from pyrobal.plant.converting.heat import temperature, temperature_after
from pyrobal.plant.converting.sums import BLOWN, CONTENT, COUNT, GAS, HEAT, MELT, SLAG, SLAG_MASS, STANDING
from pyrobal.plant.converting.vessel import Addition, Vessel
from pyrobal.thermo.curve import Curve

_WIDEST = 50.0 * KELVIN  # swing about the set temperature that cold charge is put in ahead of


@dataclass(frozen=True, eq=False)
class Bath:
    """What is in the vessel: its sums (15, N), and T (N,) [K]."""

    sums: Floats
    T: FloatN

    @property
    def content(self) -> Curve:
        """Enthalpy over temperature of everything in the vessel."""
        return Curve(*self.sums[CONTENT])

    @property
    def slag(self) -> Curve:
        """Enthalpy over temperature of the slag."""
        return Curve(*self.sums[SLAG])

    @property
    def H(self) -> FloatN:
        """(N,) [J] in the vessel."""
        return self.sums[HEAT]

    def with_heat(self, more: FloatN) -> Bath:
        """The same melt with ``more`` heat (N,) [J], at the temperature that belongs to it."""
        total = self.sums.astype(np.result_type(self.sums, more))
        total[HEAT] += more
        return Bath(total, temperature(self.content, total[HEAT], self.T))

    def without_slag(self) -> Bath:
        """The bath once its slag is skimmed."""
        total = self.sums.copy()
        total[CONTENT] -= total[SLAG]
        total[HEAT] -= self.slag.enthalpy(self.T)
        total[SLAG] = total[SLAG_MASS] = 0.0
        return Bath(total, self.T)


def empty(n: int) -> Bath:
    """An empty vessel for n scenarios; its temperature is only a first guess."""
    return Bath(np.zeros((STANDING, n)), np.full(n, 1450.0))


class Moment(NamedTuple):
    """What happened between two points of time.

    duration : (N,) [s]; bath : as it ends; matte : (N,) [kg] of it that is not copper yet
    extents : (K, N) of each change of the blow; none out of blast
    flow : (10, N) sums of what passed through; gas_T : (N,) [K] at the mouth
    gas_heat, slag_heat, loss : (N,) [J] with gas, with slag skimmed, and lost by the vessel
    cold : (N,) [kg] cold charge, at the end
    """

    label: str
    duration: FloatN
    bath: Bath
    matte: FloatN
    extents: Floats
    flow: Floats
    gas_T: FloatN
    gas_heat: FloatN
    slag_heat: FloatN
    loss: FloatN
    cold: FloatN


def _quiet(label: str, duration: FloatN, bath: Bath, slag_heat: FloatN, loss: FloatN) -> Moment:
    """A stretch out of blast; ``loss`` (N,) [J] is already out of ``bath``."""
    zero = np.zeros_like(bath.T)
    extents, flow = np.zeros((0, len(zero))), np.zeros((COUNT - STANDING, len(zero)))
    return Moment(
        label,
        duration + zero,
        bath,
        bath.sums[MELT],
        extents,
        flow,
        bath.T,
        zero,
        slag_heat,
        loss + zero,
        zero,
    )


def charging(v: Vessel, bath: Bath, matte: Addition, share: FloatN, time: FloatN, label: str) -> Moment:
    """Ladles poured in: a ``share`` (N,) of the matte."""
    loss = v.s.heat_loss * time
    after = Bath(bath.sums + share * matte.standing, bath.T).with_heat(-loss)
    return _quiet(label, time, after, np.zeros_like(bath.T), loss)


def skimming(v: Vessel, bath: Bath, time: FloatN, label: str) -> Moment:
    """The slag poured off; the bath cools while it waits for that."""
    loss = v.s.heat_loss * time
    waiting = bath.with_heat(-loss)
    after = waiting.without_slag()
    return _quiet(label, time, after, waiting.H - after.H, loss)


def pouring(v: Vessel, bath: Bath) -> Moment:
    """The copper poured off and the vessel made ready; the heat lost meanwhile is not the copper's."""
    zero = np.zeros_like(bath.T)
    return _quiet("pouring", v.s.pouring_time, bath, zero, zero)._replace(matte=zero)


def blowing(
    v: Vessel,
    label: str,
    rate: FloatN,
    before: Bath,
    changes: Floats,
    extents: Floats,
    coolant: Addition | None,
) -> Moment:
    """One step of a blow: so much (K, N) of each change, whose sums (25, K, N) are given.

    Time = blast / rate. Gas leaves at the mean temperature of the step, dust at the set one of the bath.
    A ``coolant``, where the vessel is held at its temperature by one, goes in after it.
    """
    made = np.einsum("wkn,kn->wn", changes, extents)
    total = before.sums + made[:STANDING]
    T, gas_heat = temperature_after(total[CONTENT], made[GAS], total[HEAT], before.T)
    total[HEAT] -= gas_heat
    bath, cold = Bath(total, T), np.zeros_like(T)
    if coolant is not None:
        bath, cold = cooled(v, before, bath, coolant)
    duration = made[BLOWN] / rate
    return Moment(
        label, duration, bath, bath.sums[MELT], extents, made[STANDING:], 0.5 * (before.T + T), gas_heat,
        np.zeros_like(T), v.s.heat_loss * duration, cold,
    )  # fmt: skip


def cooled(v: Vessel, before: Bath, bath: Bath, coolant: Addition) -> tuple[Bath, FloatN]:
    """The bath with the cold charge (N,) [kg] after a step that holds the vessel at its temperature.

    So much goes in that the next step, rising alike, has that temperature in its middle.
    """
    rise = np.minimum(np.maximum(bath.T - before.T, 0.0), _WIDEST)
    aim = v.s.bath_temperature - 0.5 * rise
    hot = aim < bath.T
    cold = np.where(hot, (bath.H - bath.content.enthalpy(aim)) / coolant.uptake(aim), 0.0)
    return Bath(bath.sums + cold * coolant.standing, np.where(hot, aim, bath.T)), cold
