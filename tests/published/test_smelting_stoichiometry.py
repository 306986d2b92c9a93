"""Mass balance of smelting against exact algebra and a university example."""

from __future__ import annotations

import numpy as np
import pytest
from checks import Check
from plants import IDEAL, mineral_assay, plant

from pyrobal.constants import NM3
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.plant.feed import FluxSettings
from pyrobal.readings.registry import evaluate

TOPIC = "Smelting: mass balance"
EXACT = "rounding of the published figures"
OWN_ALGEBRA = (
    "own algebra with IUPAC 2021 atomic masses, written out in tests/published/test_smelting_stoichiometry.py"
)
LECTURE = (
    "NPTEL course 113104060, Materials and heat balance in metallurgical processes, lecture 21, problem 1"
)

# CuFeS2 = x Cu2S + y FeS in matte of 65 % Cu; iron not in matte is FeO; slag 70 % FeO, 30 % SiO2.
CU, FE, S, OX = 63.546, 55.845, 32.06, 15.999  # IUPAC 2021 abridged, g/mol


def chalcopyrite_by_hand() -> dict[str, float]:
    """Matte, flux [kg], SO2, O2 [Nm3] from 1000 kg CuFeS2."""
    n = 1000.0 / (CU + FE + 2 * S)  # kmol
    matte = n * CU / 0.65
    fes = (matte - n / 2 * (2 * CU + S)) / (FE + S)
    feo = n - fes
    so2 = 2 * n - n / 2 - fes
    volume = 1.0 / (NM3 / 1000.0)  # Nm3 per kmol
    return {
        "matte": matte,
        "silica": feo * (FE + OX) * 30 / 70,
        "so2": so2 * volume,
        "oxygen": (feo / 2 + so2) * volume,
    }


def chalcopyrite() -> Results:
    feo_to_fe = FE / (FE + OX)
    return solve(
        plant(
            mineral_assay({"chalcopyrite": 1.0}), rate=1000.0, flux={"SiO2": 1.0},
            matte_grade=0.65, fe_sio2=0.70 * feo_to_fe / 0.30, close_heat_with="nothing", **IDEAL,
        )
    )  # fmt: skip


def lecture_example() -> Results:
    """Ore of 20 % Cu2S, 56 % FeS2, 24 % SiO2 with limestone; slag 36 % FeO, 21 % CaO, rest SiO2."""
    inputs = plant(
        mineral_assay({"chalcocite": 0.20, "pyrite": 0.56, "quartz": 0.24}), rate=1000.0, flux=None,
        matte_grade=160.0 / 365.1, cao_sio2=21.0 / 43.0, close_heat_with="nothing", **IDEAL,
    )  # fmt: skip
    lime = FluxSettings(moisture=np.zeros(1), assay={"CaCO3": np.ones(1)})
    return solve(inputs.__class__(**{**vars(inputs), "flux": {"lime": lime}}))


def _checks() -> list[Check]:
    hand, r, e = chalcopyrite_by_hand(), chalcopyrite(), lecture_example()
    dry_flux = float(r.smelting.unknowns.silica[0])
    computed = {
        "matte": float(r.smelting.matte.mass()[0]),
        "silica": dry_flux,
        "so2": float(r.smelting.gas.amount("SO2(g)")[0] / NM3),
        "oxygen": float(evaluate(r, "smelting.oxygen.demand")[0] / NM3),
    }
    published = {
        "matte": (532.74, "kg"),
        "silica": (133.07, "kg"),
        "so2": (157.94, "Nm3"),
        "oxygen": (206.37, "Nm3"),
    }
    rows = [
        Check(
            TOPIC,
            f"1000 kg CuFeS2 to 65 % matte: {name}",
            OWN_ALGEBRA,
            value,
            computed[name],
            unit,
            0.006,
            EXACT,
        )
        for name, (value, unit) in published.items()
    ]
    rows += [
        Check(TOPIC, f"the same to all digits: {name}", OWN_ALGEBRA, hand[name], computed[name], published[name][1],
              1e-6 * hand[name], "round-off; atomic masses of the tables are the same")
        for name in published
    ]  # fmt: skip
    why = "the lecture rounds atomic masses (Cu 64, Fe 56, S 32); they differ by up to 0.8 % from IUPAC"
    matte = Check(
        TOPIC,
        "lecture 21: matte per tonne of ore",
        LECTURE,
        365.1,
        float(e.smelting.matte.mass()[0]),
        "kg",
        2.5,
        why,
    )
    slag = Check(
        TOPIC,
        "lecture 21: slag per tonne of ore",
        LECTURE,
        558.1,
        float(e.smelting.slag.mass()[0]),
        "kg",
        4.0,
        why,
    )
    lime = Check(
        TOPIC,
        "lecture 21: limestone per tonne of ore",
        LECTURE,
        209.3,
        float(e.smelting.unknowns.lime[0]),
        "kg",
        1.5,
        why,
    )
    feo = Check(
        TOPIC, "lecture 21: FeO in slag", LECTURE, 36.0, float(100 * evaluate(e, "smelting.slag.assay.FeO")[0]), "wt%",
        0.4, why,
    )  # fmt: skip
    return [*rows, matte, slag, lime, feo]


CHECKS = _checks()


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.what)
def test_against_source(check: Check) -> None:
    assert check.ok, str(check)
