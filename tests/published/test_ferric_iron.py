"""Ferric over ferrous iron of Kress & Carmichael against an open petrology package."""

from __future__ import annotations

import numpy as np
import pytest
from checks import Check
from plants import ORDINARY, plant

from pyrobal.flowsheet.solve import solve
from pyrobal.readings.registry import evaluate
from pyrobal.thermo import solutions

TOPIC = "Smelting: ferric iron"
THERMOBAR = "Thermobar 1.0.75 (Python package index), convert_fo2_to_fe_partition, model Kress1991, 0 kbar"
# wt% of the oxides, iron as FeO -> ln X(Fe2O3)/X(FeO) printed by the package at log10 fO2 [bar] and T [K].
BASALT = {"SiO2": 50, "Al2O3": 15, "FeO": 10, "MgO": 8, "CaO": 11, "Na2O": 2.5, "K2O": 0.5}
SLAG = {"SiO2": 33, "Al2O3": 4, "FeO": 58, "MgO": 1, "CaO": 2, "Na2O": 0.5, "K2O": 0.5}
LIMY = {"SiO2": 32, "Al2O3": 3, "FeO": 45, "MgO": 1, "CaO": 18}
PRINTED = [
    ("basalt", BASALT, {(-7.0, 1473.15): -1.804212, (-8.0, 1523.15): -2.524723, (-6.5, 1573.15): -2.096348}),
    ("iron silicate slag", SLAG, {(-7.0, 1473.15): -2.936543, (-8.0, 1523.15): -3.657053, (-6.5, 1573.15): -3.228678}),
    ("slag with lime", LIMY, {(-7.0, 1473.15): -2.124368, (-8.0, 1523.15): -2.844878, (-6.5, 1573.15): -2.416503}),
]  # fmt: skip
MASS = {
    "SiO2": 60.084, "Al2O3": 101.961, "FeO": 71.844, "MgO": 40.304, "CaO": 56.077, "Na2O": 61.979, "K2O": 94.196,
}  # fmt: skip


def ours(melt: dict[str, float], log10_fo2: float, T: float) -> float:
    moles = {oxide: x / MASS[oxide] for oxide, x in melt.items()}
    total = sum(moles.values())
    terms = sum(solutions.KRESS_CARMICHAEL_TERMS.get(oxide, 0.0) * n / total for oxide, n in moles.items())
    found = solutions.kress_carmichael(
        np.array([log10_fo2 * np.log(10)]), np.array([T]), np.array([moles["FeO"] / total]), np.array([terms])
    )
    return float(np.log(found[0]))


CHECKS = [
    Check(TOPIC, f"ln X(Fe2O3)/X(FeO), {name}, log10 fO2 {log_fo2:g}, {T:g} K", THERMOBAR, printed,
          ours(melt, log_fo2, T), "-", 1e-3, "T0 of 1673.15 K there, 1673 K here; molar masses to five digits")
    for name, melt, rows in PRINTED
    for (log_fo2, T), printed in rows.items()
]  # fmt: skip


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.what)
def test_against_the_package(check: Check) -> None:
    assert check.ok, str(check)


def test_it_is_a_choice_with_a_flatter_slope() -> None:
    """Its slope on grade is flatter than that of the default, so no constant factor spans the bands of practice."""
    grades = np.array([0.60, 0.75])
    goto, kress = (
        evaluate(
            solve(plant(ORDINARY, close_heat_with="nothing", matte_grade=grades, slag_magnetite_model=model)),
            "smelting.slag.magnetite",
        )
        for model in ("goto", "kress_carmichael")
    )
    assert 1.0 < kress[1] / kress[0] < goto[1] / goto[0]
    assert np.all((kress > 0.05) & (kress < 0.2))
