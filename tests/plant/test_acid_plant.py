"""Behaviour of the acid plant: beds, limits, water, heat, and independence of scenarios."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from pyrobal.arrays import FloatN, each_array
from pyrobal.constants import celsius
from pyrobal.errors import Reason
from pyrobal.plant.acid_plant import AcidPlantResult, AcidPlantSettings, cautions, solve
from pyrobal.plant.acid_plant.bed import BedGas, Reacted, log_equilibrium, pass_bed
from pyrobal.plant.acid_plant.converter import spared
from pyrobal.streams.site import SiteSettings, vapour_pressure
from pyrobal.streams.stream import Stream
from pyrobal.streams.time_steps import TimeSteps
from pyrobal.thermo.properties import species

SITE = SiteSettings()
GAS = ("SO2(g)", "O2(g)", "N2(g)", "CO2(g)", "H2O(g)", "As4O6(g)")


def wet_gas(so2: object = 0.08, ratio: object = 1.25, water: object = 0.05, flow: float = 1500.0) -> Stream:
    """Cleaned gas, shares of the wet gas; flow [mol/s]."""
    y, r, w = (np.atleast_1d(np.asarray(x, dtype=float)) for x in (so2, ratio, water))
    y, r, w = np.broadcast_arrays(y, r, w)
    rest = 1.0 - y * (1.0 + r) - w - 0.01
    n = np.stack([y, y * r, rest, 0.01 + 0 * y, w, 1e-9 + 0 * y], axis=1) * flow
    return Stream(species(*GAS), n, np.array([celsius(35)]))


def plant(gas: Stream | None = None, **settings: object) -> AcidPlantResult:
    arrays = {
        k: v if isinstance(v, str | np.ndarray) else np.array([v], dtype=float) for k, v in settings.items()
    }
    return solve(gas or wet_gas(), SITE, AcidPlantSettings(**arrays))  # type: ignore[arg-type]


def one(x: FloatN) -> float:
    assert x.shape == (1,)
    return float(x[0])


NAMES = ("SO2(g)", "O2(g)", "SO3(g)", "N2(g)")


def bed(n: list[float], T: float, approach: object = 0.0, lit: float = 1.0) -> tuple[Reacted, FloatN]:
    """What a bed does at 1.2 bar, and the gas (N, S) that leaves it."""
    gas, a = BedGas.of(Stream(species(*NAMES), np.array([n]), np.array([T]))), np.atleast_1d(approach)
    gas = take_rows(gas, len(a))
    done = pass_bed(gas, np.array([T]), np.array([1.2e5]), a, np.array([lit]))
    return done, np.array([n]) + done.oxidised[:, None] * np.array([-1.0, -0.5, 1.0, 0.0])


def take_rows(gas: BedGas, rows: int) -> BedGas:
    many: BedGas = each_array(gas, lambda x: np.repeat(x, rows, axis=0))
    return many


def heat(n: FloatN, T: FloatN) -> FloatN:
    return Stream(species(*NAMES), n, T).enthalpy()


def test_bed_without_approach_ends_at_equilibrium() -> None:
    fed = [10.0, 11.0, 2.0, 77.0]
    done, out = bed(fed, 700.0)
    so2, o2, so3, _ = out[0] / out.sum() * 1.2
    assert np.log(so3 / (so2 * o2**0.5)) == pytest.approx(one(log_equilibrium(done.T)), abs=1e-9)
    assert one(heat(out, done.T)) == pytest.approx(one(heat(np.array([fed]), np.array([700.0]))), rel=1e-12)


def test_approach_lowers_conversion_and_temperature() -> None:
    done, _ = bed([9.0, 11.0, 0.0, 80.0], 690.0, [0.0, 10.0, 30.0, 80.0])
    assert done.converged.all()
    assert (np.diff(done.oxidised) < 0).all() and (np.diff(done.T) < 0).all()


def test_gas_beyond_equilibrium_passes_a_bed_unchanged() -> None:
    done, _ = bed([0.1, 5.0, 9.0, 80.0], 850.0)
    assert done.idle.all() and done.converged.all()
    assert one(done.oxidised) == 0.0 and one(done.T) == 850.0


@pytest.mark.parametrize("lit", [0.0, 1e-6, 0.3, 1.0])
def test_a_bed_partly_lit_oxidises_its_share_and_keeps_its_heat(lit: float) -> None:
    fed = [9.0, 11.0, 0.0, 80.0]
    whole, (done, out) = bed(fed, 690.0)[0], bed(fed, 690.0, lit=lit)
    assert one(done.oxidised) == pytest.approx(lit * one(whole.oxidised), rel=1e-12)
    assert one(heat(out, done.T)) == pytest.approx(one(heat(np.array([fed]), np.array([690.0]))), rel=1e-12)


@pytest.mark.parametrize(("catalyst", "dead", "whole"), [("potassium", 390, 410), ("caesium", 360, 375)])
def test_lighting_off(catalyst: str, dead: float, whole: float) -> None:
    """Nothing below, all above, and no kink on the way: the steepest rise is that of t^2 (3 - 2 t)."""
    T = celsius(0) + np.linspace(dead - 5, whole + 5, 2001)
    lit = AcidPlantSettings(catalyst=catalyst, bed_1_inlet=T).lit(1)
    assert (lit[celsius(dead) >= T] == 0).all() and (lit[celsius(whole) <= T] == 1).all()
    slope = np.diff(lit) / np.diff(T)
    assert slope.min() >= 0 and slope.max() == pytest.approx(1.5 / (whole - dead), rel=1e-4)
    assert np.abs(np.diff(slope)).max() < 0.01 * slope.max()


def test_cold_beds_do_nothing_and_say_so() -> None:
    cold = plant(**{f"bed_{k}_inlet": celsius(345) for k in range(1, 5)})
    assert one(cold.conversion) == 0.0 and one(cold.acid.production()) == 0.0
    assert cautions(cold)["acid.lighting_margin"].all()
    assert not cautions(plant())["acid.lighting_margin"].any()
    assert not cautions(plant(catalyst="caesium", bed_1_inlet=celsius(380)))["acid.lighting_margin"].any()
    only = plant(bed_1_inlet=celsius(380), bed_1_catalyst="caesium")
    assert one(only.converter.conversion()[:, 0]) > 0.5 and not cautions(only)["acid.lighting_margin"].any()


def test_a_bypassed_bed_takes_no_part_and_the_others_keep_their_numbers() -> None:
    """Against the same plant with that bed's catalyst dead and its inlet the outlet of the bed before."""
    out = plant(bypassed_bed="2")
    whole = plant()
    done = out.converter.conversion()[0]
    assert done[1] == done[0] == whole.converter.conversion()[0, 0]
    assert done[2] > done[1] and one(out.conversion) < one(whole.conversion)
    assert one(out.converter.duties["to_bed_2"]) == 0.0
    assert not cautions(out)["acid.conversion"].any()
    assert one(out.ledger.heat_closure()) == pytest.approx(0.0, abs=1e-12)


def test_first_bed_bypassed() -> None:
    r = plant(bypassed_bed="1")
    np.testing.assert_allclose(r.converter.surplus(), spared(r.converter, r.feed.n, r.settings), rtol=1e-9)
    assert one(r.converter.conversion()[:, 0]) == 0.0


def test_an_idle_bed_is_said() -> None:
    r = plant(bed_3_inlet=celsius(600))
    assert cautions(r)["acid.conversion"].all()
    assert not cautions(plant())["acid.conversion"].any()


@pytest.mark.parametrize("ratio", [0.0, 1e-9, 0.2])
def test_oxygen_limits_conversion(ratio: float) -> None:
    r = plant(wet_gas(ratio=ratio))
    assert r.reason[0] == Reason.SOLVED
    assert one(r.conversion) <= 2 * ratio * (1 + 1e-12)
    assert cautions(r)["acid.o2_so2"].all()


def test_double_absorption_converts_more() -> None:
    single, double = plant(beds="4"), plant(beds="3/1")
    assert one(single.conversion) < 0.98 < 0.997 < one(double.conversion)
    np.testing.assert_allclose(single.converter.conversion()[:, :3], double.converter.conversion()[:, :3])


@pytest.mark.parametrize("beds", ["3", "4", "5", "2/1", "2/2", "3/1", "3/2", "4/1"])
def test_every_arrangement(beds: str) -> None:
    r = plant(beds=beds)
    count = sum(int(x) for x in beds.split("/"))
    assert r.reason[0] == Reason.SOLVED
    assert len(r.converter.beds) == count and len(r.converter.absorbers) == (2 if "/" in beds else 1)
    assert (np.diff(r.converter.conversion()[0]) >= 0).all()


def test_conversion_rises_with_pressure_and_falls_with_strength() -> None:
    by_pressure = plant(pressure=np.array([1.0e5, 1.2e5, 1.5e5, 5e5])).conversion
    assert (np.diff(by_pressure) > 0).all()
    first = plant(wet_gas(so2=np.array([0.05, 0.08, 0.11]))).converter.conversion()[:, 0]
    assert (np.diff(first) < 0).all()


def test_hot_bed_is_said() -> None:
    r = plant(wet_gas(so2=np.array([0.06, 0.13]), ratio=1.0))
    np.testing.assert_array_equal(cautions(r)["acid.hottest_bed"], [False, True])


def test_surplus_is_the_enthalpy_from_blower_to_absorbers() -> None:
    """Duty by duty on one side, the gas alone on the other: beds are adiabatic, so both must agree."""
    for beds in ("4", "3/1"):
        r = plant(wet_gas(so2=np.array([0.04, 0.1])), beds=beds)
        np.testing.assert_allclose(
            r.converter.surplus(), spared(r.converter, r.feed.n, r.settings), rtol=1e-9
        )


def test_surplus_is_nil_at_the_autothermal_strength() -> None:
    """Gas made up to the strength found, with the conversions it was found for: the surplus vanishes."""
    gas = Stream(
        species("SO2(g)", "O2(g)", "N2(g)", "H2O(g)"), np.array([[0.09, 0.11, 0.80, 0.0]]), np.array([308.0])
    )
    r = plant(gas)
    y, rho = one(r.autothermal.strength), one(r.oxygen_ratio)
    n = np.zeros_like(r.feed.n)
    for name, x in (("SO2(g)", y), ("O2(g)", rho * y), ("N2(g)", 1 - y * (1 + rho))):
        n[:, r.feed.phase.index(name)] = x
    assert one(spared(r.converter, n, r.settings)) == pytest.approx(0.0, abs=1e-6)
    richer = n.copy()
    richer[:, r.feed.phase.index("SO2(g)")] *= 1.1
    assert one(spared(r.converter, richer, r.settings)) > 0


def test_lean_gas_is_a_caution_not_a_failure() -> None:
    r = plant(wet_gas(so2=np.array([0.03, 0.10]), water=0.03))
    assert (r.reason == Reason.SOLVED).all()
    np.testing.assert_array_equal(cautions(r)["acid.autothermal"], [True, False])
    np.testing.assert_array_equal(r.converter.surplus() < 0, [True, False])
    np.testing.assert_array_equal(r.so2_strength < r.autothermal.strength, [True, False])


def test_wet_gas_makes_weaker_acid_and_says_so() -> None:
    r = plant(wet_gas(so2=0.05, water=np.array([0.02, 0.12])))
    np.testing.assert_array_equal(cautions(r)["acid.water_balance"], [False, True])
    dilution = r.acid.dilution.amount("H2O(l)")
    assert dilution[0] > 0 and dilution[1] == 0
    strength = r.acid.strengths()["absorption"]
    assert strength[0] == pytest.approx(0.985, abs=1e-12) and strength[1] < 0.98


def test_moisture_limit_needs_no_dilution_water_and_no_more() -> None:
    """A gas made up to the limit keeps the strength with no water added (all water is taken up)."""
    r = plant(wet_gas(so2=0.07, water=0.01))
    y = one(r.moisture_limit())
    gas = wet_gas(so2=0.07, water=0.01)
    n, k = gas.n.copy(), gas.phase.index("H2O(g)")
    n[:, k] = y / (1 - y) * (n.sum(axis=1) - n[:, k])
    limit = plant(Stream(gas.phase, n, gas.T))
    assert one(limit.acid.water_balance) == pytest.approx(0.0, abs=1e-9 * one(limit.acid.water_room))
    assert one(vapour_pressure(r.saturation_limit())) == pytest.approx(y * one(SITE.pressure), rel=2e-4)


def test_acid_drawn_from_both_circuits() -> None:
    r = plant(drawn_from_drying=0.4, drying_strength=0.93)
    products = r.acid.products
    share = products["drying"].amount("H2SO4(l)") / r.acid.production()
    assert one(share) == pytest.approx(0.4)
    assert one(r.acid.strengths()["drying"]) == pytest.approx(0.93)
    assert one(r.acid.strengths()["absorption"]) == pytest.approx(0.985)


def test_oleum_free_limit_of_100_percent() -> None:
    r = plant(strength=1.0)
    assert one(r.acid.strengths()["absorption"]) == pytest.approx(1.0)
    assert one(r.acid.products["absorption"].amount("H2O(l)")) == pytest.approx(0.0, abs=1e-12)


def test_trioxide_and_mist_in_the_gas_become_acid() -> None:
    plain = wet_gas()
    phase = species(*GAS, "SO3(g)", "H2SO4(g)")
    n = np.concatenate([plain.n, [[3.0, 1.0]]], axis=1)
    more = plant(Stream(phase, n, plain.T))
    assert one(more.acid.production()) - one(plant().acid.production()) == pytest.approx(4.0, rel=1e-9)


def swinging(rows: int = 2, count: int = 6) -> tuple[Stream, TimeSteps]:
    """Gas whose strength and flow change from moment to moment, a scenario with none at one of them."""
    rng = np.random.default_rng(3)
    gas = wet_gas(so2=rng.uniform(0.03, 0.1, rows * count))
    n = gas.n * rng.uniform(0.4, 1.5, (rows * count, 1))
    n[count - 1] = 0.0
    return Stream(gas.phase, n, gas.T), TimeSteps(count)


def test_the_mean_of_a_cycle_is_that_of_its_moments() -> None:
    gas, moments = swinging()
    r = solve(moments.mean(gas), SITE, AcidPlantSettings(), gas, moments)
    each = solve(gas, SITE, AcidPlantSettings(tail_mist=np.zeros(1)))
    assert (r.reason == Reason.SOLVED).all() and np.abs(r.ledger.element_closure()).max() < 1e-12
    assert np.abs(r.ledger.heat_closure()).max() < 1e-12
    for mean, over in ((r.tail, each.tail), (r.feed, each.feed)):
        np.testing.assert_allclose(mean.n, moments.mean(np.nan_to_num(over.n)), rtol=1e-9)
    surplus = moments.mean(np.nan_to_num(each.converter.surplus()))  # nan where no gas is
    np.testing.assert_allclose(r.converter.surplus(), surplus, rtol=1e-3)
    taken = moments.series(each.converter.feed.amount("SO2(g)"))
    by_mass = np.nansum(moments.series(each.conversion) * taken, axis=1) / np.nansum(taken, axis=1)
    np.testing.assert_allclose(r.conversion, by_mass, rtol=1e-6)
    lowest = np.nanmin(moments.series(each.conversion), axis=1)
    np.testing.assert_allclose(
        r.conversion_lowest, lowest, rtol=1e-4
    )  # the blower's heat is that of the mean
    assert (r.conversion_lowest < r.conversion).all() and (r.hottest > r.converter.beds[0].outlet.T).all()


def test_moments_alike_are_a_steady_gas() -> None:
    steady, spread = plant(wet_gas(so2=np.array([0.05, 0.09]))), TimeSteps(7)
    gas = wet_gas(so2=np.array([0.05, 0.09]))
    r = solve(gas, SITE, AcidPlantSettings(), spread.spread(gas), spread)
    np.testing.assert_allclose(r.tail.n, steady.tail.n, rtol=1e-9)
    np.testing.assert_allclose(r.conversion_lowest, steady.conversion, rtol=1e-9)


def test_no_mist_without_acid() -> None:
    r = plant(wet_gas(ratio=0.0))
    assert one(r.acid.mist.total()) == 0.0 and one(r.acid.production()) == 0.0


def test_blower_at_work() -> None:
    cold, hot = plant(blower_rise=0.0), plant(blower_rise=40e3, blower_efficiency=np.array([1.0, 0.7]))
    assert one(cold.blower_power) == 0.0
    assert (hot.blower_power > 0).all() and hot.blower_power[1] > hot.blower_power[0]
    ideal = hot.feed.T[0] / celsius(50)  # isentropic: (p2 / p1)^(R / Cp), Cp of about 7/2 R
    assert ideal == pytest.approx(((101.325 + 40) / 101.325) ** (2 / 7.4), rel=5e-3)


REASONS = {
    "no SO2": (wet_gas(so2=0.0), Reason.NO_SULFUR_DIOXIDE),
    "nan flow": (wet_gas(so2=np.nan), Reason.INPUT_NOT_FINITE),
}


@pytest.mark.parametrize(("gas", "reason"), REASONS.values(), ids=REASONS.keys())
def test_reasons(gas: Stream, reason: Reason) -> None:
    r = plant(gas)
    assert r.reason[0] == reason
    assert not any(held.any() for held in cautions(r).values())


def test_a_setting_that_is_not_a_number() -> None:
    r = plant(bed_2_inlet=np.array([700.0, np.nan]))
    np.testing.assert_array_equal(r.reason, [Reason.SOLVED, Reason.INPUT_NOT_FINITE])


def test_vector_equals_scalar_and_a_bad_neighbour_changes_nothing() -> None:
    so2 = np.array([0.05, np.nan, 0.08, 0.0, 0.12])
    batch = plant(wet_gas(so2=so2))
    for i in (0, 2, 4):
        alone = plant(wet_gas(so2=so2[i]))
        for name in ("conversion", "blower_power", "acid_cooling"):
            assert getattr(batch, name)[i] == getattr(alone, name)[0]
        np.testing.assert_array_equal(batch.tail.n[i], alone.tail.n[0])
        assert batch.autothermal.strength[i] == alone.autothermal.strength[0]
    clean = plant(wet_gas(so2=np.array([0.05, 0.07, 0.08, 0.09, 0.12])))
    np.testing.assert_array_equal(batch.tail.n[[0, 2, 4]], clean.tail.n[[0, 2, 4]])


def test_settings_over_scenarios_with_one_gas() -> None:
    r = plant(bed_1_approach=np.array([0.0, 20.0, 40.0]))
    assert r.reason.shape == r.conversion.shape == r.acid_cooling.shape == (3,)
    assert (np.diff(r.converter.conversion()[:, 0]) < 0).all()


def test_twice_the_gas_twice_the_acid() -> None:
    a, b = plant(), plant(wet_gas(flow=3000.0))
    assert one(b.acid.production()) == pytest.approx(2 * one(a.acid.production()), rel=1e-12)
    assert one(b.conversion) == pytest.approx(one(a.conversion), rel=1e-12)


def test_defaults_lie_within_their_ranges() -> None:
    from pyrobal.fields import Quantity, declarations

    s = AcidPlantSettings()
    for name, declared in declarations(AcidPlantSettings).items():
        value = getattr(s, name)
        if isinstance(declared, Quantity) and value is not None:
            assert declared.low <= value[0] <= declared.high, name  # type: ignore[operator]
    assert {f.name for f in dataclasses.fields(s)} == set(declarations(AcidPlantSettings))


@pytest.mark.parametrize("inlet", [395.0, 400.0, 405.0, 415.0])
def test_exact_derivatives_pass_beds_that_are_lighting(inlet: float) -> None:
    """By complex step against a central difference, over the moments of a swinging gas."""
    gas, moments = swinging()

    def conversion(T: complex) -> FloatN:
        s = AcidPlantSettings(bed_1_inlet=np.array([celsius(0) + T]))
        return solve(moments.mean(gas), SITE, s, gas, moments).conversion

    exact = conversion(inlet + 1e-30j).imag / 1e-30
    by_difference = (conversion(inlet + 1e-3) - conversion(inlet - 1e-3)) / 2e-3
    np.testing.assert_allclose(exact, by_difference.real, rtol=1e-4)
