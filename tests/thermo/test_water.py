"""Steam: shapes, and the two sides of the saturation line."""

from __future__ import annotations

import numpy as np
from chemicals.iapws import iapws95_Psat

from pyrobal.thermo.water import (
    HIGHEST_SATURATION,
    LOWEST_SATURATION,
    liquid_enthalpy,
    saturation_temperature,
    steam_enthalpy,
)


def test_many_at_once_equal_one_by_one() -> None:
    p = np.linspace(1e4, 1.5e7, 50)
    T = saturation_temperature(p)
    for f in (liquid_enthalpy, steam_enthalpy):
        together = f(T, p)
        assert together.shape == (50,)
        assert all(f(T[i : i + 1], p[i : i + 1])[0] == together[i] for i in range(50))


def test_latent_heat_falls_and_stays_positive() -> None:
    p = np.geomspace(LOWEST_SATURATION, HIGHEST_SATURATION, 200)
    T = saturation_temperature(p)
    latent = steam_enthalpy(T, p) - liquid_enthalpy(T, p)
    assert (np.diff(T) > 0).all() and (np.diff(latent) < 0).all() and (latent > 0).all()


def test_saturation_line_turns_back_the_vapour_pressure_of_iapws_95() -> None:
    for T in (280.0, 350.0, 450.0, 600.0):
        np.testing.assert_allclose(saturation_temperature(np.array([iapws95_Psat(T)])), T, atol=0.02)
