"""Readings of the gas train over a results tree that holds nothing else."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from off_gases import arrays, gas_train, line_settings, one, sources

from pyrobal import units
from pyrobal.plant.gas_train import GasTrainSettings, cautions, solve
from pyrobal.readings import gas
from pyrobal.streams.site import DRY_AIR, SiteSettings


@pytest.fixture(scope="module")
def results() -> Any:
    return SimpleNamespace(gas_train=gas_train(), acid_plant=True)


def value(results: Any, key: str) -> float:
    for reading in gas.READINGS:
        member = reading.member(key)
        if key in reading.keys(results):
            return one(
                np.atleast_1d(reading.compute(results, member) if member else reading.compute(results))
            )
    raise KeyError(key)


def test_every_reading_is_a_number_with_a_known_unit(results: Any) -> None:
    keys = [(r, key) for r in gas.READINGS for key in r.keys(results)]
    assert len({key for _, key in keys}) == len(keys)
    for reading, key in keys:
        assert isinstance(reading.unit, str) and reading.unit in units.SPELLINGS
        assert np.isfinite(value(results, key)), key


def test_keys_of_the_contract_are_there(results: Any) -> None:
    for point in (
        "furnace",
        "furnace.cooler",
        "converter.hood",
        "anode.fan",
        "mixing",
        "quench",
        "tower",
        "dilution",
    ):
        for what in ("flow_wet", "flow_dry", "so2", "o2", "h2o", "temperature"):
            value(results, f"gas.{point}.{what}")
    assert value(results, "gas.steam") == value(results, "gas.furnace.steam") > 0.0


def test_readings_agree_with_each_other(results: Any) -> None:
    share = sum(value(results, f"gas.mixing.{x}") for x in ("so2", "so3", "o2", "n2", "co2", "h2o"))
    assert share == pytest.approx(1.0, abs=0.012)  # argon is not among them
    caught = [value(results, f"gas.furnace.{x}dust_caught") for x in ("", "cooler.", "precipitator.")]
    assert caught[0] == pytest.approx(caught[1] + caught[2])
    assay = sum(
        value(results, k)
        for r in gas.READINGS
        for k in r.keys(results)
        if k.startswith("gas.dust_assay.furnace.")
    )
    assert assay == pytest.approx(1.0)
    added = value(results, "gas.dilution.flow_dry") - value(results, "gas.mist_precipitator.flow_dry")
    assert added == pytest.approx(value(results, "gas.dilution_air"))
    nitrogen = [
        value(results, f"gas.{p}.n2") * value(results, f"gas.{p}.flow_wet")
        for p in ("furnace", "furnace.fan")
    ]
    assert value(results, "gas.furnace.air") * DRY_AIR["N2(g)"] == pytest.approx(nitrogen[1] - nitrogen[0])


def test_a_train_that_only_goes_to_the_stack_makes_no_weak_acid() -> None:
    given, lines = {"anode": sources()["anode"]}, {"anode": line_settings()["anode"]}
    train = solve(given, lines, GasTrainSettings(**arrays({})), SiteSettings())
    only = SimpleNamespace(gas_train=train, acid_plant=True)
    assert (
        value(only, "gas.weak_acid.rate")
        == value(only, "gas.wash.make_up")
        == value(only, "gas.steam")
        == 0.0
    )
    with pytest.raises(KeyError):
        value(only, "gas.quench.temperature")


def test_cautions_belong_to_readings(results: Any) -> None:
    keys = {key for r in gas.READINGS for key in r.keys(results)}
    own = {c.key for c in cautions(results.gas_train)}
    assert own <= keys


def test_flow_where_it_is_by_the_gas_law(results: Any) -> None:
    """22.414 m3/kmol at 0 degC and 101.325 kPa, carried over to temperature and pressure there."""
    site = SiteSettings()
    for point in ("furnace", "furnace.cooler", "tower"):
        kmol, T = value(results, f"gas.{point}.flow_wet") / 1000, value(results, f"gas.{point}.temperature")
        suction = float(GasTrainSettings().suction[0]) if point == "tower" else 0.0
        p = float(site.pressure[0]) - suction
        assert value(results, f"gas.{point}.flow_actual") == pytest.approx(
            22.414 * kmol * T / 273.15 * 101325 / p, rel=1e-4
        )
    fan = value(results, "gas.furnace.fan_suction_flow") / value(
        results, "gas.furnace.precipitator.flow_actual"
    )
    assert fan == pytest.approx(101.325 / (101.325 - 4), rel=1e-9)
