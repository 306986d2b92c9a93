"""Emission units and permit formulas against published figures."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from checks import Check, listing

from pyrobal.constants import NM3
from pyrobal.plant.acid_plant import AcidPlantResult, AcidPlantSettings
from pyrobal.plant.acid_plant import solve as acid_plant
from pyrobal.plant.emissions import (
    EmissionsResult,
    EmissionsSettings,
    StackSettings,
    Sulfur,
    Surroundings,
    solve,
)
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.thermo.acid_solution import M_ACID
from pyrobal.thermo.properties import species

TOPIC = "Emissions"
MG = 1e-6 / NM3  # kg/mol in one mg/Nm3
NMOL = 44.615  # mol/Nm3, ideal gas at 0 degC and 1 atm


def stack(so2_ppm: float, oxygen: float, **stated: Any) -> EmissionsResult:
    y = so2_ppm * 1e-6
    n = np.array([[y, oxygen, 1.0 - y - oxygen]])
    gas = Stream(species("SO2(g)", "O2(g)", "N2(g)"), n, np.array([350.0]))
    one = np.ones(1)
    around = Surroundings({}, {"acid_plant": StackSettings(**stated)}, one, SiteSettings(), {})
    return solve({"acid_plant": gas}, {}, Sulfur(one, one, one), one, one, EmissionsSettings(), around)


def plant(so2: float) -> AcidPlantResult:
    phase = species("SO2(g)", "O2(g)", "N2(g)", "H2O(g)")
    n = np.array([[so2, 1.1 * so2, 1 - 2.1 * so2, 0.0]])
    s = AcidPlantSettings(absorption=np.ones(1), tail_mist=np.zeros(1))
    return acid_plant(Stream(phase, n, np.array([305.0])), SiteSettings(), s)


def units() -> list[Check]:
    digits = "printed digits"
    per_ppm = float(stack(1.0, 0.1).stack.concentration("so2")[0]) / MG
    standard = "ideal gas, SO2 of 64.064 g/mol in 22.414 L/mol"
    part_60 = "40 CFR 60.163 (1976), 0.065 vol% (from memory)"
    ambient = "Quebec Q-2 r.4.1: 0.21 ppm is 550 ug/m3 at 25 degC and 1 atm"
    warm = stack(0.21, 0.1, reference_temperature=np.array([298.15])).stack
    at_25 = float(warm.concentration("so2")[0]) / MG * 1000
    smelter = float(stack(650.0, 0.1).stack.concentration("so2")[0]) / MG
    corrected = stack(100.0, 0.05, reference_oxygen=np.array([0.03])).stack
    factor = float((corrected.concentration("so2") / corrected.measured("so2"))[0])
    form = "permits write 20.9 or 21 % for air; here 20.946"
    return [
        Check(TOPIC, "1 ppm SO2", standard, 2.858, per_ppm, "mg/Nm3", 0.001, digits),
        Check(TOPIC, "0.065 vol% SO2", part_60, 1858.0, smelter, "mg/Nm3", 1.0, digits),
        Check(TOPIC, "0.21 ppm SO2", ambient, 550.0, at_25, "ug/m3", 0.5, "rounded in the regulation"),
        Check(
            TOPIC,
            "5 % O2 stated at 3 %, 800 mg",
            "(20.9 - 3) / (20.9 - 5)",
            901.0,
            800 * factor,
            "mg/Nm3",
            1.0,
            form,
        ),
    ]


def per_acid() -> list[Check]:
    """kg SO2 per tonne of acid follows from the conversion alone: 653.2 (1 - X) / X."""
    found = []
    for so2 in (0.06, 0.08, 0.10, 0.12):
        r = plant(so2)
        one = np.ones(1)
        acid = r.acid.production() * M_ACID
        e = solve({"acid_plant": r.stack_gas}, {}, Sulfur(one, one, one), one, acid, EmissionsSettings())
        X = float(r.conversion[0])
        ours = float(e.so2_per_acid[0]) * 1000
        what = f"kg SO2 per t acid, {so2:.0%} feed, X = {X:.3%}"
        found.append(
            Check(
                TOPIC,
                what,
                "stoichiometry",
                653.2 * (1 - X) / X,
                ours,
                "kg/t",
                0.001,
                "653.2 has four digits",
            )
        )
        ap42 = "AP-42 section 8.10, 682 - 6.82 X (from memory)"
        why = "a straight line through zero at 100 %; 4 % above stoichiometry"
        linear = 682 - 6.82 * 100 * X
        found.append(Check(TOPIC, what, ap42, linear, ours, "kg/t", 0.05 * linear, why))
    return found


CHECKS = [*units(), *per_acid()]


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: f"{c.what} [{c.source[:12]}]")
def test_agrees(check: Check) -> None:
    assert check.ok, str(check)


def test_listing(capsys: pytest.CaptureFixture[str]) -> None:
    print(listing(CHECKS))
    assert capsys.readouterr().out.count("\n") == len(CHECKS)


def test_normal_volume() -> None:
    assert pytest.approx(NMOL, abs=1e-3) == NM3
