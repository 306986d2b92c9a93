"""Shares of minor elements and their carriers."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.streams.deportment import carrier_matrix, read_table, share_out, shares
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import species

TABLE = read_table("smelting")


def test_outlets_stand_in_the_heading() -> None:
    assert TABLE.outlets == ("matte", "slag", "dust", "gas")


@pytest.mark.parametrize("step", ["smelting", "slag_cleaning", "anode", "electrorefining"])
def test_every_row_of_a_table_sums_to_one(step: str) -> None:
    for element, row in read_table(step).shares.items():
        assert element in ELEMENTS
        assert sum(row.values()) == pytest.approx(1.0, abs=1e-12), element
        assert all(0.0 <= share <= 1.0 for share in row.values()), element


def test_an_element_with_blank_cells_is_left_to_the_step() -> None:
    assert "Au" not in read_table("slag_cleaning").shares
    assert "Au" in read_table("anode").shares


def test_sharing_out_keeps_the_element_and_refuses_to_lose_it() -> None:
    slag, dust = species("ZnO(slag)"), species("ZnO")
    carriers = {"slag": (slag, {"Zn": "ZnO(slag)"}), "dust": (dust, {})}
    fed = np.zeros((1, len(ELEMENTS)))
    fed[0, ELEMENTS.index("Zn")] = 2.0
    amounts = share_out(fed, {"Zn": {"slag": np.ones(1), "dust": np.zeros(1)}}, carriers)
    np.testing.assert_allclose(amounts["slag"], [[2.0]])
    with pytest.raises(ValueError, match="Zn has no form"):
        share_out(fed, {"Zn": {"slag": np.array([0.5]), "dust": np.array([0.5])}}, carriers)


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
