"""The cycle in time and heat, moment by moment, by the few sums over substances that it needs.

All substances of a step are a sum of changes (``blow``), so only these sums are marched: the heat content
over temperature, iron and mass. The streams are put together once the cycle is through (``cycle``).
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pyrobal.arrays import FloatN, FloatNS, Floats, zeros
from pyrobal.plant.converting.blow import parts
from pyrobal.plant.converting.deportment import FE, phases
from pyrobal.plant.converting.heat import coefficients, temperature, temperature_after
from pyrobal.plant.converting.melts import M_FE
from pyrobal.plant.converting.vessel import Addition, Vessel
from pyrobal.thermo.curve import Curve

_WIDEST = 50.0  # K, swing about the set temperature that cold charge is put in ahead of

# The sums, in this order: of what is in the vessel, then of what passes through. Curves are a, b, c, d, h.
CONTENT, SLAG = slice(0, 5), slice(5, 10)  # curve of all in the vessel, and of the slag
HEAT, IRON, MELT, MOLES, SLAG_MASS = range(10, 15)  # [J], [kg] in the bath, [kg] and [mol] of it, [kg]
STANDING = 15  # so many are of the vessel
GAS = slice(15, 20)  # curve of the gas
GAS_MOLES, SO2, O2, BLOWN, SILICA = range(20, 25)  # [mol], the last [kg] in the slag made
_COUNT = 25


@functools.lru_cache
def _summing() -> Floats:
    """(W, 25) : a change times this is its sums."""
    p, at, m = phases(), parts(), np.zeros((parts()["heat"].stop, _COUNT))
    bath, slag, gas = (m[at[name]] for name in ("bath", "slag", "gas"))
    bath[:, CONTENT], slag[:, CONTENT], slag[:, SLAG] = (coefficients(x) for x in ("bath", "slag", "slag"))
    bath[:, IRON], bath[:, MELT] = p["bath"].composition[:, FE] * M_FE, p["bath"].molar_mass
    bath[:, MOLES], slag[:, SLAG_MASS] = 1.0, p["slag"].molar_mass
    slag[p["slag"].index("SiO2(l)"), SILICA] = p["slag"].molar_mass[p["slag"].index("SiO2(l)")]
    gas[:, GAS], gas[:, GAS_MOLES] = coefficients("gas"), 1.0
    gas[p["gas"].index("SO2(g)"), SO2] = gas[p["gas"].index("O2(g)"), O2] = 1.0
    m[at["blown"], BLOWN] = m[at["heat"], HEAT] = 1.0
    return m


def sums(changes: Sequence[Floats], n: int) -> Floats:
    """(25, K, N) of K changes (N, W); the scenarios come last, as every sum is then one piece of memory."""
    return np.stack([np.broadcast_to((change @ _summing()).T, (_COUNT, n)) for change in changes], axis=1)


def standing(melt: FloatNS, heat: FloatN) -> Floats:
    """(15, N) sums of a melt (N, S) [mol] on the bath axis that brings ``heat`` (N,) [J] to the vessel."""
    of_melt = (melt @ _summing()[parts()["bath"], :STANDING]).T
    total = of_melt + zeros((1, len(heat)), heat)
    total[HEAT] += heat
    return total


@dataclass(frozen=True, eq=False)
class Bath:
    """What is in the vessel.

    sums : (15, N) as above; matte : (N,) [kg] matte or white metal in it; T : (N,) [K]
    """

    sums: Floats
    matte: FloatN
    T: FloatN

    @property
    def content(self) -> Curve:
        """Enthalpy over temperature of everything in the vessel."""
        return Curve(*self.sums[CONTENT])

    @property
    def H(self) -> FloatN:
        """(N,) [J] in the vessel."""
        return self.sums[HEAT]

    @property
    def slag(self) -> Curve:
        """Enthalpy over temperature of the slag."""
        return Curve(*self.sums[SLAG])

    def at_rest(self) -> Bath:
        """The same at the temperature that belongs to its heat."""
        return replace(self, T=temperature(self.content, self.H, self.T))


def empty(n: int) -> Bath:
    """An empty vessel for n scenarios; its temperature is only a first guess."""
    return Bath(np.zeros((STANDING, n)), np.zeros(n), np.full(n, 1450.0))


@dataclass(frozen=True, eq=False)
class Moment:
    """What happened between two points of time.

    duration : (N,) [s]; bath : as it ends
    extents : (K, N) of each change of the blow; none out of blast
    flow : (10, N) sums of what passed through; gas_T : (N,) [K] at the mouth
    gas_heat, slag_heat, loss : (N,) [J] with gas, with slag skimmed, and lost by the vessel
    cold : (N,) [kg] cold charge
    """

    label: str
    duration: FloatN
    bath: Bath
    extents: Floats
    flow: Floats
    gas_T: FloatN
    gas_heat: FloatN
    slag_heat: FloatN
    loss: FloatN
    cold: FloatN


def quiet(label: str, duration: FloatN, bath: Bath, loss: FloatN) -> Moment:
    """A stretch out of blast; ``loss`` (N,) [J] is already out of ``bath``."""
    zero = np.zeros_like(bath.T)
    flow = np.zeros((_COUNT - STANDING, len(zero)))
    return Moment(
        label, duration + zero, bath, np.zeros((0, len(zero))), flow, bath.T, zero, zero, loss + zero, zero
    )


def charging(v: Vessel, bath: Bath, matte: Addition, time: FloatN, label: str) -> Moment:
    """Ladles poured in."""
    loss = v.s.heat_loss * time
    total = bath.sums + standing(matte.melt, matte.enthalpy - loss)
    return quiet(label, time, Bath(total, total[MELT], bath.T).at_rest(), loss)


def skimming(v: Vessel, bath: Bath, time: FloatN, label: str) -> Moment:
    """The slag poured off; the bath cools while it waits for that."""
    loss = v.s.heat_loss * time
    total = bath.sums.astype(np.result_type(bath.sums, loss))
    total[HEAT] -= loss
    waiting = replace(bath, sums=total).at_rest()
    left = waiting.sums.copy()
    left[CONTENT] -= left[SLAG]
    slag_heat = waiting.slag.enthalpy(waiting.T)
    left[HEAT] -= slag_heat
    left[SLAG] = left[SLAG_MASS] = 0.0
    after = Bath(left, waiting.matte, waiting.T)
    return replace(quiet(label, time, after, loss), slag_heat=slag_heat)


def blowing(v: Vessel, label: str, rate: FloatN, before: Bath, changes: Floats, extents: Floats) -> Moment:
    """One step of a blow: so much (K, N) of each change, whose sums (25, K, N) are given.

    Time = blast / rate. Gas leaves at the mean temperature of the step, dust at the set one of the bath.
    """
    made = np.einsum("wkn,kn->wn", changes, extents)
    total, flow = before.sums + made[:STANDING], made[STANDING:]
    content, gas = Curve(*total[CONTENT]), Curve(*made[GAS])
    T = temperature_after(content, gas, total[HEAT], before.T)
    mean = 0.5 * (before.T + T)
    gas_heat = gas.enthalpy(mean)
    total[HEAT] -= gas_heat
    duration = made[BLOWN] / rate
    zero = np.zeros_like(T)
    bath = Bath(total, total[MELT], T)
    return Moment(label, duration, bath, extents, flow, mean, gas_heat, zero, v.s.heat_loss * duration, zero)


def cooled(v: Vessel, before: Bath, step: Moment, coolant: Addition, one: Floats) -> Moment:
    """A step with the cold charge after it that holds the vessel at its temperature.

    So much goes in that the next step, rising alike, has that temperature in its middle.
    one : (15, N) sums of a kilogram of the coolant
    """
    bath = step.bath
    rise = np.clip(bath.T - before.T, 0.0, _WIDEST)
    aim = v.s.bath_temperature - 0.5 * rise
    hot = aim < bath.T
    cold = np.where(hot, (bath.H - bath.content.enthalpy(aim)) / coolant.uptake(aim), 0.0)
    total = bath.sums + cold * one
    return replace(step, bath=Bath(total, total[MELT], np.where(hot, aim, bath.T)), cold=cold)
