"""Readings of acid plant, emissions and load over a small plant of their own."""

from __future__ import annotations

import functools
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pyrobal.plant import acid_plant, emissions, load
from pyrobal.plant.emissions import Sulfur, escape
from pyrobal.readings import acid as acid_readings
from pyrobal.readings import emissions as emissions_readings
from pyrobal.readings import load as load_readings
from pyrobal.readings.reading import Reading
from pyrobal.streams.dilution import AirNeed, Limit
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.site import SiteSettings
from pyrobal.streams.stream import Stream
from pyrobal.streams.time_steps import TimeSteps
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import species
from pyrobal.units import SPELLINGS, display

READINGS = (*acid_readings.READINGS, *emissions_readings.READINGS, *load_readings.READINGS)
ROWS = 3


def array(x: float) -> Any:
    return np.array([x])


@functools.lru_cache
def results() -> Any:
    """Three scenarios of SO2 strength, every limit given, two batch vessels beside a steady gas."""
    site = SiteSettings()
    phase = species("SO2(g)", "O2(g)", "N2(g)", "CO2(g)", "H2O(g)")
    y = np.array([0.06, 0.08, 0.11])
    raw = Stream(
        phase, np.stack([y, 1.2 * y, 0.9 - 2.2 * y, 0.02 + 0 * y, 0.05 + 0 * y], axis=1) * 1500, array(308.0)
    )
    gas, lost = escape(raw, array(0.02))
    s = acid_plant.AcidPlantSettings(
        flow_limit=array(1400.0), so2_limit=array(8.0), drawn_from_drying=array(0.3), strength=array(0.985)
    )
    need, limit = AirNeed(array(1.0), array(0.0)), Limit(array(1400.0), None)
    cycle = load.Cycle(np.array([[3600.0, 3600.0]]), np.array([[[60.0, 0.0], [70.0, 0.0], [370.0, 0.0]]]))
    parts = np.stack([gas.amount("SO2(g)"), gas.amount("O2(g)"), gas.amount("N2(g)")], axis=1)
    over = load.solve(cycle, parts / 2, need, limit, load.LoadSettings())
    made = acid_plant.solve(gas, site, s, TimeSteps(load.STEPS).spread(gas), TimeSteps(load.STEPS))
    passed = made.course.tail
    sulfur = Sulfur(1.03 * raw.amount("SO2(g)"), raw.amount("SO2(g)"), made.acid.production())
    limits = {
        name: array(1.0) for name in ("so2_stack_limit", "mist_limit", "so2_limit", "so2_per_t_cu_limit")
    }
    limits |= {name: array(0.5) for name in ("so2_per_t_acid_limit", "secondary_so2_limit", "capture_limit")}
    e = emissions.solve(
        {"acid_plant": made.stack_gas}, {"converting": lost}, sulfur, array(4.0), made.acid.production() * 0.098,
        emissions.EmissionsSettings(**limits), emissions.Surroundings({}, {}, np.ones(1), site, {"acid_plant": passed}),
    )  # fmt: skip
    carbon = Entry(np.full((1, len(ELEMENTS)), 1e-3), np.zeros(1), np.zeros(1))  # something of every element
    bypass = SimpleNamespace(over=passed, offered=made.course.feed)
    return SimpleNamespace(
        acid_plant=made, emissions=e, load=over, bypass=bypass, inputs=SimpleNamespace(site=site, upset={"none": None}), upsets={},
        ledger=Ledger({"smelting.fuel": carbon}, {}), circuit=SimpleNamespace(copper=array(4.0)), smelting=True,
    )  # fmt: skip


def value(key: str) -> Any:
    """In the unit shown."""
    for reading in READINGS:
        member = reading.member(key)
        if member is not None:
            x = reading.compute(results(), member) if member else reading.compute(results())
            return display(np.broadcast_to(x, (ROWS,)), reading.unit_text)
    raise KeyError(key)


@pytest.mark.parametrize("reading", READINGS, ids=lambda r: r.key)
def test_every_reading_has_a_unit_and_finite_values(reading: Reading) -> None:
    assert reading.unit_text in SPELLINGS
    keys = reading.keys(results())
    assert keys
    for key in keys:
        assert np.isfinite(value(key)).all(), key


def test_keys_differ() -> None:
    keys = [key for reading in READINGS for key in reading.keys(results())]
    assert len(set(keys)) == len(keys)


def test_cautions_name_readings_or_settings() -> None:
    known = [key for reading in READINGS for key in reading.keys(results())]
    settings = {"emissions.secondary_flow", "load.vessels", "acid_plant.flow_limit", "acid_plant.so2_limit"}
    said = {*acid_plant.CAUTIONS, *emissions.CAUTIONS, *load.CAUTIONS}
    assert said | set(emissions.cautions(results().emissions)) <= {*known, *settings}
    found = acid_plant.cautions(results().acid_plant) | load.cautions(results().load)
    assert set(found) <= said


def test_acid_per_sulfur_dioxide() -> None:
    """1 t/h SO2 oxidised and absorbed is 24 x 1.531 t/d acid."""
    taken = value("acid.so2_load") * value("acid.conversion") / 100
    np.testing.assert_allclose(value("acid.production") / taken, 24 * 1.531, rtol=2e-3)  # slip of SO3, mist
    np.testing.assert_allclose(value("acid.as_93") * 0.93, value("acid.as_98_5") * 0.985)


def test_products_add_up_to_the_production() -> None:
    pure = sum(
        value(f"acid.product.{x}") * value(f"acid.strength.{x}") / 100 for x in ("absorption", "drying")
    )
    np.testing.assert_allclose(pure, value("acid.production"), rtol=1e-12)


def test_last_bed_is_the_overall_conversion() -> None:
    np.testing.assert_array_equal(value("acid.bed.4.conversion"), value("acid.conversion"))
    outlets = np.max([value(f"acid.bed.{k}.hottest") for k in range(1, 5)], axis=0)
    np.testing.assert_array_equal(outlets, value("acid.hottest_bed"))
    np.testing.assert_allclose(value("acid.bed.1.outlet"), value("acid.bed.1.hottest"), rtol=1e-9)


def test_stack_units_agree_with_each_other() -> None:
    np.testing.assert_allclose(
        value("emissions.stack_so2") / value("emissions.stack_so2_ppm"), 2.858, rtol=1e-4
    )
    rate = value("emissions.stack.acid_plant.flow") * value("emissions.stack.acid_plant.so2") * 1e-6
    np.testing.assert_allclose(rate, value("emissions.so2_from.acid_plant"), rtol=1e-12)


def test_sources_of_sulfur_dioxide_add_up() -> None:
    parts = sum(value(f"emissions.so2_from.{x}") for x in ("acid_plant", "secondary", "fugitive"))
    np.testing.assert_allclose(parts, value("emissions.so2"), rtol=1e-12)
    yearly = value("emissions.so2") * 8000 / 1000
    np.testing.assert_allclose(value("emissions.yearly.so2"), yearly, rtol=1e-12)


def test_load_in_plant_units() -> None:
    np.testing.assert_allclose(value("load.flow_mean"), value("acid.inlet_flow"), rtol=1e-12)
    np.testing.assert_allclose(value("load.cycles"), 1.0)
    np.testing.assert_allclose(value("load.hours_over"), value("load.time_over") / 100 * 8000)
