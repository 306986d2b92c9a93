"""Hood, electrostatic precipitator and fan of a hot line. Each takes an Offgas and gives a Piece."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.constants import R
from pyrobal.plant.gas_train.offgas import Offgas, Piece, air, parted, settle, unsettled
from pyrobal.plant.gas_train.reactions import BURNING, complete, oxygen
from pyrobal.plant.gas_train.settings import GasLineSettings
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream


def hood(inlet: Offgas, s: GasLineSettings, site: SiteSettings) -> Piece:
    """Air drawn in and what it burns; no heat is lost.

    Burnable gases burn alike as far as the oxygen goes; what is left of them stays in the gas.
    """
    burnt, drawn = burnt_in_hood(inlet, s, site)
    outlet, left = settle(burnt, inlet.enthalpy() + drawn.enthalpy())
    ledger = Ledger({**inlet.entries, "air": Entry.of(drawn)}, outlet.entries, {"part_molten": left})
    return Piece(outlet, ledger, None, unsettled(outlet))


def burnt_in_hood(inlet: Offgas, s: GasLineSettings, site: SiteSettings) -> tuple[Offgas, Stream]:
    """The off-gas with what has burnt, its temperature not yet changed, and the air drawn in."""
    drawn = air(s.hood_air * inlet.gas.total(), site)
    mixed = inlet.with_air(drawn)
    needed = oxygen(mixed, BURNING)
    there = mixed.gas.amount("O2(g)")
    short = needed > there
    share = np.where(short, np.divide(there, needed, out=np.ones_like(needed + there), where=short), 1.0)
    return complete(mixed, BURNING, share), drawn


def precipitator(inlet: Offgas, s: GasLineSettings, site: SiteSettings) -> Piece:
    """Dust caught electrically; air leaks in and the walls take the temperature down a little further."""
    leak = air(s.precipitator_leak * inlet.gas.total(), site)
    mixed, left = settle(inlet.with_air(leak), inlet.enthalpy() + leak.enthalpy())
    cooled = mixed.at(mixed.T - s.precipitator_cooling)
    caught, rest = parted(cooled.carried, s.precipitator_catch)
    outlet = Offgas(cooled.gas, rest)
    ledger = Ledger(
        {**inlet.entries, "leak": Entry.of(leak)},
        {**outlet.entries, "dust": Entry.of(caught)},
        {"loss": mixed.enthalpy() - cooled.enthalpy(), "part_molten": left},
    )
    return Piece(outlet, ledger, caught, unsettled(outlet))


@dataclass(frozen=True, eq=False)
class Fan(Piece):
    """A fan; power : (N,) [W] given to the gas; suction_flow : (N,) [m3/s] wet gas as the fan draws it."""

    power: FloatN
    suction_flow: FloatN


def fan(inlet: Offgas, s: GasLineSettings, site: SiteSettings) -> Fan:
    """Raise the pressure to that of the site: adiabatic head over the efficiency, all of it heat in the gas.

    W = n cp T ((p2 / p1)^(R / cp) - 1) / efficiency, ideal gas, cp at the inlet.
    """
    flow = inlet.gas.total()
    capacity = (inlet.gas.n * inlet.gas.phase.heat_capacity(inlet.T)).sum(axis=1)
    suction = site.pressure - s.fan_pressure
    ratio = site.pressure / suction
    exponent = np.divide(R * flow, capacity, out=np.zeros_like(capacity), where=capacity > 0.0)
    power = capacity * inlet.T * (ratio**exponent - 1.0) / s.fan_efficiency
    outlet, left = settle(inlet, inlet.enthalpy() + power)
    ledger = Ledger(inlet.entries, outlet.entries, {"shaft": -power, "part_molten": left})
    return Fan(outlet, ledger, None, unsettled(outlet), power, flow * R * inlet.T / suction)
