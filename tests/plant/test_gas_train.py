"""Behaviour of the gas train: each piece, its limits, the water of the wash, and independence of scenarios."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from off_gases import alone, arrays, gas_train, line_settings, one, sources, stream

from pyrobal.constants import celsius
from pyrobal.errors import Reason
from pyrobal.plant.gas_train import (
    AnodeGasSettings,
    ConverterGasSettings,
    GasLineSettings,
    GasTrainResult,
    GasTrainSettings,
    cautions,
    solve,
)
from pyrobal.streams.site import OXYGEN_IN_AIR, SiteSettings, air_humidity, vapour_pressure
from pyrobal.thermo.acid_solution import M_ACID, M_WATER
from pyrobal.thermo.properties import species

LEAN = {"SO2(g)": 10.0, "O2(g)": 12.0, "N2(g)": 73.0, "H2O(g)": 5.0}


def held(r: GasTrainResult) -> set[str]:
    """Keys of the cautions that hold in any scenario."""
    return {c.key for c in cautions(r) if c.holds.any()}


def test_hood_burns_out_the_anode_gas() -> None:
    hood = gas_train().lines["anode"].hood
    gas = hood.outlet.gas
    assert one(gas.amount("CO(g)")) == one(gas.amount("H2(g)")) == 0.0
    assert one(gas.amount("CO2(g)")) > 15.0 and one(gas.amount("O2(g)")) > 0.0


def test_hood_without_enough_air_leaves_fuel_and_says_so() -> None:
    lines = line_settings() | {"anode": AnodeGasSettings(hood_air=np.array([0.1]))}
    r = solve(sources(), lines, GasTrainSettings(), SiteSettings())
    gas = r.lines["anode"].hood.outlet.gas
    assert one(gas.amount("O2(g)")) == pytest.approx(0.0, abs=1e-12)
    assert one(gas.amount("CO(g)")) / 5.0 == pytest.approx(one(gas.amount("H2(g)")) / 8.0)  # burnt alike
    assert "gas.anode.hood.o2" in held(r) and "gas.anode.hood.o2" not in held(gas_train())


def test_in_leakage_is_air_in_the_share_asked_for() -> None:
    gas = stream({"SO2(g)": 30.0, "N2(g)": 70.0}, 1500.0)
    r = alone(gas, cooler_leak=0.2)
    out, humidity = r.lines["furnace"].cooler.outlet.gas, one(air_humidity(SiteSettings()))
    assert one(out.amount("O2(g)")) == pytest.approx(20.0 * OXYGEN_IN_AIR)
    assert one(out.amount("H2O(g)")) == pytest.approx(20.0 * humidity)


def test_boiler_makes_steam_of_what_it_takes() -> None:
    cold, hot = (gas_train(cooler_temperature=celsius(t)).lines["furnace"].cooler for t in (320, 420))
    assert one(cold.steam) > one(hot.steam) > 0.0
    assert one(cold.outlet.T) == celsius(320)
    steam = np.array([one(gas_train(steam_temperature=t).steam) for t in (None, celsius(350), celsius(450))])
    assert (np.diff(steam) < 0).all()  # hotter steam, less of it
    loss = gas_train(cooler_loss=0.1).lines["furnace"].cooler
    free = gas_train(cooler_loss=0.0).lines["furnace"].cooler
    assert one(loss.steam) == pytest.approx(0.9 * one(free.steam))


def test_spray_cooler_adds_the_water_and_none_adds_nothing() -> None:
    spray = gas_train(cooling="water_spray").lines["furnace"].cooler
    bare = gas_train(cooling="none").lines["furnace"].cooler
    boiler = gas_train().lines["furnace"].cooler
    wetter = spray.outlet.gas.amount("H2O(g)") - boiler.outlet.gas.amount("H2O(g)")
    assert one(wetter) == pytest.approx(one(spray.spray))
    assert one(spray.steam) == 0.0 and one(spray.outlet.T) == one(boiler.outlet.T)
    assert one(bare.heat) == 0.0 and one(bare.outlet.T) > celsius(1000)


def test_sulfation_takes_its_so2_and_its_air() -> None:
    plain, turned = (gas_train(sulfation=x, so3_share=0.0).lines["furnace"].cooler for x in (0.0, 1.0))
    made = turned.outlet.carried.element("S") + turned.caught.element("S")
    assert one(plain.outlet.gas.amount("SO2(g)") - turned.outlet.gas.amount("SO2(g)")) == pytest.approx(
        one(made)
    )
    assert one(turned.caught.amount("Cu2O")) == pytest.approx(0.0, abs=1e-12)
    # air at the stoichiometric ratio leaves the oxygen of the gas as it is
    assert one(turned.outlet.gas.amount("O2(g)")) == pytest.approx(one(plain.outlet.gas.amount("O2(g)")))
    assert one(turned.heat) > one(plain.heat)  # sulfates form with heat


def test_vapours_go_where_they_belong() -> None:
    r = gas_train(arsenic_to_dust=0.25)
    line, cleaning = r.lines["furnace"], r.cleaning
    assert cleaning is not None
    gas = line.cooler.outlet.gas
    assert all(one(gas.amount(f"{x}(g)")) == pytest.approx(0.0, abs=1e-12) for x in ("PbO", "Zn", "Sb", "Bi"))
    assert one(gas.amount("As4O6(g)")) == pytest.approx(0.75 * 0.3)
    final = cleaning.dilution.outlet
    assert (
        one(final.gas.element("As"))
        == one(final.gas.amount("SO3(g)"))
        == one(final.gas.amount("SeO2(g)"))
        == 0.0
    )
    passed = one(final.carried.element("As")) / (0.75 * 0.3 * 4)
    assert passed < 0.003  # scrubber 60 %, wet precipitators 99.5 % of the rest


def test_half_of_the_mercury_is_washed_out() -> None:
    r = alone(stream(LEAN | {"Hg(g)": 1e-4}, 600.0), cooling="none")
    assert r.cleaning is not None
    assert one(r.cleaning.dilution.outlet.gas.amount("Hg(g)")) == 0.0
    assert one(r.cleaning.weak_acid.amount("Hg")) == pytest.approx(0.5e-4, rel=1e-9)  # the rest is vapour
    assert one(r.cleaning.cleaned.carried.amount("Hg")) == pytest.approx(0.5e-4, rel=1e-9)


def test_dust_is_caught_and_adds_up() -> None:
    r = gas_train()
    line = r.lines["furnace"]
    total = one(line.dust.mass()) + one(line.outlet.carried.mass())
    assert one(line.precipitator.outlet.carried.mass()) < 0.01 * total
    assert one(line.dust.element("Cu")) == pytest.approx(10.0 * (1 - 0.4 * 0.02))
    assert one(line.dust.T) == 298.15


def test_precipitator_cools_by_leak_and_walls() -> None:
    tight = gas_train(precipitator_leak=0.0, precipitator_cooling=0.0).lines["furnace"]
    assert one(tight.precipitator.outlet.T) == pytest.approx(one(tight.cooler.outlet.T), abs=1e-6)
    walls = gas_train(precipitator_leak=0.0, precipitator_cooling=25.0).lines["furnace"]
    assert one(walls.cooler.outlet.T - walls.precipitator.outlet.T) == pytest.approx(25.0, abs=1e-6)


def test_fan_warms_the_gas_by_its_power() -> None:
    line = gas_train(fan_pressure=6e3, fan_efficiency=1.0).lines["furnace"]
    flow, T = one(line.precipitator.outlet.gas.total()), one(line.precipitator.outlet.T)
    assert one(line.fan.outlet.T) > T
    # an adiabatic rise takes a little more than an isothermal one
    isothermal = flow * 8.314462618 * T * np.log(101325 / (101325 - 6e3))
    assert isothermal < one(line.fan.power) < 1.02 * isothermal


def test_wash_water_balance_holds_at_the_target_strength() -> None:
    r = gas_train()
    c = r.cleaning
    assert c is not None
    assert one(c.weak_acid_strength) == pytest.approx(0.05)
    water_in = one(c.mixing.outlet.gas.amount("H2O(g)")) + one(c.make_up)
    water_out = one(c.tower.outlet.gas.amount("H2O(g)")) + one(c.weak_acid.amount("H2O(l)"))
    hydrogen = one(c.mixing.outlet.gas.element("H")) / 2 + one(c.make_up)
    assert water_in > water_out  # the rest is in the acid
    acid = one(c.weak_acid.amount("H2SO4(l)")) + one(c.mist_precipitator.outlet.carried.amount("H2SO4(l)"))
    assert hydrogen == pytest.approx(water_out + acid)
    mass = np.array(
        [one(c.weak_acid.amount("H2SO4(l)")) * M_ACID, one(c.weak_acid.amount("H2O(l)")) * M_WATER]
    )
    assert mass[0] / mass.sum() == pytest.approx(0.05)


def test_a_wet_gas_makes_the_weak_acid_weaker_and_says_so() -> None:
    r = alone(stream(LEAN | {"H2O(g)": 40.0, "SO3(g)": 0.01}, 600.0), cooling="none")
    assert r.cleaning is not None
    assert one(r.cleaning.make_up) == pytest.approx(0.0, abs=1e-9)
    assert one(r.cleaning.weak_acid_strength) < 0.05
    assert "gas.weak_acid.strength" in held(r)


def test_cooled_gas_is_saturated_at_the_pressure_there() -> None:
    r = gas_train(train={"suction": 6e3, "cooled_gas_temperature": celsius(30)})
    assert r.cleaning is not None
    gas = r.cleaning.tower.outlet.gas
    share = one(gas.amount("H2O(g)")) / one(gas.total())
    assert share == pytest.approx(one(vapour_pressure(np.array([celsius(30)]))) / (101325 - 6e3))


def test_so2_lost_grows_with_bleed_and_falls_with_stripping() -> None:
    def lost(**train: Any) -> float:
        r = gas_train(train=train)
        assert r.cleaning is not None
        return one(r.cleaning.weak_acid.amount("SO2(g)"))

    assert lost(weak_acid_strength=0.02) > 2 * lost(weak_acid_strength=0.05) > 0.0
    assert lost(so2_stripping=0.9) == pytest.approx(0.1 * lost(), rel=0.01)
    assert lost(so2_stripping=1.0) == 0.0


def test_dilution_meets_strength_and_oxygen_ratio_and_no_more() -> None:
    def strong(**train: Any) -> tuple[float, float, float]:
        r = gas_train(train=train)
        gas = r.to_acid_plant
        assert gas is not None and r.cleaning is not None
        dry = one(gas.total() - gas.amount("H2O(g)"))
        so2, o2 = one(gas.amount("SO2(g)")), one(gas.amount("O2(g)"))
        return so2 / dry, o2 / so2, one(r.cleaning.dilution.air)

    assert strong(so2_highest=0.08, o2_so2_lowest=0.0)[0] == pytest.approx(0.08)
    assert strong(so2_highest=1.0, o2_so2_lowest=1.3)[1] == pytest.approx(1.3)
    assert strong(so2_highest=1.0, o2_so2_lowest=0.0)[2] == 0.0


def test_points_follow_the_gas_and_the_stack_gets_the_rest() -> None:
    r = gas_train()
    names = [*r.points]
    assert names[:5] == [
        "furnace",
        "furnace.hood",
        "furnace.cooler",
        "furnace.precipitator",
        "furnace.fan",
    ]
    assert names[-5:] == ["mixing", "quench", "tower", "mist_precipitator", "dilution"]
    assert set(r.to_stack) == {"anode"}
    lines = {"anode": AnodeGasSettings()}
    only = solve({"anode": sources()["anode"]}, lines, GasTrainSettings(), SiteSettings())
    assert only.cleaning is None and only.to_acid_plant is None
    assert np.abs(only.ledger.heat_closure()).max() < 1e-12


def test_wall_of_the_boiler_is_its_boiling_water() -> None:
    low, high = (gas_train(steam_pressure=p) for p in (8e5, 6e6))
    assert one(high.points["furnace.cooler"].wall) == pytest.approx(celsius(275.586), abs=0.001)
    assert "gas.furnace.cooler.wall_margin" in held(low)
    assert "gas.furnace.cooler.wall_margin" not in held(high)


def test_cautions_of_heat() -> None:
    assert "gas.furnace.cooler.temperature" in held(gas_train(cooler_temperature=celsius(700)))
    assert "gas.furnace.precipitator.temperature" in held(gas_train(cooler_temperature=celsius(520)))
    assert not {"gas.furnace.cooler.temperature", "gas.furnace.precipitator.temperature"} & held(gas_train())
    assert gas_train().points["furnace.cooler"].dew_point.extrapolated.all()


LIMITS: dict[Reason, dict[str, Any]] = {
    Reason.GAS_COLDER_THAN_COOLER: {"hood_air": 15.0, "cooler_temperature": celsius(780)},
    Reason.GAS_OXYGEN_SHORT: {"so3_share": 0.25, "cooler_leak": 0.0, "sulfation_air": 0.0},
    Reason.STEAM_IMPOSSIBLE: {"feedwater_temperature": celsius(290)},
}


@pytest.mark.parametrize("reason", LIMITS, ids=lambda r: r.name)
def test_limits_are_named_and_disturb_nobody(reason: Reason) -> None:
    base = arrays({k: getattr(GasLineSettings(), k) for k in LIMITS[reason]})
    mixed = {k: np.array([base[k][0], v, base[k][0]]) for k, v in LIMITS[reason].items()}
    r, good = gas_train(**mixed), gas_train()
    assert r.reason.tolist() == [Reason.SOLVED, reason, Reason.SOLVED]
    assert r.to_acid_plant is not None and good.to_acid_plant is not None
    n = np.broadcast_to(r.to_acid_plant.n, (3, len(r.to_acid_plant.phase)))
    for i in (0, 2):
        np.testing.assert_array_equal(n[i], good.to_acid_plant.n[0])
        assert r.steam[i] == good.steam[0]
    assert not any(c.holds[1] for c in cautions(r) if len(c.holds) == 3)


def test_steam_colder_than_boiling_is_a_limit() -> None:
    assert gas_train(steam_temperature=celsius(200)).reason.tolist() == [Reason.STEAM_IMPOSSIBLE]


def test_sulfate_without_so2_is_a_limit() -> None:
    gas, dust = stream({"O2(g)": 50.0, "SO2(g)": 0.1}, 1500.0), stream({"Cu2O": 1.0}, 1500.0)
    assert alone(gas, dust, sulfation=1.0).reason.tolist() == [Reason.GAS_SO2_SHORT]


def test_a_cold_gas_cannot_be_cooled_by_the_tower() -> None:
    r = alone(stream(LEAN, 310.0), cooling="none")
    assert r.reason.tolist() == [Reason.GAS_COLDER_THAN_WASH]


def test_what_is_not_a_number_is_said_and_stays_alone() -> None:
    given = sources([1.0, np.nan, 1.0])
    r, good = gas_train(given), gas_train()
    assert r.reason.tolist() == [Reason.SOLVED, Reason.INPUT_NOT_FINITE, Reason.SOLVED]
    assert r.to_acid_plant is not None and good.to_acid_plant is not None
    np.testing.assert_array_equal(r.to_acid_plant.n[2], good.to_acid_plant.n[0])


def test_a_converter_that_stands_still_takes_nothing_along() -> None:
    given = sources()
    blown = given["converter"]
    idle = dataclasses.replace(blown, gas=blown.gas.scaled(np.zeros(1)), dust=blown.dust.scaled(np.zeros(1)))
    r = gas_train(given | {"converter": idle})
    without = gas_train({k: v for k, v in given.items() if k != "converter"})
    assert r.reason.tolist() == [Reason.SOLVED]
    assert r.to_acid_plant is not None and without.to_acid_plant is not None
    assert one(r.to_acid_plant.total()) == pytest.approx(one(without.to_acid_plant.total()))
    assert one(r.to_acid_plant.T) == pytest.approx(one(without.to_acid_plant.T))


def test_dust_that_is_just_melting_keeps_the_heat_closed() -> None:
    """Cuprous oxide melts at 1516.7 K: where the gas comes to that, the latent heat stands beside it."""
    r = alone(stream({"N2(g)": 100.0}, 1540.0), stream({"Cu2O": 50.0}, 1540.0), hood_air=0.6, cooling="none")
    hood = r.lines["furnace"].hood
    latent = 50 * np.diff(species("Cu2O").enthalpy(np.array([1516.7, 1516.7 + 1e-6]))[:, 0])[0]
    assert one(hood.outlet.T) == pytest.approx(1516.7, abs=1e-3)
    assert 0.0 < abs(one(hood.ledger.heat_out["part_molten"])) < latent
    assert abs(one(hood.ledger.heat_closure())) < 1e-9


def test_defaults_of_the_lines_differ_where_they_should() -> None:
    assert ConverterGasSettings().cooling == "water_spray" and AnodeGasSettings().to == "stack"
    for settings in (ConverterGasSettings, AnodeGasSettings, GasLineSettings):
        assert one(settings().hood_air) == 0.0  # their hoods stand in the sections of the furnaces
    assert [f.name for f in dataclasses.fields(ConverterGasSettings)] == [
        f.name for f in dataclasses.fields(GasLineSettings)
    ]


def test_many_in_one_call() -> None:
    r = gas_train(sources(np.linspace(0.5, 1.5, 2_000)))
    assert (r.reason == Reason.SOLVED).all() and len(r.reason) == 2_000
