"""A hood: air is drawn in over a furnace, and what can burn in its gas burns."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS
from pyrobal.streams.mixing import temperature
from pyrobal.streams.site import (
    AIR_SPECIES,
    OXYGEN_IN_AIR,
    SiteSettings,
    air_humidity,
    air_species,
    moist_air,
)
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import Species, species

BURNT_GAS = (*AIR_SPECIES, "SO2(g)")


def burnt_gas() -> Species:
    """The S axis of fully burnt gas."""
    return species(*BURNT_GAS)


def combustion_air(gas: Stream, ratio: FloatN, site: SiteSettings) -> Stream:
    """Ambient air, ``ratio`` (N,) times what burns the gas to CO2, H2O and SO2: O2 = C + H/4 + S - O/2."""
    c, h, s, o = (gas.element(e) for e in "CHSO")
    oxygen = np.maximum(c + h / 4 + s - o / 2, 0.0)
    return Stream(
        air_species(), moist_air(ratio * oxygen / OXYGEN_IN_AIR, air_humidity(site)), site.air_temperature
    )


def burn(gas: Stream, air: Stream, carried: Stream) -> tuple[Stream, Stream]:
    """Gas and air burnt out together, and the dust they carry, at the temperature their heat gives.

    gas : C, H, N, S, O and Ar only; air : enough to burn it; carried : solids in the gas
    Where there is neither gas nor dust the temperature of the air stands. Dust that would be half molten
    stays at its melting point, and the gas takes the rest of the heat.
    """
    burnt = _burnt(gas.elements() + air.elements())
    every = species(*BURNT_GAS, *carried.phase.names)
    rows = max(len(burnt), len(carried.n))
    n = np.concatenate([np.broadcast_to(x, (rows, x.shape[1])) for x in (burnt, carried.n)], axis=1)
    heat = gas.enthalpy() + air.enthalpy() + carried.enthalpy()
    T = temperature(every, n, heat)
    T = np.where(n.any(axis=1), T, air.T)
    dust = Stream(carried.phase, carried.n, T)
    of_gas = temperature(burnt_gas(), burnt, heat - dust.enthalpy())
    return Stream(burnt_gas(), burnt, np.where(np.isfinite(of_gas), of_gas, T)), dust


def _burnt(elements: FloatNE) -> FloatNS:
    """Amounts on BURNT_GAS, every element in its burnt form; the rest of the oxygen is O2."""
    c, h, n, s, o, ar = (elements[:, ELEMENTS.index(e)] for e in ("C", "H", "N", "S", "O", "Ar"))
    spare = o / 2 - c - h / 4 - s
    return np.stack([spare, n / 2, ar, c, h / 2, s], axis=1)
