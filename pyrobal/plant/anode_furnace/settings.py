"""Settings of the anode furnace and of casting."""

from __future__ import annotations

from dataclasses import dataclass

from pyrobal.arrays import FloatN
from pyrobal.constants import MJ, MW, PERCENT, TONNE, celsius
from pyrobal.fields import choice, quantity, table, text


@dataclass(frozen=True, kw_only=True)
class AnodeFurnaceSettings:
    """Fire refining and casting. Defaults are common practice."""

    sulfur: FloatN = quantity(
        "wt%", "sulfur in the anodes", default=0.003 * PERCENT, low=0.0, high=0.1 * PERCENT
    )
    oxygen_after_oxidation: FloatN = quantity(
        "wt%",
        "oxygen in the copper when its sulfur is gone",
        default=0.6 * PERCENT,
        low=0.0,
        high=2 * PERCENT,
    )
    oxygen: FloatN = quantity(
        "wt%", "oxygen in the anodes", default=0.15 * PERCENT, low=0.0, high=1 * PERCENT
    )
    air_efficiency: FloatN = quantity(
        "%", "oxygen of the oxidation air that reacts", default=0.6, low=0.05, high=1.0
    )
    slag_copper: FloatN = quantity(
        "wt%", "copper in the skimmed slag, as cuprous oxide", default=35 * PERCENT, low=0.0, high=0.8
    )
    reductant: str = text("name of a [fuel.*] table, blown in to take out oxygen", default="natural_gas")
    reductant_efficiency: FloatN = quantity(
        "%", "reductant that reacts with the copper; the rest cracks and burns in the hood",
        default=0.45, low=0.01, high=1.0,
    )  # fmt: skip
    reductant_to_co: FloatN = quantity(
        "%",
        "carbon that leaves the copper as CO, of that which reacts; else as CO2",
        default=0.5,
        low=0.0,
        high=1.0,
    )
    fuel: str = text("name of a [fuel.*] table, for the burner", default="natural_gas")
    burner_excess_air: FloatN = quantity(
        "%", "burner air beyond what the fuel burns with, of that air", default=0.1, low=0.0, high=5.0
    )
    temperature: FloatN = quantity(
        "degC", "copper cast and slag skimmed", default=celsius(1200), low=celsius(1100), high=celsius(1350)
    )
    gas_temperature: FloatN = quantity(
        "degC",
        "gas leaving the furnace, before the hood",
        default=celsius(1250),
        low=celsius(900),
        high=celsius(1500),
    )
    hood_air: FloatN = quantity(
        "-",
        "air drawn in at the hood, of that which burns the reduction gas",
        default=3.0,
        low=1.0,
        high=200.0,
    )
    heat_loss: FloatN | None = quantity(
        "MW",
        "heat lost through shell and mouth; else from heat_loss_per_tonne",
        default=None,
        low=0.0,
        high=50 * MW,
        usual=(0.1 * MW, 10 * MW),
    )
    heat_loss_per_tonne: FloatN = quantity(
        "MJ/t", "heat lost per tonne of copper cast, where heat_loss is not given",
        default=300 * MJ / TONNE, low=0.0, high=5000 * MJ / TONNE,
    )  # fmt: skip
    anode_mass: FloatN = quantity("kg", "one anode", default=390.0, low=50.0, high=1000.0)
    reject_rate: FloatN = quantity("%", "anodes rejected, of those cast", default=0.03, low=0.0, high=0.5)
    reject_to: str = choice(
        "where rejected anodes are melted", ("converting", "anode_furnace"), default="converting"
    )
    deportment: dict[str, dict[str, FloatN]] = table(
        "share of an element to anode, slag and dust; overrides the table", "deportment"
    )
