"""Settings of the smelting furnace."""

from __future__ import annotations

from dataclasses import dataclass

from pyrobal.arrays import FloatN
from pyrobal.constants import MJ, MW, NM3, PERCENT, TONNE, celsius
from pyrobal.fields import choice, quantity, table, text

HEAT_CLOSURES = ("fuel", "enrichment", "cold_charge", "slag_temperature", "nothing")

LEAKS = ("bath_side", "after_uptake")


@dataclass(frozen=True)
class SmeltingSettings:
    """Targets, blast, temperatures and correlations of one smelting furnace."""

    matte_grade: FloatN = quantity(
        "wt%", "copper in the matte; a reading instead where oxygen_per_tonne is given",
        default=62 * PERCENT, low=20 * PERCENT, high=100 * PERCENT,
    )  # fmt: skip
    oxygen_per_tonne: FloatN | None = quantity(
        "Nm3/t", "pure oxygen for the charge per tonne of dry concentrate; the matte grade then follows",
        default=None, low=0.0, high=1000 * NM3 / TONNE,
    )  # fmt: skip
    enrichment: FloatN = quantity("vol%", "O2 in the dry process gas", default=0.60, low=0.15, high=1.0)
    oxygen_purity: FloatN = quantity(
        "vol%", "O2 of the industrial oxygen, the rest nitrogen and argon", default=0.95, low=0.25, high=1.0
    )
    blast_temperature: FloatN = quantity(
        "degC", "process gas as blown", default=celsius(25), low=celsius(-40), high=celsius(1000)
    )
    oxygen_efficiency: FloatN = quantity(
        "%", "oxygen that reacts, of that supplied for the charge", default=0.99, low=0.3, high=1.0
    )
    matte_temperature: FloatN = quantity(
        "degC", "matte tapped", default=celsius(1230), low=celsius(1050), high=celsius(1500)
    )
    slag_temperature: FloatN = quantity(
        "degC", "slag tapped", default=celsius(1270), low=celsius(1100), high=celsius(1500)
    )
    gas_temperature: FloatN = quantity(
        "degC",
        "gas leaving the uptake, in-leakage of the bath side included",
        default=celsius(1350),
        low=celsius(900),
        high=celsius(1600),
    )
    fe_sio2: FloatN = quantity(
        "-", "mass ratio of total Fe to SiO2 in the slag; a reading where there is no silica flux",
        default=1.25, low=0.2, high=6.0,
    )  # fmt: skip
    cao_sio2: FloatN | None = quantity(
        "-", "mass ratio of CaO to SiO2 in the slag; only with a lime flux, else a reading",
        default=None, low=0.0, high=3.0,
    )  # fmt: skip
    slag_magnetite: FloatN | None = quantity(
        "wt%", "Fe3O4 in the slag", default=None, low=0.0, high=0.5, word="predicted"
    )
    slag_copper: FloatN | None = quantity(
        "wt%", "copper in the slag, all forms", default=None, low=0.0, high=0.3, word="predicted"
    )
    slag_sulfur: FloatN | None = quantity(
        "wt%", "sulfur dissolved in the slag", default=None, low=0.0, high=0.05, word="predicted"
    )
    matte_iron: FloatN | None = quantity(
        "wt%", "iron in the matte, as sulfide and oxide", default=None, low=0.0, high=0.65, word="predicted"
    )
    matte_sulfur: FloatN | None = quantity(
        "wt%", "sulfur in the matte", default=None, low=0.0, high=0.4, word="predicted"
    )
    matte_oxygen: FloatN | None = quantity(
        "wt%", "oxygen in the matte", default=None, low=0.0, high=0.08, word="predicted"
    )
    magnetite_over_equilibrium: FloatN = quantity(
        "-", "ratio of the slag's magnetite to its local equilibrium, fitted to common practice; to be tuned",
        default=5.6, low=0.0, high=20.0,
    )  # fmt: skip
    slag_magnetite_model: str = choice(
        "correlation for magnetite in the slag", ("goto", "kress_carmichael"), default="goto"
    )
    ferric_over_equilibrium: FloatN = quantity(
        "-", "ferric over ferrous iron of the slag over that of the melt, with kress_carmichael; to be tuned",
        default=2.5, low=0.0, high=20.0,
    )  # fmt: skip
    oxidic_copper_over_equilibrium: FloatN = quantity(
        "-", "oxidic copper of the slag over its local equilibrium, fitted to common practice; to be tuned",
        default=2.5, low=0.1, high=20.0,
    )  # fmt: skip
    slag_sulfur_over_equilibrium: FloatN = quantity(
        "-", "ratio of the slag's dissolved sulfur to its local equilibrium, to be tuned",
        default=2.5, low=0.1, high=20.0,
    )  # fmt: skip
    slag_entrained_matte: FloatN = quantity(
        "%", "matte suspended in the slag, of the slag; it carries copper as the matte does",
        default=0.8 * PERCENT, low=0.0, high=0.3,
    )  # fmt: skip
    slag_entrained_copper: FloatN | None = quantity(
        "wt%", "copper in the slag as suspended matte, in place of slag_entrained_matte",
        default=None, low=0.0, high=0.2,
    )  # fmt: skip
    matte_oxygen_model: str = choice(
        "correlation for oxygen in the matte", ("matousek", "kaiser_elliott"), default="matousek"
    )
    matte_activities: str = choice("activity model of the matte", ("goto", "ionic"), default="goto")
    slag_copper_model: str = choice(
        "correlation for copper dissolved as oxide", ("nagamori", "goto"), default="nagamori"
    )
    deportment: dict[str, dict[str, FloatN]] = table(
        "share of a minor element to matte, slag, dust and gas; fixed, in place of the ratio", "deportment"
    )
    distribution: dict[str, dict[str, FloatN]] = table(
        "ratio of a minor element, wt% in slag over wt% in matte at 62 % Cu, and power of pO2 it goes with",
        "distribution",
    )
    dust: FloatN = quantity("%", "dust carried out, of the dry charge", default=0.06, low=0.0, high=0.3)
    dust_return: FloatN = quantity("%", "share of the dust recycled", default=1.0, low=0.0, high=1.0)
    dust_sulfation: FloatN = quantity(
        "%", "oxides of Cu, Pb, Zn, Ni and Ca in the recycled dust that are sulfate; not with a gas train",
        default=0.7, low=0.0, high=1.0,
    )  # fmt: skip
    air_in_leakage: FloatN = quantity(
        "%", "air drawn in, of the dry process gas; where, see in_leakage_enters",
        default=0.05, low=0.0, high=3.0,
    )  # fmt: skip
    in_leakage_enters: str = choice(
        "where that air enters: on the bath side of the gas temperature, which the furnace's heat brings it "
        "to, or after the uptake, where it cools the gas and leaves the furnace's heat as it is; what leaks "
        "into cooler and precipitator is theirs",
        LEAKS, default="bath_side",
    )  # fmt: skip
    heat_loss: FloatN | None = quantity(
        "MW", "heat lost through walls and openings; else from heat_loss_per_tonne",
        default=None, low=0.0, high=200 * MW, usual=(1 * MW, 60 * MW),
    )  # fmt: skip
    heat_loss_per_tonne: FloatN = quantity(
        "MJ/t", "heat lost per tonne of dry concentrate where heat_loss is not given",
        default=150 * MJ / TONNE, low=0.0, high=2000 * MJ / TONNE,
    )  # fmt: skip
    fuel: str = text("name of a [fuel.*] table", default="natural_gas")
    fuel_minimum: FloatN = quantity(
        "MW",
        "fuel always fired, by lower heating value",
        default=0.0,
        low=0.0,
        high=200 * MW,
        usual=(0.1 * MW, 80 * MW),
    )
    fuel_excess_air: FloatN = quantity(
        "%", "oxygen blown for the fuel beyond what it burns with; in a bath the charge takes it, so nil",
        default=0.0, low=0.0, high=2.0,
    )  # fmt: skip
    fuel_ash_to_slag: FloatN = quantity(
        "%", "ash of coke, coal or oil that goes to the slag, the rest leaves as dust",
        default=1.0, low=0.0, high=1.0,
    )  # fmt: skip
    close_heat_with: str = choice("what closes the heat balance", HEAT_CLOSURES, default="fuel")
