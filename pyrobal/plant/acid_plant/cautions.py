"""What an acid plant balance warns of. None of these stops the balance; each says what it means."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import BoolN
from pyrobal.plant.acid_plant.solve import AcidPlantResult

STOICHIOMETRIC = 0.5  # O2 per SO2
_ROUNDING = 1e-9  # relative, so that a gas made up to a limit does not break it

# Reading a caution belongs to -> what it says.
CAUTIONS = {
    "acid.o2_so2": (
        "the gas brings less than half a mole of oxygen per mole of SO2: oxygen, not the catalyst, limits "
        "conversion; add dilution air ahead of the drying tower"
    ),
    "acid.autothermal": (
        "the gas is too lean in SO2 to heat itself: the exchangers lack acid.heat.spare, and a "
        "preheater must be fired or the gas made richer"
    ),
    "acid.water_balance": (
        "the gas brings more water than acid of the strength asked for can hold, so it comes out weaker "
        "(acid.strength); cool the gas further, make it richer in SO2 or draw weaker acid"
    ),
    "acid.hottest_bed": (
        "gas leaves a bed hotter than acid_plant.catalyst_limit, if only at the peak of a cycle (heat in the "
        "catalyst makes real peaks lower): dilute the gas or lower the bed inlet"
    ),
    "acid.conversion": (
        "gas enters a bed at or beyond its equilibrium, if only for part of a cycle: the bed does nothing "
        "then; lower its inlet temperature"
    ),
    "acid.time_weak": (
        "part of the time the gas is weaker in SO2 than heats itself (acid.autothermal_strength): heat in "
        "catalyst and exchangers carries it over a short spell, a preheater over a long one"
    ),
    "acid.lighting_margin": (
        "gas enters a bed colder than its catalyst lights at: from 410 degC a potassium bed works whole, "
        "from 375 degC a caesium bed, and below 390 and 360 degC neither does anything (common practice); "
        "raise the inlet temperature"
    ),
}
SAFETY = (
    "SO2, SO3, acid mist and strong acid are dangerous to life: NIOSH lists 100 ppm SO2 and 15 mg/m3 H2SO4 "
    "as immediately dangerous (NIOSH IDLH documentation, 1994). This is a screening balance; local permit "
    "and licensed practice decide"
)


def cautions(r: AcidPlantResult) -> dict[str, BoolN]:
    """(N,) True where a caution of ``CAUTIONS`` holds."""
    s, course = r.settings, r.course
    with np.errstate(invalid="ignore"):
        found = {
            "acid.o2_so2": np.any(
                course.feed.o2 < STOICHIOMETRIC * course.feed.so2 * (1.0 - _ROUNDING), axis=1
            ),
            "acid.autothermal": r.converter.surplus() < 0,
            "acid.water_balance": r.acid.water_balance < -_ROUNDING * r.acid.water_room,
            "acid.hottest_bed": r.hottest > s.catalyst_limit,
            "acid.conversion": _idle(r),
            "acid.time_weak": r.time_weak > 0.0,
            "acid.lighting_margin": s.lighting_margin() < 0.0,
        }
    solved = r.reason == 0
    return {name: np.asarray(holds & solved) for name, holds in found.items()}


def _idle(r: AcidPlantResult) -> BoolN:
    """Where SO2 passes a bed that is meant to work, and nothing is oxidised."""
    beds = [k - 1 for k in r.settings.working()]
    idle = r.course.idle[:, :, beds] & (r.course.feed.so2 > 0)[:, :, None]
    return np.asarray(idle.any(axis=(1, 2)))
