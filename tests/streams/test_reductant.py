"""Reductants: oxygen taken, gas left, elements kept."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.streams.fuel import FuelSettings, default_fuels, fuel
from pyrobal.streams.reductant import bath_gas, reductant
from pyrobal.thermo.elements import ELEMENTS


def gas(**composition: float) -> FuelSettings:
    return FuelSettings(composition={k: np.array([x]) for k, x in composition.items()})


OIL = FuelSettings(
    composition={k: np.array([x]) for k, x in {"C": 0.86, "H": 0.115, "S": 0.02, "ash": 0.005}.items()},
    heating_value=np.array([40.5e6]),
)
FUELS = {
    "natural gas": default_fuels()["natural_gas"],
    "reformed gas": gas(CO=0.2, H2=0.55, CO2=0.1, N2=0.15),
    "wet lean gas": gas(CO2=0.5, H2O=0.3, H2=0.2),
    "oil": OIL,
}


@pytest.mark.parametrize("name", FUELS)
@pytest.mark.parametrize(("efficiency", "to_co"), [(1.0, 1.0), (1.0, 0.0), (0.5, 0.7), (0.0, 0.5)])
def test_elements_of_fuel_and_oxygen_taken_are_in_the_gas(name: str, efficiency: float, to_co: float) -> None:
    unit = reductant(fuel(FUELS[name]), np.array([efficiency]), np.array([to_co]))
    expected = unit.fuel.elements.copy()
    expected[:, ELEMENTS.index("O")] += unit.oxygen
    expected[:, ELEMENTS.index("Rest")] = 0.0  # ash stays in the melt
    np.testing.assert_allclose(unit.gas @ bath_gas().composition, expected, atol=1e-12)
    assert (unit.gas >= 0).all()


def test_nothing_reacts_at_no_efficiency() -> None:
    unit = reductant(fuel(FUELS["natural gas"]), np.zeros(1), np.ones(1))
    np.testing.assert_allclose(unit.oxygen, 0.0, atol=1e-15)


def test_carbon_monoxide_takes_oxygen_only_on_its_way_to_dioxide() -> None:
    co = fuel(gas(CO=1.0))
    np.testing.assert_allclose(reductant(co, np.ones(1), np.zeros(1)).oxygen, 1.0)
    np.testing.assert_allclose(reductant(co, np.ones(1), np.ones(1)).oxygen, 0.0, atol=1e-15)
