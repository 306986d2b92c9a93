"""A hood burns the gas and finds its temperature."""

from __future__ import annotations

import cantera
import numpy as np
import pytest

from pyrobal.streams.hood import burn, combustion_air
from pyrobal.streams.reductant import bath_gas
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import species

SITE = SiteSettings(relative_humidity=np.zeros(1))
DUST = species("Rest", "ZnO")


def bath(co: float, h2: float, soot: float, T: float) -> Stream:
    return Stream(bath_gas(), np.array([[co, 0.1, h2, 0.2, 0.05, 0.01, soot]]), np.array([T]))


def dust(amount: float = 0.0) -> Stream:
    return Stream(DUST, np.full((1, 2), amount), np.array([1500.0]))


@pytest.mark.parametrize("ratio", [1.0, 2.0, 8.0])
def test_elements_and_heat_close(ratio: float) -> None:
    gas = bath(1.0, 0.5, 0.3, 1500.0)
    air = combustion_air(gas, np.array([ratio]), SITE)
    burnt, carried = burn(gas, air, dust(0.02))
    np.testing.assert_allclose(burnt.elements(), gas.elements() + air.elements(), rtol=1e-12, atol=1e-15)
    heat_in = gas.enthalpy() + air.enthalpy() + dust(0.02).enthalpy()
    np.testing.assert_allclose(burnt.enthalpy() + carried.enthalpy(), heat_in, rtol=1e-10)
    np.testing.assert_allclose(carried.T, burnt.T)


def test_just_enough_air_leaves_no_oxygen() -> None:
    gas = bath(1.0, 0.5, 0.3, 1500.0)
    burnt, _ = burn(gas, combustion_air(gas, np.ones(1), SITE), dust())
    np.testing.assert_allclose(burnt.amount("O2(g)"), 0.0, atol=1e-12)


def test_no_gas_takes_the_temperature_of_the_air() -> None:
    gas = Stream(bath_gas(), np.zeros((1, 7)), np.array([1500.0]))
    burnt, _ = burn(gas, combustion_air(gas, np.ones(1), SITE), dust())
    np.testing.assert_allclose(burnt.T, SITE.air_temperature)


def test_burnt_carbon_monoxide_against_nasa_polynomials() -> None:
    """1 CO at 1500 K in twice its air at 298.15 K against cantera, nasa_gas.yaml, no dissociation."""
    gas = Stream(bath_gas(), np.array([[1.0, 0, 0, 0, 0, 0, 0]]), np.array([1500.0]))
    site = SiteSettings(relative_humidity=np.zeros(1), air_temperature=np.array([298.15]))
    air = combustion_air(gas, np.array([2.0]), site)
    burnt, _ = burn(gas, air, dust())
    wanted = {"CO2": "CO2(g)", "O2": "O2(g)", "N2": "N2(g)", "Ar": "Ar(g)", "CO": "CO(g)"}
    every = {s.name: s for s in cantera.Species.list_from_file("nasa_gas.yaml") if s.name in wanted}
    solution = cantera.Solution(thermo="ideal-gas", species=list(every.values()))
    parts = {"CO": (gas.amount("CO(g)")[0], 1500.0)}
    parts |= {name: (air.amount(ours)[0], 298.15) for name, ours in wanted.items() if name != "CO"}
    heat = sum(n * every[name].thermo.h(T) for name, (n, T) in parts.items())
    out = {name: burnt.amount(ours)[0] for name, ours in wanted.items() if name != "CO"}
    solution.X = out
    solution.HP = heat / sum(n * solution[name].molecular_weights[0] for name, n in out.items()), 101325.0
    assert burnt.T[0] == pytest.approx(solution.T, abs=2.0)  # K; two fits of the same heat capacities
