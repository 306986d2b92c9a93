"""Shares of minor elements and their carriers."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.streams.deportment import carrier_matrix, read_table, shares
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import species

TABLE = read_table("smelting")


def test_outlets_stand_in_the_heading() -> None:
    assert TABLE.outlets == ("matte", "slag", "dust", "gas")


def test_shares_sum_to_one() -> None:
    for by_outlet in shares(TABLE, {}).values():
        np.testing.assert_allclose(sum(by_outlet.values()), 1.0)


def test_an_override_replaces_the_whole_element() -> None:
    given = shares(TABLE, {"As": {"slag": np.array([3.0, 1.0]), "gas": np.array([1.0])}})
    np.testing.assert_allclose(given["As"]["slag"], [0.75, 0.5])
    np.testing.assert_allclose(given["As"]["matte"], 0.0)
    assert given["Sb"]["matte"] == pytest.approx(TABLE.shares["Sb"]["matte"])


def test_carriers_keep_the_element() -> None:
    phase = species("As2O3(slag)", "SiO2(l)")
    matrix = carrier_matrix(phase, {"As": "As2O3(slag)", "Si": "SiO2(l)"})
    np.testing.assert_allclose((matrix @ phase.composition)[ELEMENTS.index("As"), ELEMENTS.index("As")], 1.0)
    assert matrix[ELEMENTS.index("Cu")].sum() == 0.0
