"""Conservation and scaling of the furnace over random plants: every element and the heat, whatever the settings."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from plants import ORDINARY, plant, random_plants

from pyrobal.arrays import each_array
from pyrobal.errors import Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.plant.feed import FluxSettings, RevertSettings
from pyrobal.plant.smelting.settings import HEAT_CLOSURES
from pyrobal.readings.registry import evaluate

CLOSED = 1e-9  # relative; what the product promises. Round-off alone is about 1e-15.
COUNT = 300


def _with(inputs: Inputs, **smelting: object) -> Inputs:
    return dataclasses.replace(inputs, smelting=dataclasses.replace(inputs.smelting, **smelting))


@functools.cache
def _closed_with(mode: str) -> Results:
    """Random furnaces, the heat of all of them closed with one thing."""
    return solve(_with(random_plants(COUNT, seed=1), close_heat_with=mode))


@pytest.mark.parametrize("mode", HEAT_CLOSURES)
def test_every_element_and_the_heat_close(mode: str) -> None:
    r = _closed_with(mode)
    good = r.solved
    assert good.sum() > COUNT / 4  # the others: no temperature a furnace can hold, no heat in the fuel
    assert np.abs(r.smelting.ledger.element_closure()[good]).max() < CLOSED
    assert np.abs(r.smelting.ledger.heat_closure()[good]).max() < CLOSED


@pytest.mark.parametrize("mode", HEAT_CLOSURES)
def test_the_chosen_closer_closes_the_heat(mode: str) -> None:
    r = _closed_with(mode)
    surplus = r.smelting.heat.surplus[r.solved]
    scale = r.smelting.ledger.heat_total()[r.solved]
    if mode in ("enrichment", "slag_temperature"):
        assert np.abs(surplus / scale).max() < CLOSED
    if mode == "fuel":
        assert (surplus > -CLOSED * scale).all()
        fuel = r.smelting.heat.fuel[r.solved] * r.smelting.unit_fuel.heating_value
        least = np.broadcast_to(r.inputs.smelting.fuel_minimum, (COUNT,))[r.solved]
        assert (fuel >= least * (1 - 1e-12)).all()
        assert (np.minimum(fuel - least, surplus) < CLOSED * scale).all()  # never both fired and to spare
    if mode == "cold_charge":
        assert (surplus < CLOSED * scale).all()


def test_every_failure_has_a_reason_and_only_failures_are_nan() -> None:
    r = solve(random_plants(COUNT, seed=3).replace("smelting.matte_grade", np.linspace(0.3, 0.85, COUNT)))
    rate = evaluate(r, "smelting.matte.rate")
    assert np.array_equal(np.isnan(rate), r.reason != Reason.SOLVED)
    assert {Reason(int(x)) for x in r.reason} >= {Reason.SOLVED, Reason.GRADE_LEAVES_NO_IRON_SULFIDE}


def test_bad_scenarios_leave_the_others_bit_identical() -> None:
    good = random_plants(COUNT, seed=4)
    grade = good.smelting.matte_grade.copy()
    grade[::7], grade[3::7] = 0.9, np.nan
    spoilt = solve(good.replace("smelting.matte_grade", grade))
    clean = solve(good)
    kept = np.ones(COUNT, dtype=bool)
    kept[::7] = kept[3::7] = False
    for a, b in (
        (clean.smelting.matte.n, spoilt.smelting.matte.n),
        (clean.smelting.gas.n, spoilt.smelting.gas.n),
    ):
        assert np.array_equal(a[kept], b[kept])
    assert (spoilt.reason[~kept] != Reason.SOLVED).all()


def test_one_scenario_alone_is_the_same_as_in_the_batch() -> None:
    batch = random_plants(40, seed=5)
    together = solve(batch)
    for i in (0, 17, 39):
        alone = solve(batch.take(slice(i, i + 1)))
        np.testing.assert_allclose(alone.smelting.slag.n[0], together.smelting.slag.n[i], rtol=1e-9)


def test_order_of_scenarios_does_not_matter() -> None:
    batch = random_plants(60, seed=6)
    turned = each_array(batch, lambda a: a if a.shape[0] == 1 else a[::-1])
    a, b = solve(batch), solve(turned)
    np.testing.assert_allclose(a.smelting.gas.n, b.smelting.gas.n[::-1], rtol=1e-9)


def test_twice_the_feed_makes_twice_the_products() -> None:
    one, two = solve(plant(heat_loss=0.0)), solve(plant(rate=60.0, heat_loss=0.0))
    for outlet in ("matte", "slag", "gas", "dust"):
        np.testing.assert_allclose(
            2 * getattr(one.smelting, outlet).n, getattr(two.smelting, outlet).n, rtol=1e-9
        )


shares = st.floats(0.0, 1.0)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    grade=st.floats(0.45, 0.76), enrichment=st.floats(0.22, 0.95), ratio=st.floats(0.8, 2.2), dust=st.floats(0, 0.2),
    returned=shares, leak=st.floats(0, 1), loss=st.floats(0, 5e7), magnetite=st.floats(0, 0.2), copper=st.floats(0, 0.05),
    oxygen=st.floats(0, 0.03), mode=st.sampled_from(HEAT_CLOSURES), lime=st.booleans(), scrap=st.floats(0, 3),
)  # fmt: skip
def test_closure_holds_for_the_users_own_assays_too(
    grade: float, enrichment: float, ratio: float, dust: float, returned: float, leak: float, loss: float,
    magnetite: float, copper: float, oxygen: float, mode: str, lime: bool, scrap: float,
) -> None:  # fmt: skip
    inputs = plant(
        ORDINARY, matte_grade=grade, enrichment=enrichment, fe_sio2=ratio, dust=dust, dust_return=returned,
        air_in_leakage=leak, heat_loss=loss, slag_magnetite=magnetite, slag_copper=copper, matte_oxygen=oxygen,
        close_heat_with=mode,
    )  # fmt: skip
    if lime:
        stone = FluxSettings(assay={"CaCO3": np.array([0.95]), "SiO2": np.array([0.04])})
        inputs = _with(
            dataclasses.replace(inputs, flux={**inputs.flux, "lime": stone}), cao_sio2=np.array([0.1])
        )
    skull = RevertSettings(
        name="scrap", rate=np.array([scrap]), kind="copper_scrap", assay={"Cu": np.array([0.98])}
    )
    r = solve(dataclasses.replace(inputs, revert=(skull,)))
    if r.solved[0]:
        assert np.abs(r.smelting.ledger.element_closure()).max() < CLOSED
        assert np.abs(r.smelting.ledger.heat_closure()).max() < CLOSED
        np.testing.assert_allclose(evaluate(r, "smelting.slag.magnetite"), magnetite, atol=1e-9)
        np.testing.assert_allclose(evaluate(r, "smelting.slag.copper"), copper, atol=1e-9)
        np.testing.assert_allclose(evaluate(r, "smelting.matte.grade"), grade, rtol=1e-9)
    else:
        assert Reason(int(r.reason[0])).text


def test_a_grade_without_a_balance_is_soon_given_up_and_named() -> None:
    """Above some grade the last iron sulfide would burn; Newton then gains next to nothing by an iteration."""
    r = solve(plant(matte_grade=np.linspace(0.74, 0.797, 400)))
    assert r.solved[0] and not r.solved[-1]
    assert np.all(np.diff(r.solved.astype(int)) <= 0), "one limit, not islands"
    assert set(r.reason[~r.solved].tolist()) == {Reason.GRADE_LEAVES_NO_IRON_SULFIDE}
    assert r.smelting.iterations.max() < 20
