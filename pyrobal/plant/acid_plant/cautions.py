"""What an acid plant balance warns of. None of these stops the balance; each says what it means."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import BoolN
from pyrobal.plant.acid_plant.bed import SO2
from pyrobal.plant.acid_plant.solve import AcidPlantResult
from pyrobal.thermo.properties import species

STOICHIOMETRIC = 0.5  # O2 per SO2
M_SO2 = float(species(SO2).molar_mass[0])  # kg/mol
_ROUNDING = 1e-9  # relative, so that a gas made up to a limit does not break it

CAUTIONS = {
    "oxygen_short": (
        "the gas brings less than half a mole of oxygen per mole of SO2: oxygen, not the catalyst, limits "
        "conversion; add dilution air ahead of the drying tower"
    ),
    "below_autothermal": (
        "the gas is too lean in SO2 to heat itself: the exchangers fall short by the heat stated and a "
        "preheater must be fired, or the gas made richer"
    ),
    "too_wet": (
        "the gas brings more water than acid of the strength asked for can hold: the acid comes out weaker, "
        "at the strength stated; cool the gas further, make it richer in SO2 or draw weaker acid"
    ),
    "catalyst_hot": (
        "gas leaves a bed hotter than acid_plant.catalyst_limit: dilute the gas or lower the bed inlet"
    ),
    "bed_idle": "gas enters a bed at or beyond its equilibrium: that bed does nothing; lower its inlet",
    "flow_over": "more dried gas than acid_plant.flow_limit: the acid plant is the bottleneck",
    "so2_over": "more SO2 than acid_plant.so2_limit: the acid plant is the bottleneck",
}
SAFETY = (
    "SO2, SO3, acid mist and strong acid are dangerous to life: NIOSH lists 100 ppm SO2 and 15 mg/m3 H2SO4 "
    "as immediately dangerous (NIOSH IDLH documentation, 1994). This is a screening balance; local permit "
    "and licensed practice decide"
)


def cautions(r: AcidPlantResult) -> dict[str, BoolN]:
    """(N,) True where a caution of ``CAUTIONS`` holds."""
    s, feed = r.settings, r.feed
    with np.errstate(invalid="ignore"):
        found = {
            "oxygen_short": r.oxygen_ratio < STOICHIOMETRIC * (1.0 - _ROUNDING),
            "below_autothermal": r.converter.surplus() < 0,
            "too_wet": r.acid.water_balance < -_ROUNDING * r.acid.water_room,
            "catalyst_hot": np.any([s.catalyst_limit < bed.outlet.T for bed in r.converter.beds], axis=0),
            "bed_idle": np.any([bed.idle for bed in r.converter.beds], axis=0),
        }
        if s.flow_limit is not None:
            found["flow_over"] = feed.total() > s.flow_limit * (1.0 + _ROUNDING)
        if s.so2_limit is not None:
            found["so2_over"] = feed.amount(SO2) * M_SO2 > s.so2_limit * (1.0 + _ROUNDING)
    solved = r.reason == 0
    return {name: np.asarray(holds & solved) for name, holds in found.items()}
