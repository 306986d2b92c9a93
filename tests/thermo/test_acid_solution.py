"""Strength of acid and heat of dilution."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.thermo.acid_solution import M_ACID, M_WATER, mixing_heat, strength, water_per_acid
from pyrobal.thermo.properties import species


def test_strength_and_water_are_inverse() -> None:
    w = np.array([0.15, 0.77, 0.93, 0.985, 1.0])
    np.testing.assert_allclose(strength(np.ones(5), water_per_acid(w)), w, rtol=1e-14)


def test_strength_of_nothing_and_of_water() -> None:
    np.testing.assert_array_equal(strength(np.zeros(2), np.array([0.0, 1.0])), [0.0, 0.0])


def test_molar_masses() -> None:
    assert pytest.approx((0.098072, 0.018015), rel=1e-4) == (M_ACID, M_WATER)


def test_mixing_gives_off_heat_and_vanishes_for_pure_liquids() -> None:
    acid, water = np.array([1.0, 0.0, 1.0, 2.0]), np.array([0.0, 1.0, 1.0, 2.0])
    heat = mixing_heat(acid, water)
    assert heat[0] == heat[1] == 0.0
    assert heat[3] == pytest.approx(2 * heat[2]) and heat[2] < 0


def test_more_water_gives_off_more_heat_but_ever_less_per_mole() -> None:
    n = np.linspace(0.0, 60.0, 400)
    heat = -mixing_heat(np.ones(400), n)
    assert (np.diff(heat) > 0).all() and (np.diff(heat, 2) < 0).all()


@pytest.mark.parametrize("n", [1, 2, 3, 4, 6.5])
def test_mixtures_of_the_tables_are_met(n: float) -> None:
    name = "H2SO4.H2O(l)" if n == 1 else f"H2SO4.{n:g}H2O(l)"
    mixture, acid, water = species(name, "H2SO4(l)", "H2O(l)").H298
    assert mixing_heat(np.ones(1), np.array([n]))[0] == pytest.approx(mixture - acid - n * water, abs=400.0)
