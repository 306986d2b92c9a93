"""Single printed values: cold feed, water, and the heats that the Bureau of Mines measured."""

from __future__ import annotations

import numpy as np
import pytest
from checks import Check, listing
from chemicals.iapws import iapws95_properties
from scipy.interpolate import CubicHermiteSpline
from thermo_oracles import SOURCES, read_heat_capacity

from pyrobal.constants import P_NORMAL
from pyrobal.thermo.properties import species
from pyrobal.thermo.tables import find

KCAL = 4.184  # kJ
COLDEST = 233.15  # K
# Below 298.15 K a curve fitted above it is carried on; the crystal's heat capacity falls faster than that.
COLD = {"solid": 1.0, "gas": 0.1}  # kJ/mol, on 3 to 9 kJ/mol: below 1 % of any heat of smelting
COLD_ENTRIES = {
    "Cu": "Cu-001", "Cu2O": "Cu-019", "CuO": "Cu-015", "FeS2": "Fe-028", "FeS": "Fe-023", "Fe3O4": "Fe-032",
    "Fe2O3": "Fe-030", "SiO2": "O-037", "Al2O3": "Al-096", "CaO": "Ca-027", "MgO": "Mg-008", "MgCO3": "C-079",
    "MoS2": "Mo-018", "CuSO4": "Cu-017", "FeSO4": "Fe-022", "ZnSO4": "O-071", "C": "C-002", "PbO": "O-005",
    "O2(g)": "O-029", "N2(g)": "N-023", "Ar(g)": "Ar-001", "CO2(g)": "C-095", "CH4(g)": "C-067",
    "SO2(g)": "O-034",
}  # fmt: skip


def cold_checks() -> list[Check]:
    """H(233.15 K) - H(298.15 K) against JANAF, interpolated by H and Cp between 100, 200 and 298.15 K."""
    found = []
    for name, entry in COLD_ENTRIES.items():
        knots = read_heat_capacity(entry, (100.0, 200.0, 298.15))
        T = sorted(knots)
        cooling = CubicHermiteSpline(T, [knots[t][0] for t in T], [knots[t][1] / 1e3 for t in T])
        H = species(name).enthalpy(np.array([298.15, COLDEST]))[:, 0] / 1e3
        what, source = f"{name}: H at -40 degC less H at 25 degC", f"{SOURCES['janaf1998']}, {entry}"
        bar, why = COLD[find(name).phase], "curve carried on below the range it was fitted in"
        found.append(
            Check("Cold feed", what, source, float(cooling(COLDEST)), float(H[1] - H[0]), "kJ/mol", bar, why)
        )
    return found


def water_checks() -> list[Check]:
    """Enthalpy of liquid water above 25 degC, IAPWS-95 at 1 atm (above 100 degC at 5 atm)."""
    found, water = [], species("H2O(l)")
    for T, p in ((278.15, P_NORMAL), (323.15, P_NORMAL), (363.15, P_NORMAL), (423.15, 5 * P_NORMAL)):
        published = (iapws_enthalpy(T, p) - iapws_enthalpy(298.15, p)) / 1e3  # kJ/kg
        H = water.enthalpy(np.array([298.15, T]))[:, 0] / water.molar_mass[0] / 1e3
        what, why = (
            f"H2O(l): H at {T:g} K less H at 298.15 K",
            "tabulated to 0.001 kJ/mol; 0.5 kJ/kg at 5 degC",
        )
        found.append(Check("Water", what, "IAPWS-95", published, float(H[1] - H[0]), "kJ/kg", 0.8, why))
    return found


def iapws_enthalpy(T: float, p: float) -> float:
    """J/kg."""
    return float(iapws95_properties(T, p)[3])  # type: ignore[no-untyped-call]


def calorimetry_checks() -> list[Check]:
    """Printed in kcal/mol to three decimals, or with a stated error."""
    heats = [(s.dH_transition or 0.0) / 1e3 for s in find("Cu2S").segments]
    ri8305 = "U.S. Bureau of Mines RI 8305 (1978), abstract"
    ri8045 = "U.S. Bureau of Mines RI 8045 (1975), abstract"
    steps = (("low to high chalcocite", 0.865), ("high chalcocite to cubic", 0.280), ("fusion", 3.070))
    found = [
        Check(
            "Copper sulfide",
            f"Cu2S: {what}",
            ri8305,
            kcal * KCAL,
            heat,
            "kJ/mol",
            0.01,
            "printed to 1 cal/mol",
        )
        for (what, kcal), heat in zip(steps, heats, strict=False)
    ]
    what, pair, why = "Cu2S: S at 298.15 K", (27.76 * KCAL, find("Cu2S").S298), "printed to 0.01 cal/(mol K)"
    found.append(Check("Copper sulfide", what, ri8305, *pair, "J/(mol K)", 0.05, why))
    what, pair = "CuO.CuSO4: H at 298.15 K", (-219.1 * KCAL, find("CuO.CuSO4").H298 / 1e3)
    found.append(Check("Sulfates", what, ri8045, *pair, "kJ/mol", 0.3 * KCAL, "their stated +-0.3 kcal/mol"))
    return found


CHECKS = [*cold_checks(), *water_checks(), *calorimetry_checks()]


@pytest.fixture(scope="module", autouse=True)
def _print_listing() -> None:
    """Seen with ``pytest -s``."""
    print("\n" + listing(CHECKS))


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.what)
def test_value(check: Check) -> None:
    assert check.ok, str(check)
