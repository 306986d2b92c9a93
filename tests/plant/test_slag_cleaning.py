"""Slag cleaning: targets, limits, reasons, one scenario among many."""

from __future__ import annotations

import numpy as np
import pytest
from slags import COKE, CONVERTING_SLAG, SITE, SMELTING_SLAG, melt, random_melts

from pyrobal.errors import Reason
from pyrobal.plant.slag_cleaning import SlagCleaningResult, SlagCleaningSettings, cautions, solve
from pyrobal.plant.slag_cleaning.cautions import CAUTIONS
from pyrobal.streams.fuel import FuelSettings, fuel
from pyrobal.streams.mixing import gone_cold
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS
from pyrobal.thermo.properties import species

ONE = np.ones(1)


def clean(slag: Stream | None = None, **settings: object) -> SlagCleaningResult:
    numbers = {k: np.atleast_1d(v) if isinstance(v, float) else v for k, v in settings.items()}
    slags = {"smelting_slag": melt(SMELTING_SLAG) if slag is None else slag}
    return solve(slags, SITE, SlagCleaningSettings(**numbers), COKE)


def share(stream: Stream, element: str) -> float:
    mass = stream.element(element) * ATOMIC_MASS[ELEMENTS.index(element)] / stream.mass()
    return float(mass[0])


def magnetite(slag: Stream) -> float:
    return float((slag.amount("Fe3O4(slag)") * species("Fe3O4").molar_mass[0] / slag.mass())[0])


# --- electric furnace ------------------------------------------------------------------------------------


def test_targets_are_met() -> None:
    r = clean(slag_magnetite=0.03, slag_copper=0.006, slag_sulfur=0.002, slag_temperature=1540.0)
    assert r.reason[0] == Reason.SOLVED
    assert magnetite(r.slag) == pytest.approx(0.03, rel=1e-9)
    assert share(r.slag, "Cu") == pytest.approx(0.006, rel=1e-9)
    assert r.slag.T[0] == 1540.0


def test_suspended_matte_has_the_composition_of_the_matte() -> None:
    r = clean(slag_copper=0.005, slag_entrained_copper=0.005)  # all of it suspended, none dissolved
    assert r.matte is not None
    for name in ("Cu2S(l)", "Cu(l)"):
        ratio = r.slag.amount(name) / r.slag.element("Cu")
        np.testing.assert_allclose(ratio, r.matte.amount(name) / r.matte.element("Cu"), rtol=1e-9, atol=1e-12)


def test_predicted_copper_is_dissolved_plus_suspended() -> None:
    low, high = clean(slag_entrained_copper=0.001), clean(slag_entrained_copper=0.004)
    assert share(high.slag, "Cu") - share(low.slag, "Cu") == pytest.approx(0.003, abs=1e-4)
    assert 0.001 < share(low.slag, "Cu") - 0.001 < 0.004  # dissolved


def test_less_magnetite_takes_more_reductant_and_more_power() -> None:
    some, more = clean(slag_magnetite=0.06), clean(slag_magnetite=0.03)
    assert more.reductant[0] > some.reductant[0] > 0
    assert more.power[0] > some.power[0]


def test_slag_leaner_in_magnetite_than_allowed_is_not_oxidised() -> None:
    r = clean(slag_magnetite=0.2)
    assert r.reductant[0] == 0.0
    assert magnetite(r.slag) < 0.2
    assert cautions(r)["slag_cleaning.reductant"][0]


def test_reductant_that_works_half_as_well_is_used_twice() -> None:
    ash_free = fuel(FuelSettings(composition={"C": ONE}, heating_value=32.8e6 * ONE))
    slags = {"smelting_slag": melt(SMELTING_SLAG)}
    used = [
        solve(slags, SITE, SlagCleaningSettings(reductant_efficiency=np.array([e])), ash_free).reductant[0]
        for e in (0.8, 0.4)
    ]
    assert used[1] == pytest.approx(2 * used[0], rel=1e-12)


def test_cold_slag_takes_the_heat_of_melting_more() -> None:
    hot, cold = clean(), clean(smelting_slag="cold")
    assert hot.fed[0] == pytest.approx(cold.fed[0], rel=1e-12)
    saved = melt(SMELTING_SLAG).sensible_heat() / 0.95
    np.testing.assert_allclose(cold.power - hot.power, saved, rtol=1e-9)


def test_very_hot_slag_leaves_heat_to_spare_and_no_power() -> None:
    r = clean(melt(SMELTING_SLAG, T=1700.0), heat_loss=0.0)
    assert r.power[0] == 0.0
    assert r.surplus[0] > 0
    assert cautions(r)["slag_cleaning.heat.surplus"][0]


def test_more_air_cools_the_gas_and_leaves_the_bath_alone() -> None:
    little, much = clean(hood_air=1.5), clean(hood_air=6.0)
    assert little.gas is not None and much.gas is not None
    assert little.gas.T[0] > much.gas.T[0]
    assert little.power[0] == much.power[0]


def test_slag_short_of_sulfur_makes_copper_metal() -> None:
    r = clean(melt(CONVERTING_SLAG))
    assert r.matte is not None
    assert r.matte.amount("Cu(l)")[0] > 0.1 * r.matte.element("Cu")[0]
    assert cautions(r)["slag_cleaning.matte.metal"][0]
    reduced = clean(melt(CONVERTING_SLAG), slag_magnetite=0.02)
    assert share(reduced.slag, "Cu") < share(r.slag, "Cu")  # oxidic copper follows the oxygen potential


def test_sulfur_in_plenty_makes_none() -> None:
    r = clean()
    assert r.matte is not None
    assert abs(r.matte.amount("Cu(l)")[0]) < 1e-12 * r.matte.element("Cu")[0]


def test_two_slags_are_cleaned_together() -> None:
    slags = {"smelting_slag": melt(SMELTING_SLAG), "converting_slag": melt(CONVERTING_SLAG, rate=3.0)}
    r = solve(slags, SITE, SlagCleaningSettings(converting_slag="cold"), COKE)
    assert r.reason[0] == Reason.SOLVED
    assert r.fed[0] == pytest.approx(13.0)
    alone = solve({"smelting_slag": slags["smelting_slag"]}, SITE, SlagCleaningSettings(), COKE)
    assert r.power[0] > alone.power[0] + 3.0 * 1.2e6  # the cold slag is melted


@pytest.mark.parametrize(
    ("slag", "settings", "reason"),
    [
        (melt(SMELTING_SLAG, Cu2O=0.05, Cu2S=0.2), {}, Reason.SLAG_ALREADY_CLEAN),
        (melt(SMELTING_SLAG), {"slag_copper": 0.02}, Reason.SLAG_ALREADY_CLEAN),
        (melt(CONVERTING_SLAG, Cu2S=0.0, FeS=0.0), {}, Reason.SLAG_SHORT_OF_SULFUR),
        (melt(SMELTING_SLAG, FeO=float("nan")), {}, Reason.INPUT_NOT_FINITE),
    ],
)
def test_a_slag_that_cannot_be_cleaned_says_why(
    slag: Stream, settings: dict[str, float], reason: Reason
) -> None:
    assert clean(slag, **settings).reason[0] == reason


def test_a_reductant_that_takes_nothing_says_so() -> None:
    spent = fuel(FuelSettings(composition={"CO2": ONE}))
    r = solve({"smelting_slag": melt(SMELTING_SLAG)}, SITE, SlagCleaningSettings(), spent)
    assert r.reason[0] == Reason.REDUCTANT_TAKES_NO_OXYGEN


def test_an_element_sent_where_it_has_no_form_is_refused() -> None:
    with pytest.raises(ValueError, match="Mo has no form"):
        clean(deportment={"Mo": {"matte": ONE}})


def test_the_users_own_deportment_stands() -> None:
    r = clean(deportment={"Zn": {"slag": np.array([0.5]), "dust": np.array([0.5])}})
    assert r.dust is not None
    np.testing.assert_allclose(r.dust.element("Zn"), r.slag.element("Zn"), rtol=1e-12)


# --- flotation, none -------------------------------------------------------------------------------------


def test_flotation_meets_tailings_grade_and_moisture() -> None:
    r = clean(kind="flotation", tailings_copper=0.004, concentrate_grade=0.25, concentrate_moisture=0.10)
    assert r.reason[0] == Reason.SOLVED
    assert share(r.slag, "Cu") == pytest.approx(0.004, rel=1e-9)
    assert r.concentrate is not None
    water = r.concentrate.amount("H2O(l)")[0] * species("H2O(l)").molar_mass[0]
    mass = r.concentrate.mass()[0]
    assert water / mass == pytest.approx(0.10, rel=1e-9)
    assert share(r.concentrate, "Cu") * mass / (mass - water) == pytest.approx(0.25, rel=1e-9)
    assert r.slag.T[0] == pytest.approx(298.15)
    assert r.power[0] / r.fed[0] == pytest.approx(55 * 3600.0)


def test_tailings_are_of_common_practice_by_default_and_recovery_follows_the_slag() -> None:
    r = clean(melt(SMELTING_SLAG), kind="flotation")
    assert share(r.slag, "Cu") == pytest.approx(0.0035, rel=1e-9)
    assert 0.25e-2 < float(SlagCleaningSettings().tailings_copper[0]) < 0.5e-2
    rich = clean(melt(CONVERTING_SLAG), kind="flotation")
    assert rich.recovery[0] > r.recovery[0]


def test_slag_as_poor_as_the_tailings_says_so() -> None:
    assert clean(kind="flotation", tailings_copper=0.04).reason[0] == Reason.SLAG_ALREADY_CLEAN


@pytest.mark.parametrize("grade", [0.0101, 0.85])
def test_a_concentrate_grade_no_split_can_reach_says_so(grade: float) -> None:
    r = clean(kind="flotation", concentrate_grade=grade)
    assert r.reason[0] == Reason.CONCENTRATE_GRADE_OUT_OF_REACH


def test_none_passes_the_slag_on_as_it_is() -> None:
    slag = melt(SMELTING_SLAG)
    r = clean(slag, kind="none")
    assert r.slag is slag
    assert r.recovery[0] == 0.0
    assert cautions(r) == {}


def test_cautions_are_known_by_name() -> None:
    assert set(cautions(clean())) == set(CAUTIONS)


# --- many scenarios --------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["electric_furnace", "flotation", "none"])
def test_one_scenario_alone_is_the_same_as_in_the_batch(kind: str) -> None:
    slags = random_melts(SMELTING_SLAG, 20, seed=1)
    together = clean(slags, kind=kind)
    for i in (0, 7, 19):
        alone = clean(Stream(slags.phase, slags.n[i : i + 1], slags.T[i : i + 1]), kind=kind)
        np.testing.assert_allclose(alone.slag.n[0], together.slag.n[i], rtol=1e-9, atol=1e-10)
        assert alone.power[0] == pytest.approx(float(np.broadcast_to(together.power, 20)[i]), rel=1e-9)


def test_bad_scenarios_leave_the_others_bit_identical() -> None:
    slags = random_melts(SMELTING_SLAG, 30, seed=2)
    good = clean(slags)
    n = slags.n.copy()
    n[::7] = np.nan
    n[3::7, [slags.phase.index(x) for x in ("Cu2O(l)", "Cu2S(l)")]] = 0.0
    spoilt = clean(Stream(slags.phase, n, slags.T))
    bad = np.zeros(30, dtype=bool)
    bad[::7] = bad[3::7] = True
    assert np.array_equal(spoilt.reason != Reason.SOLVED, bad)
    for name in ("slag", "matte", "gas"):
        a, b = getattr(good, name), getattr(spoilt, name)
        assert np.array_equal(a.n[~bad], b.n[~bad])
        assert np.array_equal(np.broadcast_to(a.T, 30)[~bad], np.broadcast_to(b.T, 30)[~bad])
    assert np.array_equal(good.power[~bad], spoilt.power[~bad])


def test_settings_may_differ_by_scenario() -> None:
    r = clean(slag_magnetite=np.array([0.03, 0.05, 0.07]))
    assert r.reason.shape == (3,)
    assert (np.diff(r.reductant) < 0).all()


def test_a_slag_that_is_cold_already_floats_the_same() -> None:
    hot, cold = clean(kind="flotation"), clean(gone_cold(melt(SMELTING_SLAG)), kind="flotation")
    np.testing.assert_allclose(hot.slag.n, cold.slag.n, rtol=1e-12)
