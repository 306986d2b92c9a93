"""Copper with a schedule: all of the blister where nothing is lost, less where a limit binds."""

from __future__ import annotations

import pytest

from pyrobal.case.load import load_case
from pyrobal.constants import NM3, NM3_PER_HOUR
from pyrobal.flowsheet.solve import solve
from pyrobal.readings.messages import messages
from pyrobal.readings.registry import evaluate

LIMITED = ["acid_plant.flow_limit=200000 Nm3/h", "load.schedule=limited"]


def test_matte_there_is_no_time_for_is_put_aside() -> None:
    """The limit on flow lengthens the repeat; what is blown, put aside and made then adds up."""
    free = solve(load_case("cases/marram_sound.toml").inputs)
    bound = solve(load_case("cases/marram_sound.toml", LIMITED).inputs)
    kept = 1.0 - evaluate(bound, "load.lost")[0]
    assert evaluate(free, "load.lost")[0] == 0.0 and 0.3 < kept < 0.9
    for r in (free, bound):
        blister = evaluate(r, "converting.blister.rate")[0]
        assert evaluate(r, "load.copper")[0] == pytest.approx(blister, rel=1e-5)
    aside = bound.circuit.aside.mass()[0]
    assert bound.converting.matte.mass()[0] / (bound.converting.matte.mass()[0] + aside) == pytest.approx(
        kept, rel=1e-4
    )
    for element in ("S", "Cu", "Fe", "Au"):
        assert abs(evaluate(bound, f"balance.{element}.closure")[0]) < 1e-9
    assert evaluate(bound, "deportment.Cu.smelting.matte_aside")[0] > 0.1
    assert evaluate(bound, "emissions.so2_from.bypass")[0] == 0.0


def test_the_message_names_the_limit() -> None:
    said = {m.key: m.text for m in messages(solve(load_case("cases/marram_sound.toml", LIMITED).inputs))}
    assert "is put aside" in said["acid_plant.flow_limit"]
    assert "load.vessels" not in said and "acid_plant.so2_limit" not in said


def test_secondary_hoods_are_stated_in_the_air_they_draw() -> None:
    """A furnace and two vessels; the gas they catch alone would be above 300 g/Nm3, which no stack shows."""
    plain = solve(load_case("cases/marram_sound.toml").inputs)
    assert evaluate(plain, "emissions.stack.secondary.flow")[0] == pytest.approx(3 * 100_000 * NM3_PER_HOUR)
    assert 1000 < evaluate(plain, "emissions.stack.secondary.so2")[0] / (1e-6 / NM3) < 5000
    drawn = solve(load_case("cases/marram_sound.toml", ["emissions.secondary_flow=250000 Nm3/h"]).inputs)
    assert evaluate(drawn, "emissions.stack.secondary.flow")[0] == pytest.approx(250_000 * NM3_PER_HOUR)


def test_the_largest_source_and_what_it_rests_on_are_named() -> None:
    plain = solve(load_case("cases/marram_sound.toml").inputs)
    said = {m.key: m.text for m in messages(plain)}
    assert "kg/h SO2; it follows from 3 % of the gas" in said["emissions.so2_from.secondary"]


def test_a_furnace_let_go_to_a_stack_is_a_caution_of_its_own() -> None:
    let_go = solve(load_case("cases/marram_sound.toml", ["furnace_gas.to=stack"]).inputs)
    said = {m.key: m for m in messages(let_go)}
    assert said["emissions.so2_from.furnace"].level == "caution"
    assert "goes to a stack and not to an acid plant" in said["emissions.so2_from.furnace"].text
    assert said["emissions.stack.furnace.so2"].level == "caution"
    assert evaluate(let_go, "limit.emissions.so2_stack_limit.use")[0] > 100  # of all stacks, not of the first
