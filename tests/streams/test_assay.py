"""Lines as a laboratory writes them: what they stand for, and what they only check."""

from __future__ import annotations

import numpy as np
import pytest
from plants import arrays

from pyrobal.streams.assay import INSOL_SPLIT, element_share, loss_on_ignition, stated
from pyrobal.streams.mineralogy import MineralFit, fit
from pyrobal.thermo.elements import ELEMENTS

PLAIN = {"Cu": 0.28, "Fe": 0.28, "S": 0.32}


def share(f: MineralFit, name: str) -> float:
    return float(f.x[0, f.phase.index(name)]) if name in f.phase.names else 0.0


def element(f: MineralFit, name: str) -> float:
    return float(f.elements[0, ELEMENTS.index(name)])


def test_carbon_dioxide_is_carbonate_and_carbon_burns() -> None:
    f = fit(arrays({**PLAIN, "CaO": 0.012, "CO2": 0.006, "C": 0.004}), "concentrate")
    assert f.ok[0]
    carbonates = sum(
        share(f, name) * element_share(name, "C") for name in ("CaCO3", "MgCO3", "CaMg(CO3)2", "FeCO3")
    )
    assert carbonates == pytest.approx(0.006 * 12.011 / 44.009, rel=1e-6)
    assert share(f, "C") == pytest.approx(0.004, rel=1e-9)
    assert share(f, "CaO") > 0.0  # more lime than the carbon dioxide binds


def test_carbonates_are_implied_only_where_carbon_dioxide_is_not_assayed() -> None:
    implied = fit(arrays({**PLAIN, "CaO": 0.012}), "concentrate")
    none = fit(arrays({**PLAIN, "CaO": 0.012, "CO2": 0.0}), "concentrate")
    assert share(implied, "CaCO3") == pytest.approx(0.012 * 100.086 / 56.077, rel=1e-4)
    assert share(none, "CaCO3") == pytest.approx(0.0, abs=1e-9)


def test_carbon_dioxide_beyond_lime_is_siderite_and_beyond_all_metals_is_refused() -> None:
    f = fit(arrays({**PLAIN, "Fe": 0.30, "S": 0.30, "CaO": 0.005, "CO2": 0.02}), "concentrate")
    assert f.ok[0] and share(f, "FeCO3") > 0.03
    flux = fit(arrays({"SiO2": 0.9, "CaO": 0.01, "CO2": 0.05}), "flux")
    assert not flux.ok[0]
    assert flux.remainder["C"][0] == pytest.approx(
        (0.05 - 0.01 * 44.009 / 56.077) * 12.011 / 44.009, rel=1e-3
    )


@pytest.mark.parametrize("kind", ["flux", "dust", "matte", "slag"])
def test_every_kind_of_material_takes_the_lines(kind: str) -> None:
    assay = {
        "Fe": 0.1,
        "S": 0.03,
        "insol": 0.3,
        "CaO": 0.2,
        "CO2": 0.1,
        "Mn": 0.01,
        "TiO2": 0.004,
        "LOI": 0.1,
    }
    f = fit(arrays(assay), kind)
    for name, value in (("Fe", 0.1), ("Mn", 0.01), ("C", 0.1 * 12.011 / 44.009)):
        assert element(f, name) == pytest.approx(value, rel=1e-6), name


def test_insol_is_shared_out_as_stated_and_never_beside_silica() -> None:
    assay = arrays({**PLAIN, "insol": 0.10})
    assert stated(assay)["SiO2"] == pytest.approx(0.10 * INSOL_SPLIT["SiO2"])
    own = stated(assay, arrays({"SiO2": 0.9, "Al2O3": 0.1}))
    assert own["Al2O3"] == pytest.approx(0.01) and "K2O" not in own
    with_alumina = stated(assay | arrays({"Al2O3": 0.02}), arrays({"SiO2": 0.9, "Al2O3": 0.1}))
    assert with_alumina["SiO2"] == pytest.approx(0.08) and with_alumina["Al2O3"] == pytest.approx(0.02)
    beside = stated(assay | arrays({"SiO2": 0.07}))
    assert beside["SiO2"] == pytest.approx(0.07) and "Al2O3" not in beside


def test_minerals_alone_make_a_concentrate() -> None:
    """With traces that no mineral holds, and the rest inert."""
    f = fit(arrays({"Au": 9e-6}), "concentrate", arrays({"chalcopyrite": 0.8, "pyrite": 0.1}))
    assert f.ok[0] and f.misfit[0] == 0.0
    assert share(f, "CuFeS2") == pytest.approx(0.8) and share(f, "Rest") == pytest.approx(0.1, abs=1e-4)
    assert element(f, "Cu") == pytest.approx(0.8 * 63.546 / 183.511, rel=1e-4)


def test_loss_on_ignition_of_pure_minerals_by_hand() -> None:
    """Calcite loses its CO2, 43.97 %; pyrite becomes Fe2O3; chalcopyrite CuO and half Fe2O3."""
    for name, lost in (
        ("calcite", 1 - 56.077 / 100.086),
        ("pyrite", 1 - 159.687 / 2 / 119.965),
        ("chalcopyrite", 1 - (79.545 + 159.687 / 2) / 183.511),
    ):
        f = fit({}, "concentrate", arrays({name: 1.0}))
        assert loss_on_ignition(f.elements) == pytest.approx(lost, abs=2e-4), name


def test_scenarios_side_by_side() -> None:
    many = {"Cu": np.full(3, 0.28), "Fe": np.full(3, 0.28), "S": np.full(3, 0.32), "CO2": np.array([0.0, 0.004, 0.008]),
            "CaO": np.full(3, 0.012), "insol": np.array([0.05, 0.06, 0.07])}  # fmt: skip
    together = fit(many, "concentrate")
    for i in range(3):
        alone = fit({k: v[i : i + 1] for k, v in many.items()}, "concentrate")
        np.testing.assert_allclose(together.elements[i], alone.elements[0], rtol=1e-9, atol=1e-12)
