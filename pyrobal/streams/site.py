"""The site: ambient pressure, air and its humidity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNS, column
from pyrobal.constants import KELVIN, KPA, P_NORMAL, PASCAL, celsius
from pyrobal.fields import quantity
from pyrobal.thermo.properties import Species, species

# Dry air by volume: ISO 2533:1975 standard atmosphere, CO2 at its present 420 ppm, rest to 100 % on N2.
DRY_AIR = {"O2(g)": 0.20946, "Ar(g)": 0.00934, "CO2(g)": 0.00042, "N2(g)": 0.78078}
OXYGEN_IN_AIR = DRY_AIR["O2(g)"]


@dataclass(frozen=True)
class SiteSettings:
    """Where the plant stands."""

    pressure: FloatN = quantity("kPa", "barometric pressure", default=P_NORMAL, low=50 * KPA, high=110 * KPA)
    air_temperature: FloatN = quantity(
        "degC", "ambient air temperature", default=celsius(20), low=celsius(-50), high=celsius(55)
    )
    relative_humidity: FloatN = quantity("%", "relative humidity of the air", default=0.6, low=0.0, high=1.0)
    operating_time: FloatN = quantity(
        "h/a", "operating hours in a year", default=8000.0 / 8766.0, low=0.0, high=1.0
    )


def vapour_pressure(T: FloatN) -> FloatN:
    """Saturation pressure of water.

    T : (N,) [K], 273.16 to 647.096; below the triple point the liquid curve is continued.
    Returns (N,) [Pa].
    Wagner & Pruss 1993, IAPWS Supplementary Release SR1-86(1992), eq. 1.
    """
    tc, pc = 647.096 * KELVIN, 22.064e6 * PASCAL
    theta = 1.0 - T / tc
    series = (
        -7.85951783 * theta
        + 1.84408259 * theta**1.5
        - 11.7866497 * theta**3
        + 22.6807411 * theta**3.5
        - 15.9618719 * theta**4
        + 1.80122502 * theta**7.5
    )
    return pc * np.exp(tc / T * series)


def air_humidity(site: SiteSettings) -> FloatN:
    """Moles of water vapour per mole of dry air, (N,) [mol/mol]: p_w / (p - p_w), p_w = RH p_sat(T)."""
    p_water = site.relative_humidity * vapour_pressure(site.air_temperature)
    return p_water / (site.pressure - p_water)


AIR_SPECIES = ("O2(g)", "N2(g)", "Ar(g)", "CO2(g)", "H2O(g)")


def air_species() -> Species:
    """The S axis of air and blast: O2, N2, Ar, CO2, H2O."""
    return species(*AIR_SPECIES)


def moist_air(dry_flow: FloatN, humidity: FloatN) -> FloatNS:
    """Amounts in air carrying ``dry_flow`` (N,) [mol/s] of dry gas: (N, 5) [mol/s] on ``AIR_SPECIES``."""
    dry = np.array([DRY_AIR[name] for name in AIR_SPECIES[:4]])
    dry_flow, humidity = np.broadcast_arrays(dry_flow, humidity)
    return np.concatenate([column(dry_flow) * dry, column(dry_flow * humidity)], axis=1)


def industrial_oxygen(purity: FloatN) -> FloatNS:
    """One mole of industrial oxygen of a purity (N,) [mol/mol]: (N, 5) [mol] on ``AIR_SPECIES``.

    The rest is nitrogen and argon as in air (an assumption; makes of oxygen differ).
    """
    inert = np.array([DRY_AIR[name] if name in ("N2(g)", "Ar(g)") else 0.0 for name in AIR_SPECIES])
    is_oxygen = np.array([float(name == "O2(g)") for name in AIR_SPECIES])
    return column(purity) * is_oxygen + (1.0 - column(purity)) * inert / inert.sum()
