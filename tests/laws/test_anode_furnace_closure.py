"""Conservation and scaling of the anode furnace and of electrorefining over random blister and settings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from slags import BLISTER, COKE, GAS, OIL, SITE, melt, random_melts

from pyrobal.errors import Reason
from pyrobal.plant import electrorefining
from pyrobal.plant.anode_furnace import AnodeFurnaceResult, AnodeFurnaceSettings, solve
from pyrobal.plant.electrorefining import ElectrorefiningSettings
from pyrobal.streams.fuel import Fuel
from pyrobal.streams.ledger import Ledger
from pyrobal.streams.material import Material
from pyrobal.streams.mixing import gone_cold

CLOSED = 1e-9  # relative; what the product promises. Round-off alone is about 1e-15.
COUNT = 400
HOT = 1480.0  # K


def furnace(count: int, seed: int, reductant: Fuel = GAS, burner: Fuel = GAS) -> AnodeFurnaceResult:
    rng = np.random.default_rng(seed)
    ranges = {
        "sulfur": (0.0, 1e-4), "oxygen_after_oxidation": (0.004, 0.01), "oxygen": (0.0005, 0.003),
        "air_efficiency": (0.2, 1.0), "slag_copper": (0.0, 0.6), "reductant_efficiency": (0.1, 1.0),
        "reductant_to_co": (0.0, 1.0), "burner_excess_air": (0.0, 0.3), "temperature": (1420.0, 1550.0),
        "gas_temperature": (1400.0, 1650.0), "hood_air": (1.0, 20.0), "heat_loss_per_tonne": (0.0, 1e6),
        "reject_rate": (0.0, 0.2),
    }  # fmt: skip
    s = AnodeFurnaceSettings(**{name: rng.uniform(*limits, count) for name, limits in ranges.items()})
    scrap = Material.of(gone_cold(random_melts(BLISTER, count, seed + 1))).scaled(
        rng.uniform(0.0, 0.3, count)
    )
    return solve(random_melts(BLISTER, count, seed, T=HOT), scrap, SITE, s, reductant, burner)


def assert_closed(ledger: Ledger, good: np.ndarray) -> None:
    assert np.abs(ledger.element_closure()[good]).max() < CLOSED
    assert np.abs(np.broadcast_to(ledger.heat_closure(), good.shape)[good]).max() < CLOSED


@pytest.mark.parametrize(("reductant", "burner"), [(GAS, GAS), (OIL, GAS), (GAS, OIL), (COKE, COKE)])
def test_every_element_and_the_heat_close(reductant: Fuel, burner: Fuel) -> None:
    r = furnace(COUNT, 1, reductant, burner)
    good = r.reason == Reason.SOLVED
    assert good.mean() > 0.95
    assert_closed(r.ledger, good)


def test_nothing_that_leaves_is_negative() -> None:
    r = furnace(COUNT, 2)
    good = r.reason == Reason.SOLVED
    for name in (
        "copper",
        "anodes",
        "rejects",
        "slag",
        "gas",
        "dust",
        "oxidation_air",
        "burner_air",
        "hood_air",
    ):
        n = getattr(r, name).n[good]
        assert (n >= -1e-12 * n.sum(axis=1, keepdims=True)).all(), name


def test_burner_and_surplus_exclude_each_other() -> None:
    r = furnace(COUNT, 3)
    good = r.reason == Reason.SOLVED
    scale = r.ledger.heat_total()[good]
    assert (r.surplus[good] > -CLOSED * scale).all()
    heat = r.fuel[good] * GAS.heating_value
    assert (np.minimum(heat, r.surplus[good]) < CLOSED * scale).all()


def test_twice_the_blister_is_twice_everything() -> None:
    blister = melt(BLISTER, T=HOT)
    one, two = (
        solve(blister.scaled(np.array([f])), None, SITE, AnodeFurnaceSettings(), GAS, GAS) for f in (1.0, 2.0)
    )
    for name in ("anodes", "slag", "gas"):
        np.testing.assert_allclose(getattr(two, name).n, 2 * getattr(one, name).n, rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(two.fuel, 2 * one.fuel, rtol=1e-9)


def test_electrorefining_closes() -> None:
    r = furnace(COUNT, 4)
    good = r.reason == Reason.SOLVED
    rng = np.random.default_rng(5)
    s = ElectrorefiningSettings(
        anode_scrap=rng.uniform(0.0, 0.3, COUNT),
        slimes_copper=rng.uniform(0.0, 0.6, COUNT),
        current_efficiency=rng.uniform(0.85, 1.0, COUNT),
    )
    e = electrorefining.solve(r.anodes, s)
    assert (e.reason[good] == Reason.SOLVED).all()
    assert_closed(e.ledger, good)
    for name in ("cathode", "slimes", "electrolyte", "scrap"):
        assert (getattr(e, name).n[good] >= 0).all(), name


@settings(max_examples=60, deadline=None)
@given(
    cu2o=st.floats(0.0, 15.0), cu2s=st.floats(0.0, 3.0), iron=st.floats(0.0, 1.0), high=st.floats(0.0, 0.02),
    low=st.floats(0.0, 0.01), efficiency=st.floats(0.05, 1.0),
)  # fmt: skip
def test_an_answer_closes_and_no_answer_has_a_reason(
    cu2o: float, cu2s: float, iron: float, high: float, low: float, efficiency: float
) -> None:
    blister = melt(BLISTER, T=HOT, Cu2O=cu2o, Cu2S=cu2s, Fe=iron)
    s = AnodeFurnaceSettings(
        oxygen_after_oxidation=np.array([high]),
        oxygen=np.array([low]),
        reductant_efficiency=np.array([efficiency]),
    )
    r = solve(blister, None, SITE, s, GAS, GAS)
    if r.reason[0] == Reason.SOLVED:
        assert_closed(r.ledger, np.array([True]))
        assert r.reductant[0] >= 0
    else:
        assert r.reason[0] == Reason.ANODE_OXYGEN_OUT_OF_REACH
