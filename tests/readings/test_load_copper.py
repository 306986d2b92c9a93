"""Copper with a schedule: all of the blister where nothing is lost, less where a limit binds."""

from __future__ import annotations

import pytest
from demos import solved

from pyrobal.constants import NM3, NM3_PER_HOUR
from pyrobal.readings.messages import messages
from pyrobal.readings.registry import evaluate

LIMITED = ["gas_train.so2_highest=12 %", "acid_plant.flow_limit=200000 Nm3/h", "load.schedule=limited"]


def test_matte_there_is_no_time_for_is_put_aside() -> None:
    """The limit on flow lengthens the repeat; what is blown, put aside and made then adds up."""
    free = solved("marram_sound", *LIMITED[:1])
    bound = solved("marram_sound", *LIMITED)
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
    said = {m.key: m.text for m in messages(solved("marram_sound", *LIMITED))}
    assert "is put aside" in said["acid_plant.flow_limit"]
    assert "load.vessels" not in said and "acid_plant.so2_limit" not in said


def test_secondary_hoods_are_stated_in_the_air_they_draw() -> None:
    """A furnace and two vessels; the gas they catch alone would be above 300 g/Nm3, which no stack shows."""
    plain = solved("marram_sound")
    assert evaluate(plain, "emissions.stack.secondary.flow")[0] == pytest.approx(3 * 100_000 * NM3_PER_HOUR)
    assert 1000 < evaluate(plain, "emissions.stack.secondary.so2")[0] / (1e-6 / NM3) < 5000
    drawn = solved("marram_sound", "emissions.secondary_flow=250000 Nm3/h")
    assert evaluate(drawn, "emissions.stack.secondary.flow")[0] == pytest.approx(250_000 * NM3_PER_HOUR)


def test_the_largest_source_and_what_it_rests_on_are_named() -> None:
    plain = solved("marram_sound")
    said = {m.key: m.text for m in messages(plain)}
    assert "kg/h SO2; it follows from 3 % of the gas" in said["emissions.so2_from.secondary"]


def test_a_broken_permit_is_told_with_stack_figure_and_limit() -> None:
    sets = [
        "emissions.so2_stack_limit=900 mg/Nm3",
        "emissions.so2_limit=400 kg/h",
        "emissions.capture_limit=99 %",
    ]
    r = solved("marram_sound", *sets)
    said = {m.key: m.text for m in messages(r) if m.level == "caution"}
    text = said["emissions.stated.slag_cleaning.so2"]
    found = evaluate(r, "emissions.stated.slag_cleaning.so2")[0] / (1e-6 / NM3)
    assert text == (
        f"SO2 in the slag cleaning stack, {found:,.0f} mg/Nm3, is above the 900 mg/Nm3 of "
        "emissions.so2_stack_limit"
    )
    assert "is above the 400 kg/h of emissions.so2_limit" in said["emissions.so2"]
    assert "%, is below the 99 % of emissions.capture_limit" in said["emissions.sulfur_capture"]
    assert not {"emissions.stated.acid_plant.so2", "emissions.stated.secondary.so2"} & set(said)


def test_a_limit_kept_on_the_mean_and_not_over_an_hour_is_told() -> None:
    """The hoods give 2,710 mg/Nm3 on the mean and above 3,000 over the worst hour of blowing."""
    r = solved("marram_sound", "emissions.secondary_so2_limit=3000 mg/Nm3")
    (note,) = (m for m in messages(r) if m.key.startswith("emissions.highest."))
    assert (note.level, note.key) == ("note", "emissions.highest.secondary.1_h")
    assert "keeps the 3,000 of emissions.secondary_so2_limit; over the worst 1 h it comes to" in note.text


def test_hood_air_stated_as_gas_of_combustion_is_a_caution() -> None:
    sets = ["stack.secondary.reference_oxygen=15 %", "stack.anode.reference_oxygen=10 %"]
    said = {m.key for m in messages(solved("marram_sound", *sets))}
    assert "stack.secondary.reference_oxygen" in said and "stack.anode.reference_oxygen" not in said


def test_a_furnace_let_go_to_a_stack_is_a_caution_of_its_own() -> None:
    let_go = solved("marram_sound", "furnace_gas.to=stack")
    said = {m.key: m for m in messages(let_go)}
    assert said["emissions.so2_from.furnace"].level == "caution"
    assert "goes to a stack and not to an acid plant" in said["emissions.so2_from.furnace"].text
    assert said["emissions.stated.furnace.so2"].level == "caution"
    assert evaluate(let_go, "limit.emissions.so2_stack_limit.use")[0] > 100  # of all stacks, not of the first
