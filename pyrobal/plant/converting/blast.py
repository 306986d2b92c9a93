"""The blast of a converter: moist air with industrial oxygen, per mole of dry gas."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, FloatN, FloatNS, column
from pyrobal.plant.converting.settings import ConvertingSettings
from pyrobal.streams.site import (
    OXYGEN_IN_AIR,
    SiteSettings,
    air_humidity,
    air_species,
    industrial_oxygen,
    moist_air,
)


@dataclass(frozen=True, eq=False)
class Blast:
    """One mole of dry blast.

    n : (N, 5) [mol/mol] on AIR_SPECIES, moisture of the air on top
    air : (N,) [mol/mol] dry air in it, the rest is industrial oxygen
    oxygen : (N,) [mol/mol] O2
    enthalpy : (N,) [J/mol] as it enters
    """

    n: FloatNS
    air: FloatN
    oxygen: FloatN
    enthalpy: FloatN


def blast(site: SiteSettings, s: ConvertingSettings, enrichment: FloatN) -> Blast:
    """Blast of an enrichment (N,) [mol/mol]: air + industrial = 1 and x_air air + P industrial = y."""
    air = (s.oxygen_purity - enrichment) / (s.oxygen_purity - OXYGEN_IN_AIR)
    n = moist_air(air, air_humidity(site)) + column(1.0 - air) * industrial_oxygen(s.oxygen_purity)
    enthalpy = (n * air_species().enthalpy(s.blast_temperature)).sum(axis=1)
    return Blast(n, air, n[:, 0], enthalpy)


def uptake(s: ConvertingSettings, wind: Blast) -> FloatN:
    """(N,) [J/mol] that dry blast takes up on its way to the gas, none of its oxygen used."""
    return (wind.n * air_species().enthalpy(s.bath_temperature)).sum(axis=1) - wind.enthalpy


def enrichment_for(site: SiteSettings, s: ConvertingSettings, heat: FloatN, lost: FloatN) -> FloatN:
    """Enrichment (N,) [mol/mol] at which the blast of a mole of O2 takes up ``heat`` (N,) [J].

    lost : (N,) [J/mol] that the vessel loses while a mole of dry blast is blown
    What a blast takes up is that of its air and that of its industrial oxygen, so the answer is explicit; it
    stays between air and the purity of the oxygen.
    """
    air, pure = (uptake(s, blast(site, s, x)) + lost for x in (np.array([OXYGEN_IN_AIR]), s.oxygen_purity))
    per_air = air - pure * OXYGEN_IN_AIR / s.oxygen_purity
    wanted = np.clip(
        (heat - pure / s.oxygen_purity) / per_air, 0.0, 1.0 / OXYGEN_IN_AIR
    )  # mol air per mol O2
    return 1.0 / (wanted + (1.0 - OXYGEN_IN_AIR * wanted) / s.oxygen_purity)


def out_of_reach(enrichment: FloatN, s: ConvertingSettings) -> BoolN:
    """(N,) True where air and industrial oxygen cannot be mixed to this enrichment."""
    rounding = 1e-12
    return (enrichment < OXYGEN_IN_AIR * (1 - rounding)) | (enrichment > s.oxygen_purity * (1 + rounding))
