"""Copper with a schedule: all of the blister where nothing is lost, less where a limit binds."""

from __future__ import annotations

import pytest

from pyrobal.case.load import load_case
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
    assert evaluate(bound, "deportment.Cu.matte_aside")[0] > 0.1
    assert evaluate(bound, "emissions.so2_from.bypass")[0] == 0.0


def test_the_message_names_the_limit() -> None:
    said = {m.key: m.text for m in messages(solve(load_case("cases/marram_sound.toml", LIMITED).inputs))}
    assert "is put aside" in said["acid_plant.flow_limit"]
    assert "load.vessels" not in said and "acid_plant.so2_limit" not in said


def test_secondary_hoods_without_their_air_are_told() -> None:
    plain = solve(load_case("cases/marram_sound.toml").inputs)
    assert [m.level for m in messages(plain) if m.key == "emissions.secondary_flow"] == ["note"]
    drawn = solve(load_case("cases/marram_sound.toml", ["emissions.secondary_flow=250000 Nm3/h"]).inputs)
    assert not [m for m in messages(drawn) if m.key == "emissions.secondary_flow"]
