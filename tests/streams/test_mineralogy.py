"""Minerals from assay: exact conservation, the usual minerals, measured ones, impossible assays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plants import ORDINARY, arrays, mineral_assay

from pyrobal.streams.mineralogy import CANDIDATES, MineralFit, fit
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS

OXIDES = {"SiO2": ("Si", 0.467435), "Al2O3": ("Al", 0.529251), "CaO": ("Ca", 0.714701)}


def shares(f: MineralFit) -> dict[str, float]:
    return {n: float(x) for n, x in zip(f.phase.names, f.x[0], strict=True) if x > 1e-12}


def element(f: MineralFit, symbol: str) -> np.ndarray:
    i = ELEMENTS.index(symbol)
    return (f.x / f.phase.molar_mass) @ f.phase.composition[:, i] * ATOMIC_MASS[i]


@settings(max_examples=40, deadline=None)
@given(
    cu=st.floats(0.05, 0.5), fe=st.floats(0.02, 0.4), s=st.floats(0.05, 0.4), si=st.floats(0, 0.3), pb=st.floats(0, 0.1),
    arsenic=st.floats(0, 0.05), kind=st.sampled_from(sorted(CANDIDATES)),
)  # fmt: skip
def test_every_assayed_element_is_conserved(
    cu: float, fe: float, s: float, si: float, pb: float, arsenic: float, kind: str
) -> None:
    assay = arrays({"Cu": cu, "Fe": fe, "S": s, "SiO2": si, "Pb": pb, "As": arsenic})
    f = fit(assay, kind)
    for symbol in ("Cu", "Fe", "S", "Pb", "As"):
        np.testing.assert_allclose(element(f, symbol), assay[symbol], rtol=1e-9, atol=1e-12)
    assert f.x.min() >= 0


@pytest.mark.parametrize(
    "minerals",
    [
        {"chalcopyrite": 0.7, "pyrite": 0.2, "quartz": 0.1},
        {"chalcopyrite": 0.5, "bornite": 0.3, "quartz": 0.2},
        {
            "chalcopyrite": 0.6,
            "pyrite": 0.1,
            "magnetite": 0.1,
            "galena": 0.05,
            "sphalerite": 0.1,
            "quartz": 0.05,
        },
        {"bornite": 0.5, "chalcocite": 0.4, "quartz": 0.1},
    ],
    ids=lambda m: "+".join(m),
)
def test_usual_mixtures_are_found_again(minerals: dict[str, float]) -> None:
    from pyrobal.streams.mineralogy import MINERALS

    found = shares(fit(arrays(mineral_assay(minerals)), "concentrate"))
    for name, share in minerals.items():
        assert found[MINERALS[name]] == pytest.approx(share, abs=2e-3)


def test_measured_minerals_are_honoured_as_far_as_the_elements_allow() -> None:
    assay = arrays(ORDINARY)
    some = fit(assay, "concentrate", {"chalcopyrite": np.array([0.60])})
    assert shares(some)["CuFeS2"] == pytest.approx(0.60, abs=2e-3)
    too_much = fit(assay, "concentrate", {"chalcopyrite": np.array([0.95])})
    np.testing.assert_allclose(element(too_much, "Cu"), assay["Cu"], rtol=1e-9)
    assert shares(too_much)["CuFeS2"] < 0.79


def test_sulfur_that_no_mineral_explains_is_refused() -> None:
    f = fit(arrays({"Cu": 0.10, "Fe": 0.10, "S": 0.45}), "concentrate")
    assert not f.ok[0] and f.remainder["S"][0] > 0.1


def test_minerals_beyond_a_hundred_percent_are_refused() -> None:
    f = fit(arrays({"Cu": 0.34, "Fe": 0.30, "S": 0.35, "SiO2": 0.20}), "concentrate")
    assert not f.ok[0] and f.total[0] > 1.03


def test_what_is_not_assayed_is_inert_rest() -> None:
    f = fit(arrays({"Cu": 0.25, "Fe": 0.25, "S": 0.28}), "concentrate")
    assert shares(f)["Rest"] == pytest.approx(1 - f.total[0])


def test_metal_is_found_in_scrap_and_lime_in_burnt_lime() -> None:
    assert shares(fit(arrays({"Cu": 0.99}), "copper_scrap"))["Cu"] == pytest.approx(0.99, abs=1e-6)
    assert shares(fit(arrays({"CaO": 0.95}), "flux"))["CaO"] == pytest.approx(0.95, abs=1e-6)
    assert shares(fit(arrays({"CaCO3": 0.95}), "flux"))["CaCO3"] == pytest.approx(0.95, abs=1e-6)


def test_many_scenarios_are_the_same_as_each_alone() -> None:
    rng = np.random.default_rng(0)
    many = {k: v * rng.uniform(0.8, 1.05, 25) for k, v in ORDINARY.items()}
    together = fit(many, "concentrate")
    for i in range(0, 25, 6):
        alone = fit({k: v[i : i + 1] for k, v in many.items()}, "concentrate")
        np.testing.assert_allclose(alone.x[0], together.x[i], atol=1e-9)
