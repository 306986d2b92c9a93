"""Fuels of compounds by name: heating values against other sources, and what is refused."""

from __future__ import annotations

import subprocess
import sys

import cantera as ct
import numpy as np
import pytest
from chemicals import CAS_from_any, combustion, reaction

from pyrobal.streams.compound import compound
from pyrobal.streams.fuel import FuelSettings, fuel

ONE = np.ones(1)


def heating_value(name: str) -> float:
    """MJ/kg, lower."""
    f = fuel(FuelSettings(composition={name: ONE}))
    return float(f.heating_value[0]) / (compound(name).molar_mass if f.is_gas else 1.0) / 1e6


@pytest.mark.parametrize(
    ("name", "published"),
    [("propane", 46.35), ("methanol", 19.94), ("ammonia", 18.6), ("n-dodecane", 44.15), ("ethanol", 26.8), ("acetylene", 48.2)],
)  # fmt: skip
def test_lower_heating_values_of_handbooks(name: str, published: float) -> None:
    """Lower heating values at 25 degC, handbooks of combustion (from memory), to 0.5 %."""
    assert heating_value(name) == pytest.approx(published, rel=5e-3)


@pytest.mark.parametrize("name", ["propane", "methanol", "ammonia", "n-dodecane", "toluene"])
def test_the_same_by_the_librarys_own_combustion_and_other_heats_of_formation(name: str) -> None:
    """``chemicals.combustion`` with heats of formation of ATcT or the NIST WebBook."""
    cas, state = CAS_from_any(name), compound(name).phase
    heats, there = (
        (reaction.Hfg, reaction.Hfg_methods) if state == "gas" else (reaction.Hfl, reaction.Hfl_methods)
    )
    method = next(m for m in ("ATCT_G", "ATCT_L", "WEBBOOK") if m in there(cas))
    hf = heats(cas, method=method)
    other = combustion.combustion_data(formula=compound(name).formula, Hf=hf)
    per_kg = -other.LHV / (compound(name).molar_mass * 1e6)
    assert heating_value(name) == pytest.approx(per_kg, rel=3e-3)


@pytest.mark.parametrize(("name", "nasa"), [("propane", "C3H8"), ("ammonia", "NH3"), ("ethylene", "C2H4")])
def test_gases_against_nasa_polynomials(name: str, nasa: str) -> None:
    """NASA TM-4513 as carried by cantera: formation enthalpy to 1 kJ/mol, at 25 degC.

    Heat capacity to 2 %: the handbook's 35.1 J/(mol K) of ammonia is 1.5 % lower.
    """
    thermo = {s.name: s.thermo for s in ct.Species.list_from_file("nasa_gas.yaml")}[nasa]
    assert compound(name).enthalpy / 1e3 == pytest.approx(thermo.h(298.15) / 1e6, abs=1.0)
    assert compound(name).heat_capacity == pytest.approx(thermo.cp(298.15) / 1e3, rel=2e-2)


def test_a_compound_that_is_in_the_tables_gives_the_same_fuel() -> None:
    for name, own in (("methane", "CH4"), ("propane", "C3H8")):
        here, there = (fuel(FuelSettings(composition={n: ONE})) for n in (name, own))
        assert here.elements == pytest.approx(there.elements)
        assert here.heating_value == pytest.approx(there.heating_value, rel=2e-3)


def test_a_liquid_mixture_is_by_mass_and_a_gas_by_volume() -> None:
    wet = fuel(FuelSettings(composition={"methanol": np.array([0.9]), "H2O": np.array([0.1])}))
    dry = fuel(FuelSettings(composition={"methanol": ONE}))
    evaporated = 0.1 / 0.0180153 * 44_004.0  # J: the heating value is lower by the water's evaporation
    assert wet.heating_value == pytest.approx(0.9 * dry.heating_value - evaporated, rel=1e-4)
    lpg = fuel(FuelSettings(composition={"propane": 0.6 * ONE, "C4H10": 0.4 * ONE}))
    assert lpg.is_gas and lpg.count("C")[0] == pytest.approx(3.4)


@pytest.mark.parametrize(("name", "says"), [("kerosine_x", "no compound"), ("chloroform", "no form for Cl")])
def test_what_is_no_fuel_says_why(name: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        compound(name)


def test_the_library_is_loaded_only_where_a_compound_is_named() -> None:
    code = "import sys; from pyrobal.streams.fuel import *; [fuel(f) for f in default_fuels().values()]; assert 'chemicals' not in sys.modules"  # fmt: skip
    subprocess.run([sys.executable, "-c", code], check=True)
