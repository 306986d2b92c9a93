"""What an acid plant balance warns of. None of these stops the balance; each says what it means."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import BoolN
from pyrobal.plant.acid_plant.bed import SO2
from pyrobal.plant.acid_plant.solve import AcidPlantResult
from pyrobal.thermo.acid_solution import M_SO2

STOICHIOMETRIC = 0.5  # O2 per SO2
_ROUNDING = 1e-9  # relative, so that a gas made up to a limit does not break it

# Reading a caution belongs to -> what it says.
CAUTIONS = {
    "acid.o2_so2": (
        "the gas brings less than half a mole of oxygen per mole of SO2: oxygen, not the catalyst, limits "
        "conversion; add dilution air ahead of the drying tower"
    ),
    "acid.autothermal": (
        "the gas is too lean in SO2 to heat itself: the exchangers fall short by acid.heat.spare, and a "
        "preheater must be fired or the gas made richer"
    ),
    "acid.water_balance": (
        "the gas brings more water than acid of the strength asked for can hold, so it comes out weaker "
        "(acid.strength); cool the gas further, make it richer in SO2 or draw weaker acid"
    ),
    "acid.hottest_bed": (
        "gas leaves a bed hotter than acid_plant.catalyst_limit: dilute the gas or lower the bed inlet"
    ),
    "acid.conversion": (
        "gas enters a bed at or beyond its equilibrium, so that bed does nothing; lower its inlet temperature"
    ),
    "acid.inlet_flow": "more dried gas than acid_plant.flow_limit: the acid plant is the bottleneck",
    "acid.so2_load": "more SO2 than acid_plant.so2_limit: the acid plant is the bottleneck",
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
            "acid.o2_so2": r.oxygen_ratio < STOICHIOMETRIC * (1.0 - _ROUNDING),
            "acid.autothermal": r.converter.surplus() < 0,
            "acid.water_balance": r.acid.water_balance < -_ROUNDING * r.acid.water_room,
            "acid.hottest_bed": np.any([s.catalyst_limit < bed.outlet.T for bed in r.converter.beds], axis=0),
            "acid.conversion": np.any([bed.idle for bed in r.converter.beds], axis=0),
        }
        if s.flow_limit is not None:
            found["acid.inlet_flow"] = feed.total() > s.flow_limit * (1.0 + _ROUNDING)
        if s.so2_limit is not None:
            found["acid.so2_load"] = feed.amount(SO2) * M_SO2 > s.so2_limit * (1.0 + _ROUNDING)
    solved = r.reason == 0
    return {name: np.asarray(holds & solved) for name, holds in found.items()}
