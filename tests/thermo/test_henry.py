"""Solubility of SO2: falls with temperature, and one temperature does not touch another."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.thermo.henry import HENRY_SO2, so2_solubility


def test_falls_with_temperature_from_its_value_at_25_degc() -> None:
    H = so2_solubility(np.array([298.15, 308.15, 338.15, np.nan]))
    assert H[0] == pytest.approx(HENRY_SO2)
    assert (np.diff(H[:3]) < 0).all() and np.isnan(H[3])
