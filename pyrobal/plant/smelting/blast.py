"""The process gas: air and industrial oxygen of a given enrichment, and the air drawn into the uptake."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNS
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.streams.site import (
    AIR_SPECIES,
    OXYGEN_IN_AIR,
    SiteSettings,
    air_humidity,
    air_species,
    industrial_oxygen,
    moist_air,
)


@dataclass(frozen=True, eq=False)
class Blast:
    """Ways of blowing oxygen, per mole of dry air and per mole of industrial oxygen.

    air, industrial : (N, 5) [mol/mol] on AIR_SPECIES
    leak : (N, 5) [mol/mol] moist air drawn in per mole of dry process gas
    air_heat, industrial_heat : (N,) [J/mol] taken up by everything but the oxygen, from blast to gas exit
    leak_heat : (N,) [J/mol] taken up by the in-leakage, its oxygen included; nil where it enters after the
        uptake
    oxygen_in, oxygen_out : (N,) [J/mol] enthalpy of O2 as blown and as it leaves
    purity : (N,) [mol/mol]
    unit_air, unit_industrial : (N,) [mol/mol] of each that carry a mole of O2 at the enrichment that is set:
        air + industrial = 1 / y and x_air air + P industrial = 1
    uptake : (N,) [J/mol of O2] taken up then by nitrogen, argon, moisture and in-leakage
    """

    air: FloatNS
    industrial: FloatNS
    leak: FloatNS
    air_heat: FloatN
    industrial_heat: FloatN
    leak_heat: FloatN
    oxygen_in: FloatN
    oxygen_out: FloatN
    purity: FloatN
    unit_air: FloatN
    unit_industrial: FloatN
    uptake: FloatN

    def heat_uptake(self, air: FloatN, industrial: FloatN) -> FloatN:
        """(N,) [W] taken up by nitrogen, argon, moisture and in-leakage on their way to the gas exit."""
        return air * self.air_heat + industrial * self.industrial_heat + (air + industrial) * self.leak_heat

    def air_for_heat(self, oxygen: FloatN, heat: FloatN) -> FloatN:
        """(N,) [mol/s] dry air with which ``oxygen`` is blown so that the uptake equals ``heat``.

        With industrial = (oxygen - x_air air) / P the uptake is linear in air.
        """
        per_air = self.air_heat + self.leak_heat
        per_industrial = (self.industrial_heat + self.leak_heat) / self.purity
        return (heat - oxygen * per_industrial) / (per_air - OXYGEN_IN_AIR * per_industrial)


def blast(site: SiteSettings, s: SmeltingSettings, gas_temperature: FloatN) -> Blast:
    """Blast of a site and furnace whose gas leaves at ``gas_temperature`` (N,) [K]."""
    phase = air_species()
    h_blown, h_air = phase.enthalpy(s.blast_temperature), phase.enthalpy(site.air_temperature)
    h_gas = phase.enthalpy(gas_temperature)
    humidity = air_humidity(site)
    air = moist_air(np.ones(1), humidity)
    industrial = industrial_oxygen(s.oxygen_purity)
    leak = s.air_in_leakage[:, None] * air
    heated = float(s.in_leakage_enters == "bath_side")
    span, y = s.oxygen_purity - OXYGEN_IN_AIR, s.enrichment
    rise = (h_gas - h_blown) * np.array([float(name != "O2(g)") for name in AIR_SPECIES])
    air_heat, industrial_heat = (air * rise).sum(axis=1), (industrial * rise).sum(axis=1)
    leak_heat = heated * (leak * (h_gas - h_air)).sum(axis=1)
    unit_air, unit_industrial = (s.oxygen_purity - y) / span / y, (y - OXYGEN_IN_AIR) / span / y
    return Blast(
        air=air,
        industrial=industrial,
        leak=leak,
        air_heat=air_heat,
        industrial_heat=industrial_heat,
        leak_heat=leak_heat,
        oxygen_in=h_blown[:, 0],
        oxygen_out=h_gas[:, 0],
        purity=s.oxygen_purity,
        unit_air=unit_air,
        unit_industrial=unit_industrial,
        uptake=unit_air * (air_heat + leak_heat) + unit_industrial * (industrial_heat + leak_heat),
    )
