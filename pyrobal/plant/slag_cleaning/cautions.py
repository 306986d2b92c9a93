"""What a slag cleaning balance warns of. None of these stops the balance; each says what it means."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import BoolN
from pyrobal.constants import MJ, PERCENT, TONNE, celsius
from pyrobal.plant.slag_cleaning.result import SlagCleaningResult

# Windows of an electric furnace on liquid slag. Power: Davenport, King, Schlesinger & Biswas 2002, Extractive
# Metallurgy of Copper, 4th ed.: 15 to 70 kWh per tonne of slag. The rest is common practice.
MOST_POWER = 70 * 3.6 * MJ / TONNE  # J/kg
LEAST_MAGNETITE = 2 * PERCENT
HOTTEST_GAS = celsius(1100)  # after the air drawn in
_METAL = 0.02  # share of the copper of the matte that is metal

# Reading a caution belongs to -> what it says.
CAUTIONS = {
    "slag_cleaning.energy_per_tonne": (
        "more power than the 15 to 70 kWh/t usual for liquid slag: look at heat loss and slag temperature"
    ),
    "slag_cleaning.heat.surplus": (
        "the slag brings more heat than the furnace loses: even without power it leaves hotter than "
        "slag_temperature"
    ),
    "slag_cleaning.slag.magnetite": (
        "reduced this far, iron metal may form and freeze on the hearth; the balance does not carry it"
    ),
    "slag_cleaning.matte.metal": (
        "sulfur is short, so copper metal settles beside the matte; a sulfide addition would bring down more"
    ),
    "slag_cleaning.reductant": (
        "the slag holds no more magnetite than slag_magnetite allows, so no reductant is charged"
    ),
    "slag_cleaning.gas.temperature": (
        "the burnt gas is hotter than flues usually stand; draw in more air (hood_air) or cool it"
    ),
}
SAFETY = (
    "Reduced slag gives off CO: NIOSH lists 1200 ppm as immediately dangerous (NIOSH IDLH documentation, "
    "1994). Molten slag or matte on water or damp charge explodes. This is a screening balance; local codes "
    "and licensed practice decide"
)


def cautions(r: SlagCleaningResult) -> dict[str, BoolN]:
    """(N,) True where a caution of ``CAUTIONS`` holds; all of them are of the electric furnace."""
    if r.matte is None or r.gas is None:
        return {}
    hot = r.settings.smelting_slag == r.settings.converting_slag == "hot"
    magnetite = r.slag.amount("Fe3O4(slag)") * r.slag.phase.molar_mass[r.slag.phase.index("Fe3O4(slag)")]
    with np.errstate(invalid="ignore"):
        found = {
            "slag_cleaning.energy_per_tonne": (r.power_per_mass > MOST_POWER) & hot,
            "slag_cleaning.heat.surplus": r.surplus > 0,
            "slag_cleaning.slag.magnetite": magnetite / r.slag.mass() < LEAST_MAGNETITE,
            "slag_cleaning.matte.metal": r.matte.amount("Cu(l)") > _METAL * r.matte.element("Cu"),
            "slag_cleaning.reductant": r.reductant <= 0,
            "slag_cleaning.gas.temperature": r.gas.T > HOTTEST_GAS,
        }
    solved = r.reason == 0
    return {name: np.asarray(holds & solved) for name, holds in found.items()}
