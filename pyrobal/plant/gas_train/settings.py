"""Settings of the gas train: one line per source of gas, and the wet cleaning they share."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

from pyrobal.arrays import FloatN, as_n
from pyrobal.constants import KPA, NM3, PERCENT, celsius
from pyrobal.fields import choice, quantity

BAR = 1e5  # Pa
DESTINATIONS = ("acid_plant", "stack")
COOLINGS = ("boiler", "water_spray", "none")


@dataclass(frozen=True)
class GasLineSettings:
    """The hot gas of one source, from its hood or uptake to its fan; defaults of a smelting furnace.

    Defaults are common practice.
    """

    to: str = choice("where the gas goes", DESTINATIONS, default="acid_plant")
    hood_air: FloatN = quantity(
        "%", "air drawn in at the hood, dry, of the gas that enters", default=0.0, low=0.0, high=20.0
    )
    cooling: str = choice("what cools the gas", COOLINGS, default="boiler")
    cooler_temperature: FloatN = quantity(
        "degC", "gas leaving the boiler or spray cooler",
        default=celsius(370), low=celsius(150), high=celsius(800),
    )  # fmt: skip
    cooler_leak: FloatN = quantity(
        "%", "air drawn into the cooler, dry, of the gas that enters", default=0.05, low=0.0, high=3.0
    )
    cooler_loss: FloatN = quantity(
        "%", "heat lost through its walls, of the heat taken from the gas", default=0.03, low=0.0, high=0.5
    )
    cooler_catch: FloatN = quantity("%", "dust that drops out there", default=0.60, low=0.0, high=1.0)
    steam_pressure: FloatN = quantity(
        "bar", "steam pressure of the boiler, absolute", default=60 * BAR, low=2 * BAR, high=120 * BAR
    )
    steam_temperature: FloatN | None = quantity(
        "degC", "steam leaving the boiler",
        default=None, low=celsius(120), high=celsius(600), word="saturated",
    )  # fmt: skip
    feedwater_temperature: FloatN = quantity(
        "degC", "boiler feedwater", default=celsius(105), low=celsius(5), high=celsius(320)
    )
    so3_share: FloatN = quantity("%", "SO2 that turns to SO3 on the way", default=0.01, low=0.0, high=0.3)
    sulfation: FloatN = quantity(
        "%", "oxides of Cu, Pb, Zn, Ni and Ca in the dust that turn to sulfate",
        default=0.7, low=0.0, high=1.0,
    )  # fmt: skip
    sulfation_air: FloatN = quantity(
        "-", "air blown in for it, as a multiple of the oxygen it takes", default=1.0, low=0.0, high=20.0
    )
    arsenic_to_dust: FloatN = quantity(
        "%", "arsenic vapour that the dust takes up", default=0.0, low=0.0, high=1.0
    )
    precipitator_leak: FloatN = quantity(
        "%", "air drawn into the precipitator, dry, of the gas that enters", default=0.05, low=0.0, high=3.0
    )
    precipitator_catch: FloatN = quantity("%", "dust caught in it", default=0.98, low=0.0, high=1.0)
    precipitator_cooling: FloatN = quantity(
        "K", "fall of temperature through its walls", default=15.0, low=0.0, high=150.0
    )
    fan_pressure: FloatN = quantity(
        "kPa", "pressure rise of the fan", default=4 * KPA, low=0.0, high=30 * KPA
    )
    fan_efficiency: FloatN = quantity("%", "efficiency of the fan", default=0.70, low=0.2, high=1.0)
    wall_below_gas: FloatN = quantity(
        "K", "how far the coldest wall of ducts and precipitator lies below the gas",
        default=80.0, low=0.0, high=400.0,
    )  # fmt: skip


def _default(name: str, value: Any) -> Any:
    """A setting of ``GasLineSettings`` with another default."""
    declared = next(f for f in dataclasses.fields(GasLineSettings) if f.name == name).metadata
    if isinstance(value, str):
        return dataclasses.field(default=value, metadata=declared)
    return dataclasses.field(default_factory=lambda: as_n(value), metadata=declared)


@dataclass(frozen=True)
class ConverterGasSettings(GasLineSettings):
    """The same with defaults of a batch converter: a spray cooler. Its hood stands in [converting]."""

    cooling: str = _default("cooling", "water_spray")
    so3_share: FloatN = _default("so3_share", 0.02)


@dataclass(frozen=True)
class AnodeGasSettings(GasLineSettings):
    """The same with defaults of an anode furnace: to the stack. Its hood stands in [anode_furnace]."""

    to: str = _default("to", "stack")
    cooling: str = _default("cooling", "water_spray")
    cooler_catch: FloatN = _default("cooler_catch", 0.0)
    sulfation: FloatN = _default("sulfation", 0.0)


@dataclass(frozen=True)
class GasTrainSettings:
    """Wet cleaning of the gas for the acid plant, and its dilution."""

    suction: FloatN = quantity(
        "kPa", "pressure of the wet cleaning below the barometer",
        default=4 * KPA, low=-20 * KPA, high=20 * KPA,
    )  # fmt: skip
    wash_water_temperature: FloatN = quantity(
        "degC", "circulating liquor and water as sprayed",
        default=celsius(28), low=celsius(2), high=celsius(60),
    )  # fmt: skip
    weak_acid_strength: FloatN = quantity(
        "wt%", "H2SO4 in the weak acid bled off; weaker where the gas brings more water",
        default=5 * PERCENT, low=0.1 * PERCENT, high=0.5,
    )  # fmt: skip
    scrubber_catch: FloatN = quantity(
        "%", "acid mist, fume and dust taken up by quench and scrubber", default=0.60, low=0.0, high=1.0
    )
    so2_stripping: FloatN = quantity(
        "%", "SO2 dissolved in the weak acid that is stripped and recycled", default=0.0, low=0.0, high=1.0
    )
    cooled_gas_temperature: FloatN = quantity(
        "degC", "gas leaving the cooling tower, saturated",
        default=celsius(35), low=celsius(2), high=celsius(70),
    )  # fmt: skip
    mist_catch: FloatN = quantity(
        "%", "of what is left, caught in the wet precipitators", default=0.995, low=0.0, high=1.0
    )
    wet_leak: FloatN = quantity(
        "%", "air drawn into the wet cleaning, dry, of the gas that enters", default=0.02, low=0.0, high=2.0
    )
    mercury_catch: FloatN = quantity(
        "%", "mercury that the wash takes up, with dust and selenium; the rest goes on as vapour",
        default=0.5, low=0.0, high=1.0,
    )  # fmt: skip
    mercury_tower: str = choice(
        "tower that takes mercury out of the cleaned gas", ("none", "chloride_wash"), default="none"
    )
    mercury_left: FloatN = quantity(
        "mg/Nm3", "mercury that the tower leaves in the dry gas, at most",
        default=0.05e-6 / NM3, low=0.0, high=10e-6 / NM3,
    )  # fmt: skip
    carried_to_acid: FloatN = quantity(
        "%", "dust, fume and mist in the cleaned gas that the acid takes up; the rest goes on to the stack",
        default=0.99, low=0.0, high=1.0,
    )  # fmt: skip
    mercury_to_acid: FloatN = quantity(
        "%", "mercury in the cleaned gas that the acid takes up; the rest goes on to the stack",
        default=0.9, low=0.0, high=1.0,
    )  # fmt: skip
    so2_highest: FloatN = quantity(
        "vol%", "SO2 in the dry gas to the acid plant above which air is added",
        default=0.12, low=0.02, high=1.0,
    )  # fmt: skip
    o2_so2_lowest: FloatN = quantity(
        "-", "O2/SO2 of the gas to the acid plant below which air is added", default=1.1, low=0.0, high=5.0
    )
    dew_point_margin: FloatN = quantity(
        "K", "how far a metal wall should stay above the acid dew point", default=25.0, low=0.0, high=100.0
    )
