"""What an anode furnace balance warns of. None of these stops the balance; each says what it means."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import BoolN
from pyrobal.constants import PERCENT, celsius
from pyrobal.plant.anode_furnace.solve import AnodeFurnaceResult
from pyrobal.thermo.elements import ATOMIC_MASS_OF

# Common practice.
LEAST_COPPER = 99 * PERCENT  # in anodes
MOST_OXYGEN, LEAST_OXYGEN = 0.3 * PERCENT, 0.08 * PERCENT  # in anodes that cast flat
MOST_BLISTER_SULFUR = 0.3 * PERCENT
LIGHTEST, HEAVIEST = 350.0, 420.0  # kg
HOTTEST_GAS = celsius(1250)  # after the hood

# Reading a caution belongs to -> what it says.
CAUTIONS = {
    "anode.copper": "less than 99 % copper: anodes this impure passivate and foul the electrolyte",
    "anode.oxygen": (
        "oxygen outside 0.08 to 0.3 %: anodes blister or cast uneven; look at anode_furnace.oxygen"
    ),
    "anode.so2": (
        "the blister brings more than 0.3 % sulfur: blown too fast the copper boils out of the furnace; "
        "finish the copper blow further in the converter"
    ),
    "anode.mass": "anodes are usually 350 to 420 kg",
    "anode.heat.surplus": (
        "the reactions heat the furnace more than it loses: even without a burner the copper gets hotter "
        "than anode_furnace.temperature"
    ),
    "anode.gas.temperature": (
        "the burnt gas is hotter than hoods usually stand; draw in more air (anode_furnace.hood_air)"
    ),
}
SAFETY = (
    "Reduction gas holds CO, hydrogen and soot until it is burnt out: NIOSH lists 1200 ppm CO as immediately "
    "dangerous (NIOSH IDLH documentation, 1994). Damp scrap or moulds explode under molten copper. This is a "
    "screening balance; local codes and licensed practice decide"
)


def cautions(r: AnodeFurnaceResult) -> dict[str, BoolN]:
    """(N,) True where a caution of ``CAUTIONS`` holds."""
    mass = r.copper.mass()
    copper, oxygen, sulfur = (r.copper.element(e) * ATOMIC_MASS_OF[e] / mass for e in ("Cu", "O", "S"))
    blown = r.refined.so2 * ATOMIC_MASS_OF["S"] / mass
    with np.errstate(invalid="ignore"):
        found = {
            "anode.copper": copper < LEAST_COPPER,
            "anode.oxygen": (oxygen > MOST_OXYGEN) | (oxygen < LEAST_OXYGEN),
            "anode.so2": sulfur + blown > MOST_BLISTER_SULFUR,
            "anode.mass": (r.settings.anode_mass < LIGHTEST) | (r.settings.anode_mass > HEAVIEST),
            "anode.heat.surplus": r.surplus > 1e-9 * np.abs(r.ledger.heat_total()),
            "anode.gas.temperature": r.gas.T > HOTTEST_GAS,
        }
    solved = r.reason == 0
    return {name: np.asarray(holds & solved) for name, holds in found.items()}
