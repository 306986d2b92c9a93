"""What a converting balance warns of. None of these stops the balance; each says what it means."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import BoolN, FloatN
from pyrobal.constants import PERCENT, celsius
from pyrobal.plant.converting.deportment import CU, FE, grade_of, table_shares
from pyrobal.plant.converting.melts import M_CU, M_FE, M_SIO2
from pyrobal.plant.converting.result import ConvertingResult

# Common practice.
MOST_MAGNETITE = 25 * PERCENT  # in silicate slag
LEAST_FE_SIO2, MOST_FE_SIO2 = 1.4, 2.6  # of silicate slag
MOST_COPPER = 15 * PERCENT  # in batch slag
HOTTEST_BATH = celsius(1300)
MOST_COLD = 0.35  # share of the matte
MOST_OXYGEN = 1 * PERCENT  # in blister
HOTTEST_GAS = celsius(900)  # behind the hood

# Reading a caution belongs to -> what it says.
CAUTIONS = {
    "converting.slag.magnetite": (
        "more than 25 % magnetite: silicate slag this oxidised is stiff, builds up, and foams when fresh "
        "matte or reverts meet it"
    ),
    "converting.slag.fe_sio2": (
        "Fe/SiO2 outside 1.4 to 2.6: less silica leaves magnetite, more leaves silica unmelted; check the"
        " flux"
    ),
    "converting.slag.copper": ("more than 15 % copper in batch slag: the blow went too far before skimming"),
    "converting.blister.oxygen": (
        "more than 1 % oxygen: overblown copper makes a copper oxide slag that may foam"
    ),
    "converting.cycle.hottest": (
        "a bath above 1300 degC wears the refractory fast; charge more cold or enrich less"
    ),
    "converting.cold_charge": ("more than 35 % of the matte is fed cold; plants seldom have so much at hand"),
    "converting.matte.grade": (
        "the shares of minor elements were published for 54 to 70 % Cu matte and are held beyond that; "
        "order of magnitude only"
    ),
    "converting.gas.temperature": (
        "the gas is hotter than hoods and flues usually stand; draw in more air (hood_air) or cool it"
    ),
    "converting.heat.surplus": (
        "the heat does not close: the bath would not stay at bath_temperature; change enrichment, cold "
        "matte or heat_loss"
    ),
}
SAFETY = (
    "Slag that foams leaves the vessel without warning; never charge matte on overblown slag or copper. "
    "Damp flux, reverts or scrap explode under a melt. Off-gas holds SO2 far above what is dangerous to "
    "life (NIOSH IDLH documentation, 1994: 100 ppm), also around a vessel that is turned out of its hood."
    " This is a screening balance; local codes and licensed practice decide"
)


def cautions(r: ConvertingResult) -> dict[str, BoolN]:
    """(N,) True where a caution of ``CAUTIONS`` holds."""
    s, slag, mass = r.settings, r.slag, r.slag.mass()
    silicate = s.kind == "batch" or s.slag_system == "silicate"
    grades = [grade for grade, _, _ in table_shares()["As"]]
    matte = grade_of(r.matte.elements())
    with np.errstate(all="ignore"):
        magnetite = slag.species_mass()[:, slag.phase.index("Fe3O4(slag)")] / mass
        fe_sio2 = slag.elements()[:, FE] * M_FE / (slag.amount("SiO2(l)") * M_SIO2)
        found = {
            "converting.slag.magnetite": (magnetite > MOST_MAGNETITE) & silicate,
            "converting.slag.fe_sio2": ~_within(fe_sio2, LEAST_FE_SIO2, MOST_FE_SIO2) & silicate,
            "converting.slag.copper": (slag.elements()[:, CU] * M_CU / mass > MOST_COPPER)
            & (s.kind == "batch"),
            "converting.blister.oxygen": (s.blister_oxygen > MOST_OXYGEN) & (mass > 0),
            "converting.cold_charge": (r.cold_matte > MOST_COLD * r.matte.mass())
            & (s.matte_state == "liquid"),
            "converting.matte.grade": ~_within(matte, grades[0] - PERCENT, grades[-1] + PERCENT) & (mass > 0),
            "converting.gas.temperature": r.gas.T > HOTTEST_GAS,
            "converting.heat.surplus": np.abs(r.surplus) > 1e-6 * np.abs(r.ledger.heat_total()),
        }
        if r.cycle is not None:
            found["converting.cycle.hottest"] = r.cycle.course.T.max(axis=1) > HOTTEST_BATH
    return {name: np.asarray(holds & (r.reason == 0)) for name, holds in found.items()}


def _within(x: FloatN, low: float, high: float) -> BoolN:
    return np.asarray((low <= x) & (x <= high))
