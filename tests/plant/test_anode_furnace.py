"""Anode furnace: targets, limits, reasons, one scenario among many."""

from __future__ import annotations

import numpy as np
import pytest
from slags import BLISTER, COKE, GAS, OIL, SITE, melt, random_melts

from pyrobal.errors import Reason
from pyrobal.plant.anode_furnace import AnodeFurnaceResult, AnodeFurnaceSettings, cautions, solve
from pyrobal.plant.anode_furnace.cautions import CAUTIONS
from pyrobal.streams.fuel import Fuel, FuelSettings, fuel
from pyrobal.streams.material import Material
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS

ONE = np.ones(1)
HOT = 1480.0  # K


def refine(
    blister: Stream | None = None,
    reverts: Material | None = None,
    reductant: Fuel = GAS,
    burner: Fuel = GAS,
    **settings: object,
) -> AnodeFurnaceResult:
    numbers = {k: np.atleast_1d(v) if isinstance(v, float) else v for k, v in settings.items()}
    fed = melt(BLISTER, T=HOT) if blister is None else blister
    return solve(fed, reverts, SITE, AnodeFurnaceSettings(**numbers), reductant, burner)


def share(stream: Stream, element: str) -> float:
    mass = stream.element(element) * ATOMIC_MASS[ELEMENTS.index(element)] / stream.mass()
    return float(mass[0])


def test_targets_are_met() -> None:
    r = refine(sulfur=2e-5, oxygen=0.0012, slag_copper=0.30)
    assert r.reason[0] == Reason.SOLVED
    assert share(r.copper, "S") == pytest.approx(2e-5, rel=1e-9)
    assert share(r.copper, "O") == pytest.approx(0.0012, rel=1e-9)
    assert share(r.slag, "Cu") == pytest.approx(0.30, rel=1e-9)
    assert share(r.anodes, "Cu") > 0.99


def test_blister_below_the_sulfur_target_keeps_what_it_has() -> None:
    r = refine(melt(BLISTER, T=HOT, Cu2S=0.01), sulfur=1e-3)
    assert share(r.copper, "S") == pytest.approx(0.01 * 32.06 / 159.15 / 100, rel=0.01)
    assert r.refined.so2[0] == pytest.approx(0.0, abs=1e-15)


def test_oxygen_taken_is_the_difference_of_the_two_targets() -> None:
    r = refine(oxygen_after_oxidation=0.007, oxygen=0.0015)
    mass = r.copper.mass()[0]
    oxidised = mass * (1 - 0.0015) / (1 - 0.007)
    removed = r.refined.removed[0] * ATOMIC_MASS[ELEMENTS.index("O")]
    assert removed == pytest.approx(0.007 * oxidised - 0.0015 * mass, rel=1e-9)


def test_blister_rich_in_oxygen_is_not_blown_but_reduced_the_longer() -> None:
    rich = melt(BLISTER, T=HOT, Cu2O=12.0)
    r = refine(rich)
    assert r.refined.taken_up[0] == 0.0
    assert r.oxidation_air.total()[0] == 0.0
    assert r.refined.removed[0] > refine().refined.removed[0]
    assert r.reason[0] == Reason.SOLVED


def test_air_of_half_the_efficiency_is_twice_as_much() -> None:
    one, two = refine(air_efficiency=0.8), refine(air_efficiency=0.4)
    np.testing.assert_allclose(two.oxidation_air.total(), 2 * one.oxidation_air.total(), rtol=1e-12)


@pytest.mark.parametrize(
    "reductant", [GAS, OIL, fuel(FuelSettings(composition={"CO": 0.3 * ONE, "H2": 0.7 * ONE}))]
)
def test_any_fuel_reduces(reductant: Fuel) -> None:
    r = refine(reductant=reductant)
    assert r.reason[0] == Reason.SOLVED
    assert r.reductant[0] > 0
    taken = r.refined.removed[0] / r.reductant[0]
    assert 0 < taken < 2 * reductant.oxygen[0]  # no more than the fuel burns with


def test_burner_closes_the_heat_and_loss_drives_it() -> None:
    some, more = refine(heat_loss=2e6), refine(heat_loss=3e6)
    assert some.surplus[0] == pytest.approx(0.0, abs=1e-6)
    assert more.fuel[0] > some.fuel[0] > 0
    hotter = refine(heat_loss=2e6, gas_temperature=1650.0)
    assert hotter.fuel[0] > some.fuel[0]


def test_very_hot_blister_leaves_heat_to_spare() -> None:
    r = refine(melt(BLISTER, T=1750.0), heat_loss=0.0)
    assert r.fuel[0] == 0.0
    assert r.surplus[0] > 0
    assert cautions(r)["anode.heat.surplus"][0]


def test_cold_scrap_takes_fuel_and_adds_anodes() -> None:
    bare = refine()
    scrap = Material.of(bare.rejects)
    r = refine(reverts=scrap)
    assert r.fuel[0] > bare.fuel[0]
    added = r.copper.mass()[0] - bare.copper.mass()[0]
    assert added == pytest.approx(scrap.dry_mass[0], rel=1e-2)


def test_anodes_and_rejects() -> None:
    r = refine(anode_mass=400.0, reject_rate=0.05)
    np.testing.assert_allclose(r.rejects.mass() / r.copper.mass(), 0.05, rtol=1e-12)
    np.testing.assert_allclose(r.anodes_per_second * 400.0, 0.95 * r.copper.mass(), rtol=1e-12)
    np.testing.assert_allclose(r.anodes.sensible_heat(), 0.0, atol=1e-3)


@pytest.mark.parametrize(
    ("blister", "settings", "reason"),
    [
        (melt(BLISTER, T=HOT), {"oxygen_after_oxidation": 0.001}, Reason.SOLVED),  # it brings more itself
        (melt(BLISTER, T=HOT, Cu2O=0.5), {"oxygen_after_oxidation": 0.001}, Reason.ANODE_OXYGEN_OUT_OF_REACH),
        (melt(BLISTER, T=HOT), {"gas_temperature": 3500.0}, Reason.BURNER_CANNOT_HEAT),
        (melt(BLISTER, T=HOT, Ni=float("nan")), {}, Reason.INPUT_NOT_FINITE),
        (melt({"FeO(slag)": 1.0, "SiO2(l)": 1.0}), {}, Reason.INPUT_NOT_FINITE),
    ],
)
def test_a_limit_that_is_broken_is_named(blister: Stream, settings: dict[str, float], reason: Reason) -> None:
    assert refine(blister, **settings).reason[0] == reason


def test_a_reductant_that_takes_nothing_says_so() -> None:
    spent = fuel(FuelSettings(composition={"CO2": ONE}))
    assert refine(reductant=spent).reason[0] == Reason.REDUCTANT_TAKES_NO_OXYGEN


def test_ash_of_burner_and_reductant_leaves_with_the_dust() -> None:
    r = refine(reductant=OIL, burner=COKE)
    ash = (r.reductant * OIL.count("Rest") + r.fuel * COKE.count("Rest"))[0]
    assert r.dust.element("Rest")[0] == pytest.approx(ash, rel=1e-9)


def test_cautions_are_known_by_name() -> None:
    found = cautions(refine())
    assert set(found) == set(CAUTIONS)
    assert not any(holds[0] for holds in found.values())
    assert cautions(refine(anode_mass=300.0))["anode.mass"][0]
    assert cautions(refine(oxygen=0.004))["anode.oxygen"][0]
    assert cautions(refine(melt(BLISTER, T=HOT, Cu2S=3.0)))["anode.so2"][0]
    assert cautions(refine(hood_air=1.0))["anode.gas.temperature"][0]


def test_one_scenario_alone_is_the_same_as_in_the_batch() -> None:
    fed = random_melts(BLISTER, 20, seed=1, T=HOT)
    together = refine(fed)
    for i in (0, 7, 19):
        alone = refine(Stream(fed.phase, fed.n[i : i + 1], fed.T[i : i + 1]))
        np.testing.assert_allclose(alone.anodes.n[0], together.anodes.n[i], rtol=1e-9)
        assert alone.fuel[0] == pytest.approx(together.fuel[i], rel=1e-9)


def test_bad_scenarios_leave_the_others_bit_identical() -> None:
    fed = random_melts(BLISTER, 30, seed=2, T=HOT)
    n = fed.n.copy()
    n[::7], n[3::7, 0] = np.nan, 0.0  # no Cu2O: the blow makes up for it
    good, spoilt = refine(fed), refine(Stream(fed.phase, n, fed.T))
    same = np.ones(30, dtype=bool)
    same[::7] = same[3::7] = False
    assert np.array_equal(spoilt.reason != Reason.SOLVED, np.arange(30) % 7 == 0)
    for name in ("anodes", "slag", "gas"):
        assert np.array_equal(getattr(good, name).n[same], getattr(spoilt, name).n[same])
    assert np.array_equal(good.gas.T[same], spoilt.gas.T[same])


def test_settings_may_differ_by_scenario() -> None:
    r = refine(oxygen=np.array([0.001, 0.0015, 0.002]))
    assert r.reason.shape == (3,)
    assert (np.diff(r.reductant) < 0).all()
