"""The wet pieces the lines share: mixing, quench, cooling tower, mist precipitator, dilution air."""

from __future__ import annotations

import functools
import operator
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNS, column
from pyrobal.constants import KELVIN
from pyrobal.dimensions import constant, unit
from pyrobal.errors import Reason
from pyrobal.numerics.bracketing import root
from pyrobal.plant.gas_train.offgas import Offgas, Piece, air, check, parted, settle, unsettled
from pyrobal.plant.gas_train.reactions import WASHING, complete
from pyrobal.plant.gas_train.settings import GasTrainSettings
from pyrobal.streams.dilution import AirNeed
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.mixing import on_phase
from pyrobal.streams.site import SiteSettings, vapour_pressure
from pyrobal.streams.stream import Stream
from pyrobal.streams.time_steps import GasOverTime
from pyrobal.thermo.acid_solution import M_WATER, mixing_heat, water_per_acid
from pyrobal.thermo.henry import so2_solubility
from pyrobal.thermo.properties import Species, species
from pyrobal.thermo.water import saturation_temperature
from pyrobal.trace.solved import remembered
from pyrobal.trace.units import declare

WATER = "H2O(l)"
ACID = "H2SO4(l)"
MERCURY = "Hg"  # as carried by the gas: of its vapour, whose heat is of no account
MERCURY_MASS = constant(0.200592, "kg/mol", "atomic mass")
WATER_VOLUME = M_WATER / constant(1000.0, "kg/m3")  # m3/mol; Henry's constant counts per volume of water
_FREEZING: FloatN = declare(np.array([273.2]), "freezing water", unit("K"), "")


@dataclass(frozen=True, eq=False)
class Quench(Piece):
    """caught is the weak acid; spray : (N,) [mol/s] water sprayed, evaporated : (N,) [mol/s] of it."""

    spray: FloatN
    evaporated: FloatN


@dataclass(frozen=True, eq=False)
class Tower(Piece):
    """condensate : (N,) [mol/s] water that goes back to the quench; duty : (N,) [W] to cooling water."""

    condensate: FloatN
    duty: FloatN


@dataclass(frozen=True, eq=False)
class Dilution(Piece):
    """air : (N,) [mol/s] dry."""

    air: FloatN


def mixing(lines: Mapping[str, Offgas]) -> Piece:
    """Gases of several lines brought together; no heat is lost."""
    parts = tuple(lines.values())
    together = Offgas(_sum([p.gas for p in parts]), _sum([p.carried for p in parts]))
    outlet, left = settle(together, functools.reduce(operator.add, (p.enthalpy() for p in parts)))
    inputs = {f"{name}.{what}": e for name, p in lines.items() for what, e in p.entries.items()}
    return Piece(outlet, Ledger(inputs, outlet.entries, {"part_molten": left}), None, unsettled(outlet))


def _sum(streams: list[Stream]) -> Stream:
    return Stream(streams[0].phase, functools.reduce(operator.add, (s.n for s in streams)), streams[0].T)


@remembered()
def liquor_phase(carried: Species) -> Species:
    """The S axis of weak acid: water, dissolved SO2 (with the enthalpy of the gas), and what gas carried."""
    return species(WATER, "SO2(g)", *carried.names)


@dataclass(frozen=True, eq=False)
class _Washing:
    """What the quench has to bring to equilibrium; its one unknown is the temperature.

    reacted : inlet after the washing reactions, its water not yet that of saturation
    caught, mist : what the liquor takes up, and what goes on
    bleed : (N,) [mol/s] water for the strength of weak acid asked for
    """

    inlet: Offgas
    reacted: Offgas
    caught: Stream
    mist: Stream
    bleed: FloatN
    s: GasTrainSettings
    pressure: FloatN

    def state(self, T: FloatN) -> tuple[Offgas, Stream, FloatN]:
        """Saturated gas, weak acid and water sprayed (N,) [mol/s] at T (N,) [K].

        The weak acid takes water to the strength asked for, or all that the tower condenses where that is
        more. Bleed and gas are at equilibrium in SO2, less what is stripped.
        """
        gas, s = self.reacted.gas, self.s
        water_in = gas.amount("H2O(g)")
        dry = gas.total() - water_in
        wet_out = water_per_dry(s.cooled_gas_temperature, self.pressure)
        volume = np.maximum(self.bleed, water_in - dry * wet_out) * WATER_VOLUME
        saturated = water_per_dry(T, self.pressure)
        solved = so2_solubility(T) * volume * (1.0 - s.so2_stripping) * self.pressure / (1.0 + saturated)
        lost = _dissolved(solved, dry, gas.amount("SO2(g)"))
        bleed = np.maximum(self.bleed, water_in - (dry - lost) * wet_out)
        water_out = (dry - lost) * saturated
        n = _set(gas, {"SO2(g)": gas.amount("SO2(g)") - lost, "H2O(g)": water_out})
        outlet = Offgas(Stream(gas.phase, n, T), Stream(self.mist.phase, self.mist.n, T))
        phase = liquor_phase(self.caught.phase)
        liquor = Stream(phase, on_phase(self.caught, phase), T)
        liquor = Stream(phase, _set(liquor, {WATER: bleed, "SO2(g)": lost}), T)
        return outlet, liquor, water_out + bleed - water_in

    def surplus(self, T: FloatN) -> FloatN:
        """Heat in less heat out, (N,) [W]."""
        outlet, liquor, spray = self.state(T)
        out = outlet.enthalpy() + liquor_entry(liquor).enthalpy
        return self.inlet.enthalpy() + wash_water(spray, self.s).enthalpy() - out


def quench(inlet: Offgas, s: GasTrainSettings, site: SiteSettings) -> Quench:
    """Saturate the gas with water at the temperature at which its own heat evaporates it.

    H(gas, carried) + H(spray) = H(saturated gas, mist) + H(weak acid), formation and dilution of acid
    within. SO3 all turns to acid; the scrubber takes up its catch, the rest goes on as mist (carried as
    undiluted acid). Vapour pressure of pure water: weak acid of 10 % lowers it by about 4 % (memory).
    """
    pressure = site.pressure - s.suction
    reacted = complete(inlet, WASHING, np.ones(1))
    caught, mist = taken_up(reacted.carried, s.scrubber_catch, s.mercury_catch)
    kept = s.scrubber_catch + (1.0 - s.scrubber_catch) * s.mist_catch
    bleed = kept * reacted.carried.amount(ACID) * water_per_acid(s.weak_acid_strength)
    washing = _Washing(inlet, reacted, caught, mist, bleed, s, pressure)
    found = root(washing.surplus, _FREEZING, saturation_temperature(pressure) - 0.1 * KELVIN)
    outlet, liquor, spray = washing.state(found.x)
    water = Entry.of(wash_water(spray, s))
    ledger = Ledger({**inlet.entries, "spray": water}, {**outlet.entries, "weak_acid": liquor_entry(liquor)})
    reason = check((~found.found, Reason.NOT_CONVERGED))
    evaporated = outlet.gas.amount("H2O(g)") - inlet.gas.amount("H2O(g)")
    return Quench(outlet, ledger, liquor, reason, spray, evaporated)


def tower(inlet: Offgas, s: GasTrainSettings, site: SiteSettings) -> Tower:
    """Cool the saturated gas; what condenses goes back to the quench as wash water."""
    gas, T = inlet.gas, s.cooled_gas_temperature
    water = gas.amount("H2O(g)")
    left = (gas.total() - water) * water_per_dry(T, site.pressure - s.suction)
    outlet = Offgas(Stream(gas.phase, _set(gas, {"H2O(g)": left}), T), inlet.carried).at(T)
    condensate = wash_water(water - left, s)
    duty = inlet.enthalpy() - outlet.enthalpy() - condensate.enthalpy()
    outputs = {**outlet.entries, "condensate": Entry.of(condensate)}
    ledger = Ledger(inlet.entries, outputs, {"cooling": duty})
    reason = check((inlet.T <= T, Reason.GAS_COLDER_THAN_WASH))
    return Tower(outlet, ledger, None, reason, water - left, duty)


def mist_precipitator(inlet: Offgas, s: GasTrainSettings, site: SiteSettings) -> Piece:
    """Mist and fume caught electrically, and the air that has leaked into the wet cleaning by then."""
    leak = air(s.wet_leak * inlet.gas.total(), site)
    mixed, left = settle(inlet.with_air(leak), inlet.enthalpy() + leak.enthalpy())
    caught, rest = taken_up(mixed.carried, s.mist_catch, np.zeros(1))
    outlet = Offgas(mixed.gas, rest)
    ledger = Ledger(
        {**inlet.entries, "leak": Entry.of(leak)},
        {**outlet.entries, "drain": Entry.of(caught)},
        {"part_molten": left},
    )
    return Piece(outlet, ledger, caught, unsettled(outlet))


def mercury_tower(inlet: Offgas, s: GasTrainSettings) -> Piece:
    """Mercury washed out of the cleaned gas, down to what such a tower leaves in it.

    A wash with mercury(II) chloride leaves 0.02 to 0.05 mg/Nm3 (reference document on best available
    techniques for the non-ferrous metals industries, 2017, from memory).
    """
    held = inlet.carried.amount(MERCURY) * MERCURY_MASS
    left = s.mercury_left * dry_flow(inlet.gas)
    share = np.where(held > left, 1.0 - left / np.where(held > left, held, 1.0), 0.0)
    caught, rest = taken_up(inlet.carried, np.zeros(1), share)
    outlet = Offgas(inlet.gas, rest)
    ledger = Ledger(inlet.entries, {**outlet.entries, "product": Entry.of(caught)})
    return Piece(outlet, ledger, caught, np.zeros(1, dtype=np.int64))


def taken_up(carried: Stream, share: FloatN, of_mercury: FloatN) -> tuple[Stream, Stream]:
    """``share`` (N,) of what gas carries and ``of_mercury`` (N,) of its mercury, and the rest."""
    mercury = np.array([float(name == MERCURY) for name in carried.phase.names])
    taken = carried.n * (column(share) * (1.0 - mercury) + column(of_mercury) * mercury)
    return Stream(carried.phase, taken, carried.T), Stream(carried.phase, carried.n - taken, carried.T)


@dataclass(frozen=True, eq=False)
class Bypass(Piece):
    """What the acid plant cannot take.

    gone : off-gas to the by-pass stack, mean; over : the same over time
    offered : all the gas over time as it would enter the acid plant, with the air it needs
    """

    gone: Offgas
    over: GasOverTime
    offered: GasOverTime


def bypass(inlet: Offgas, gone: Stream, over: GasOverTime, offered: GasOverTime) -> Bypass:
    """Gas led around the acid plant; of mist and fume it takes the share it has of the dry gas."""
    share = dry_flow(gone) / dry_flow(inlet.gas)
    carried, left = parted(inlet.carried, share)
    out = Offgas(gone, carried)
    outlet = Offgas(Stream(inlet.gas.phase, inlet.gas.n - gone.n, inlet.T), left)
    stacks = {f"stack_{name}": entry for name, entry in out.entries.items()}
    solved = np.zeros(1, dtype=np.int64)
    ledger = Ledger(inlet.entries, {**outlet.entries, **stacks})
    return Bypass(outlet, ledger, None, solved, out, over, offered)


def needed(gas: Stream, s: GasTrainSettings) -> FloatN:
    """Dry flow (N,) [mol/s] a gas comes to with the air its SO2 strength and its O2/SO2 ratio need.

    SO2 / (dry + a) <= y and (O2 + 0.209 a) / SO2 >= r, with no more air a than that.
    """
    need = AirNeed(s.so2_highest, s.o2_so2_lowest)
    most: FloatN = need.flows(dry_flow(gas), gas.amount("SO2(g)"), gas.amount("O2(g)")).max(axis=1)
    return most


def dilution(inlet: Offgas, flow: FloatN, site: SiteSettings) -> Dilution:
    """Air (N,) [mol/s], dry, before the drying tower. Fog that cold air makes is counted as vapour."""
    drawn = air(flow, site)
    outlet, left = settle(inlet.with_air(drawn), inlet.enthalpy() + drawn.enthalpy())
    ledger = Ledger({**inlet.entries, "air": Entry.of(drawn)}, outlet.entries, {"part_molten": left})
    return Dilution(outlet, ledger, None, unsettled(outlet), flow)


def dry_flow(gas: Stream) -> FloatN:
    """(N,) [mol/s] without water vapour."""
    return gas.total() - gas.amount("H2O(g)")


def water_per_dry(T: FloatN, p: FloatN) -> FloatN:
    """Moles of water per mole of dry gas at saturation, (N,) [mol/mol]: p_sat / (p - p_sat)."""
    saturation = vapour_pressure(T)
    return saturation / (p - saturation)


def wash_water(flow: FloatN, s: GasTrainSettings) -> Stream:
    """``flow`` (N,) [mol/s] of water at the temperature of the circulating liquor."""
    return Stream(species(WATER), column(flow), s.wash_water_temperature)


def liquor_entry(liquor: Stream) -> Entry:
    """Weak acid in a ledger: its substances and the heat of mixing acid with water."""
    e, mixed = Entry.of(liquor), mixing_heat(liquor.amount(ACID), liquor.amount(WATER))
    return Entry(e.elements, e.enthalpy + mixed, e.formation + mixed)


def _dissolved(k: FloatN, dry: FloatN, so2: FloatN) -> FloatN:
    """SO2 (N,) [mol/s] that goes into solution: the smaller root of x (dry - x) = k (so2 - x).

    x = H p V y, with y the share of SO2 left in the dry gas.
    """
    b = dry + k
    return 2.0 * k * so2 / (b + np.sqrt(b * b - 4.0 * k * so2))


def _set(stream: Stream, amounts: Mapping[str, FloatN]) -> FloatNS:
    """(N, S) amounts of a stream with some replaced."""
    columns = dict(zip(stream.phase.names, stream.n.T, strict=True)) | dict(amounts)
    return np.stack(np.broadcast_arrays(*columns.values()), axis=1)
