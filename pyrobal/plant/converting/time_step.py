"""A stretch of the cycle in time and heat: what enters and leaves, and the temperature it ends at."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS, column, zeros
from pyrobal.plant.converting.blow import Reaction
from pyrobal.plant.converting.deportment import OXYGEN, SULFUR, phases
from pyrobal.plant.converting.heat import curve, temperature_after, together
from pyrobal.plant.converting.vessel import Bath, Blow, Vessel
from pyrobal.streams.ledger import Entry
from pyrobal.streams.site import AIR_SPECIES, air_species

_WIDEST = 50.0  # K, swing about the set temperature that cold charge is put in ahead of


@dataclass(frozen=True, eq=False)
class TimeStep:
    """What happened between two points of time.

    duration : (N,) [s]; bath : as it ends
    elements_in : (N, E) [mol] of all that entered, blast included; heat_in : (N,) [J] of the same
    gas, gas_heat, gas_T : [mol], [J], [K] through the mouth; dust, dust_heat : [mol], [J] with it
    slag, slag_heat : [mol], [J] skimmed; loss : (N,) [J] heat lost by the vessel
    blown : (N,) [mol] dry blast; flux, cold : (N,) [kg] dry flux and cold charge
    reaction : None out of blast
    """

    label: str
    duration: FloatN
    bath: Bath
    elements_in: FloatNE
    heat_in: FloatN
    gas: FloatNS
    gas_heat: FloatN
    gas_T: FloatN
    dust: FloatNS
    dust_heat: FloatN
    slag: FloatNS
    slag_heat: FloatN
    loss: FloatN
    blown: FloatN
    flux: FloatN
    cold: FloatN
    reaction: Reaction | None = None


def quiet(label: str, duration: FloatN, bath: Bath, loss: FloatN) -> TimeStep:
    """A stretch out of blast; ``loss`` (N,) [J] is already out of ``bath``."""
    p, zero, n = phases(), np.zeros_like(bath.T), len(bath.T)
    gas, dust, slag = (np.zeros((n, len(p[name]))) for name in ("gas", "dust", "slag"))
    return TimeStep(
        label, duration + zero, bath, np.zeros_like(bath.white), zero, gas, zero, bath.T, dust, zero, slag,
        zero, loss + zero, zero, zero, zero,
    )  # fmt: skip


def charging(v: Vessel, bath: Bath, matte: Entry, time: FloatN, label: str) -> TimeStep:
    """Ladles poured in."""
    metals = matte.elements.copy()
    metals[:, [SULFUR, OXYGEN]] = 0.0
    loss = v.s.heat_loss * time
    after = replace(
        bath,
        white=bath.white + metals,
        sulfur=bath.sulfur + matte.elements[:, SULFUR],
        oxygen=bath.oxygen + matte.elements[:, OXYGEN],
        melt=bath.melt + v.rule.species(metals),
    ).with_heat(bath.H + matte.enthalpy - loss)
    return replace(quiet(label, time, after, loss), elements_in=matte.elements, heat_in=matte.enthalpy)


def skimming(v: Vessel, bath: Bath, time: FloatN, label: str) -> TimeStep:
    """The slag poured off; the bath cools while it waits for that."""
    loss = v.s.heat_loss * time
    waiting = bath.with_heat(bath.H - loss)
    after = waiting.without_slag()
    return replace(quiet(label, time, after, loss), slag=waiting.slag, slag_heat=waiting.H - after.H)


def blowing(v: Vessel, blow: Blow, before: Bath, r: Reaction, last: bool) -> TimeStep:
    """One step of a blow.

    Blast = oxygen reacted / (its O2 x efficiency), time = blast / rate. Gas leaves at the mean temperature of
    the step, dust at the set temperature of the bath. Where cold charge holds that, so much goes in after
    each step that the next one, rising alike, has it in its middle; none goes in after the last, whose end
    point that would move.
    """
    blown = r.oxygen_reacted / (blow.blast.oxygen * blow.efficiency)
    duration = blown / blow.rate
    elements, heat_in = _brought(v, blow, r, blown)
    loss = v.s.heat_loss * duration
    dust_heat = (r.fed.dust * phases()["dust"].enthalpy(v.s.bath_temperature)).sum(axis=1)
    gas, slag = _gas(blow, r, blown), before.slag + r.slag
    H = before.H + heat_in - loss - dust_heat
    content, leaving = together(curve("bath", r.melt), curve("slag", slag)), curve("gas", gas)
    T = temperature_after(content, leaving, H, before.T)
    mean = 0.5 * (before.T + T)
    gas_heat = leaving.enthalpy(mean)
    bath = Bath(r.white, r.copper, r.sulfur, r.oxygen, r.melt, slag, H - gas_heat, T)
    cold = np.zeros_like(T)
    if v.hold and not last:
        rise = np.clip(T - before.T, 0.0, _WIDEST)
        bath, cold = bath.held_at(v.s.bath_temperature - 0.5 * rise, blow.coolant)
        charged = blow.coolant.entry(cold)
        elements, heat_in = elements + charged.elements, heat_in + charged.enthalpy
    nothing = np.zeros_like(slag)
    return TimeStep(
        blow.label, duration, bath, elements, heat_in, gas, gas_heat, mean, r.fed.dust, dust_heat, nothing,
        np.zeros_like(T), loss, blown, r.flux, cold, r,
    )  # fmt: skip


def _brought(v: Vessel, blow: Blow, r: Reaction, blown: FloatN) -> tuple[FloatNE, FloatN]:
    """Elements (N, E) [mol] and enthalpy (N,) [J] that reverts, flux and blast bring."""
    elements = blow.feed_elements + column(blown) * (blow.blast.n @ air_species().composition)
    heat = blow.feed_enthalpy + blown * blow.blast.enthalpy
    if v.flux is None:
        return elements, heat
    return elements + column(r.flux) * v.flux.elements, heat + r.flux * v.flux.enthalpy


def _gas(blow: Blow, r: Reaction, blown: FloatN) -> FloatNS:
    """Gas (N, S) [mol] at the mouth: the blast with its used oxygen gone, SO2, and vapours of the feed."""
    axis = phases()["gas"]
    n = r.fed.gas + zeros((len(blown), 1), blown, blow.blast.n, r.oxygen_reacted, r.so2)
    for name, per_mole in zip(AIR_SPECIES, blow.blast.n.T, strict=True):
        n[:, axis.index(name)] += blown * per_mole
    n[:, axis.index("O2(g)")] -= r.oxygen_reacted
    n[:, axis.index("SO2(g)")] += r.so2
    return n
