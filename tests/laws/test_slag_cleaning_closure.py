"""Conservation and scaling of slag cleaning: every element and the heat, whatever slags and settings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from slags import COKE, CONVERTING_SLAG, GAS, OIL, SITE, SMELTING_SLAG, melt, random_melts

from pyrobal.arrays import FloatN
from pyrobal.errors import Reason
from pyrobal.plant.slag_cleaning import SlagCleaningResult, SlagCleaningSettings, solve
from pyrobal.streams.fuel import Fuel
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import species

CLOSED = 1e-9  # relative; what the product promises. Round-off alone is about 1e-15.
KINDS = ("electric_furnace", "flotation", "none")
COUNT = 400


def plant(count: int, seed: int, kind: str, fuel: Fuel = COKE, **change: object) -> SlagCleaningResult:
    rng = np.random.default_rng(seed)
    slags = {
        "smelting_slag": random_melts(SMELTING_SLAG, count, seed),
        "converting_slag": random_melts(CONVERTING_SLAG, count, seed + 1, T=1500.0),
    }
    ranges = {
        "slag_magnetite": (0.01, 0.15), "slag_entrained_copper": (0.0, 0.01), "slag_temperature": (1450.0, 1650.0),
        "matte_temperature": (1400.0, 1600.0), "reductant_efficiency": (0.1, 1.0), "reductant_to_co": (0.0, 1.0),
        "hood_air": (1.0, 20.0), "heat_loss_per_tonne": (0.0, 1e6), "tailings_copper": (0.0, 0.006),
        "concentrate_grade": (0.1, 0.5), "concentrate_moisture": (0.0, 0.3),
    }  # fmt: skip
    numbers = {name: rng.uniform(*limits, count) for name, limits in ranges.items()}
    return solve(slags, SITE, SlagCleaningSettings(kind=kind, **(numbers | change)), fuel)


def assert_closed(r: SlagCleaningResult, least_solved: float = 0.5) -> None:
    good = r.reason == Reason.SOLVED
    assert good.mean() >= least_solved
    assert np.abs(r.ledger.element_closure()[good]).max(initial=0.0) < CLOSED
    assert np.abs(np.broadcast_to(r.ledger.heat_closure(), good.shape)[good]).max(initial=0.0) < CLOSED


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("arrival", ["hot", "cold"])
def test_every_element_and_the_heat_close(kind: str, arrival: str) -> None:
    assert_closed(plant(COUNT, 1, kind, converting_slag=arrival))


@pytest.mark.parametrize("fuel", [GAS, OIL, COKE])
def test_they_close_with_any_reductant(fuel: Fuel) -> None:
    assert_closed(plant(COUNT, 2, "electric_furnace", fuel))


def test_they_close_with_the_users_own_assays() -> None:
    rng = np.random.default_rng(3)
    own = {"slag_copper": rng.uniform(0.001, 0.008, COUNT), "slag_sulfur": rng.uniform(0.0005, 0.004, COUNT)}
    r = plant(COUNT, 3, "electric_furnace", **own)
    assert_closed(r)
    good = r.reason == Reason.SOLVED
    copper = r.slag.element("Cu") * 0.063546 / r.slag.mass()
    np.testing.assert_allclose(copper[good], own["slag_copper"][good], rtol=1e-9)


def test_nothing_that_leaves_is_negative() -> None:
    for kind in KINDS:
        r = plant(COUNT, 4, kind)
        good = r.reason == Reason.SOLVED
        for name in ("slag", "matte", "gas", "dust", "concentrate"):
            stream: Stream | None = getattr(r, name)
            if stream is not None:
                n = np.broadcast_to(stream.n, (COUNT, stream.n.shape[1]))[good]
                assert (n >= -1e-9 * n.sum(axis=1, keepdims=True)).all(), name


def test_copper_metal_and_its_equilibrium_exclude_each_other() -> None:
    """Either there is no metal, or the oxidic copper is that over metal at the slag's oxygen potential."""
    r = plant(COUNT, 5, "electric_furnace", slag_magnetite=np.full(COUNT, 0.05))
    good = r.reason == Reason.SOLVED
    assert r.matte is not None
    metal = (r.matte.amount("Cu(l)") / r.matte.element("Cu"))[good]
    assert (metal > -1e-8).all()
    assert (metal > 0.01).any()
    assert (metal < 1e-8).any()


def test_most_ordinary_slags_have_an_answer() -> None:
    r = plant(2000, 6, "electric_furnace", slag_entrained_copper=np.array([0.002]))
    assert (r.reason == Reason.SOLVED).mean() > 0.99


def _any_slag(count: int, seed: int) -> tuple[Stream, dict[str, FloatN]]:
    """Slags from clean to full of copper, with much sulfur or next to none, and settings as wide."""
    rng = np.random.default_rng(seed)
    wide = {"Cu2O(l)": (0.0, 6.0), "Cu2S(l)": (0.05, 4.0), "FeS(l)": (0.05, 3.0), "Fe3O4(slag)": (0.5, 30.0)}
    percent = {
        name: rng.uniform(*wide.get(name, (0.6 * x, 1.4 * x)), count) for name, x in SMELTING_SLAG.items()
    }
    phase, parts = species(*percent), np.stack(list(percent.values()), axis=1)
    slag = Stream(
        phase, parts / parts.sum(axis=1, keepdims=True) * 10 / phase.molar_mass, np.full(count, 1543.0)
    )
    ranges = {
        "slag_magnetite": (0.005, 0.2), "slag_entrained_copper": (0.0, 0.01), "slag_temperature": (1450.0, 1650.0)
    }  # fmt: skip
    return slag, {name: rng.uniform(*limits, count) for name, limits in ranges.items()}


@pytest.mark.parametrize("model", ["goto", "ionic"])
def test_every_slag_has_an_answer_or_nothing_to_settle(model: str) -> None:
    """The mass of matte was sought by its logarithm, and the search ended where next to nothing settles."""
    slag, numbers = _any_slag(2000, 0)
    r = solve({"smelting_slag": slag}, SITE, SlagCleaningSettings(matte_activities=model, **numbers), COKE)
    assert Reason.NOT_CONVERGED not in r.reason
    assert_closed(r, least_solved=0.97)
    poor = r.reason != Reason.SOLVED
    kept = numbers["slag_entrained_copper"]
    less = SlagCleaningSettings(
        matte_activities=model, **(numbers | {"slag_entrained_copper": np.where(poor, kept / 20, kept)})
    )
    again = solve({"smelting_slag": slag}, SITE, less, COKE)
    assert (again.reason[poor] == Reason.SOLVED).mean() > 0.5  # it was the copper held in suspension


@pytest.mark.parametrize("kind", KINDS)
def test_twice_the_slag_is_twice_everything(kind: str) -> None:
    slag = melt(SMELTING_SLAG)
    s = SlagCleaningSettings(kind=kind)
    one, two = (solve({"smelting_slag": slag.scaled(np.array([f]))}, SITE, s, COKE) for f in (1.0, 2.0))
    np.testing.assert_allclose(two.slag.n, 2 * one.slag.n, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(two.power, 2 * one.power, rtol=1e-9)


def test_order_of_scenarios_does_not_matter() -> None:
    fed = random_melts(SMELTING_SLAG, 50, seed=7)
    turned = Stream(fed.phase, fed.n[::-1].copy(), fed.T[::-1].copy())
    a, b = (solve({"smelting_slag": x}, SITE, SlagCleaningSettings(), COKE) for x in (fed, turned))
    np.testing.assert_allclose(a.power, b.power[::-1], rtol=1e-9)


ranges = st.tuples(*(
    st.floats(*ends) for ends in ((0.0, 6.0), (0.1, 4.0), (0.05, 3.0), (0.5, 30.0), (0.005, 0.2), (0.0, 0.01))
))  # fmt: skip


@settings(max_examples=10, deadline=None)
@given(rows=st.lists(ranges, min_size=1, max_size=20), model=st.sampled_from(["goto", "ionic"]))
def test_an_answer_closes_and_no_answer_has_a_reason(rows: list[tuple[float, ...]], model: str) -> None:
    cu2o, cu2s, fes, fe3o4, target, entrained = np.array(rows).T
    slag = melt(SMELTING_SLAG, Cu2O=cu2o, Cu2S=cu2s, FeS=fes, Fe3O4=fe3o4)
    s = SlagCleaningSettings(slag_magnetite=target, slag_entrained_copper=entrained, matte_activities=model)
    r = solve({"smelting_slag": slag}, SITE, s, COKE)
    assert_closed(r, least_solved=0.0)
    good = r.reason == Reason.SOLVED
    assert (r.reductant[good] >= 0).all()
    assert (r.recovery[good] > 0).all() and (r.recovery[good] < 1).all()
    assert set(r.reason[~good]) <= {Reason.SLAG_ALREADY_CLEAN, Reason.SLAG_SHORT_OF_SULFUR}
