"""Settings of slag cleaning."""

from __future__ import annotations

from dataclasses import dataclass

from pyrobal.arrays import FloatN
from pyrobal.constants import MJ, MW, PERCENT, TONNE, celsius
from pyrobal.fields import choice, quantity, table, text

KINDS = ("electric_furnace", "flotation", "none")


@dataclass(frozen=True, kw_only=True)
class SlagCleaningSettings:
    """Electric furnace, slow cooling and flotation, or none. Defaults are common practice."""

    kind: str = choice("how copper is won back from slag", KINDS, default="electric_furnace")
    smelting_slag: str = choice("how slag of the smelting furnace arrives", ("hot", "cold"), default="hot")
    converting_slag: str = choice("how slag of converting arrives", ("hot", "cold"), default="hot")
    matte_to: str = choice(
        "where the matte of the electric furnace goes", ("smelting", "converting"), default="converting"
    )

    slag_copper: FloatN | None = quantity(
        "wt%", "copper in the cleaned slag, all forms", default=None, low=0.0, high=0.2, word="predicted"
    )
    slag_entrained_copper: FloatN = quantity(
        "wt%",
        "copper in the cleaned slag as matte that did not settle",
        default=0.2 * PERCENT,
        low=0.0,
        high=0.1,
    )
    slag_magnetite: FloatN = quantity(
        "wt%",
        "most Fe3O4 left in the cleaned slag; the reductant follows",
        default=4 * PERCENT,
        low=0.2 * PERCENT,
        high=0.3,
    )
    slag_sulfur: FloatN | None = quantity(
        "wt%", "sulfur dissolved in the cleaned slag", default=None, low=0.0, high=0.03, word="predicted"
    )
    magnetite_over_equilibrium: FloatN = quantity(
        "-",
        "ratio of the slag's magnetite to its equilibrium; it matters where copper metal forms",
        default=3.0,
        low=0.1,
        high=20.0,
    )
    matte_activities: str = choice("activity model of the matte", ("goto", "ionic"), default="goto")
    slag_temperature: FloatN = quantity(
        "degC", "cleaned slag tapped", default=celsius(1250), low=celsius(1150), high=celsius(1450)
    )
    matte_temperature: FloatN = quantity(
        "degC", "matte tapped", default=celsius(1210), low=celsius(1100), high=celsius(1400)
    )
    reductant: str = text("name of a [fuel.*] table", default="coke")
    reductant_efficiency: FloatN = quantity(
        "%", "reductant that reacts with the slag; the rest burns above it", default=0.6, low=0.01, high=1.0
    )
    reductant_to_co: FloatN = quantity(
        "%",
        "carbon that leaves the slag as CO, of that which reacts; else as CO2",
        default=0.8,
        low=0.0,
        high=1.0,
    )
    hood_air: FloatN = quantity(
        "-",
        "air drawn in over the slag, of that which burns the furnace gas",
        default=3.0,
        low=1.0,
        high=200.0,
    )
    heat_loss: FloatN | None = quantity(
        "MW",
        "heat lost through walls, roof and electrodes; else from heat_loss_per_tonne",
        default=None,
        low=0.0,
        high=100 * MW,
        usual=(0.1 * MW, 20 * MW),
    )
    heat_loss_per_tonne: FloatN = quantity(
        "MJ/t",
        "heat lost per tonne of slag fed, where heat_loss is not given",
        default=120 * MJ / TONNE,
        low=0.0,
        high=2000 * MJ / TONNE,
    )
    electrical_efficiency: FloatN = quantity(
        "%", "power that reaches the bath, of that drawn from the grid", default=0.95, low=0.5, high=1.0
    )
    distribution: dict[str, dict[str, FloatN]] = table(
        "ratio of a minor element, wt% in slag over wt% in matte at 62 % Cu, and power of pO2 it goes with",
        "distribution",
    )
    deportment: dict[str, dict[str, FloatN]] = table(
        "share of a minor element to matte, slag and dust; fixed, in place of the ratio", "deportment"
    )

    tailings_copper: FloatN = quantity(
        "wt%",
        "copper in the dry tailings, with flotation; usually 0.25 to 0.5",
        default=0.35 * PERCENT,
        low=0.0,
        high=4 * PERCENT,
    )
    concentrate_grade: FloatN = quantity(
        "wt%",
        "copper in the dry slag concentrate, with flotation",
        default=28 * PERCENT,
        low=5 * PERCENT,
        high=0.9,
    )
    concentrate_moisture: FloatN = quantity(
        "%",
        "water in the slag concentrate, of the wet mass, with flotation",
        default=9 * PERCENT,
        low=0.0,
        high=0.3,
    )
    milling_energy: FloatN = quantity(
        "kWh/t",
        "power for crushing, grinding and flotation per tonne of slag",
        default=55 * 3.6 * MJ / TONNE,
        low=0.0,
        high=300 * 3.6 * MJ / TONNE,
    )
