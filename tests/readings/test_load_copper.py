"""Copper with a schedule: all of the blister where nothing is lost, less where a limit cuts the blowing."""

from __future__ import annotations

import pytest

from pyrobal.case.load import load_case
from pyrobal.flowsheet.solve import solve
from pyrobal.readings.messages import messages
from pyrobal.readings.registry import evaluate


def test_copper_is_the_blister_less_what_the_limit_costs() -> None:
    free = solve(load_case("cases/marram_sound.toml").inputs)
    assert evaluate(free, "load.copper")[0] == pytest.approx(
        evaluate(free, "converting.blister.rate")[0], rel=1e-6
    )
    bound = solve(load_case("cases/marram_sound.toml", ["acid_plant.so2_limit=60 t/h"]).inputs)
    kept = 1.0 - evaluate(bound, "load.lost")[0]
    assert 0 < kept < 1
    expected = kept * evaluate(bound, "converting.blister.rate")[0]
    assert evaluate(bound, "load.copper")[0] == pytest.approx(expected, rel=1e-6)
    for held, full in (("load.matte", "converting.matte"), ("load.concentrate", "feed.dry_rate")):
        whole = bound.converting.matte.mass() if full == "converting.matte" else evaluate(bound, full)
        assert evaluate(bound, held)[0] == pytest.approx(kept * whole[0], rel=1e-9)


def test_the_message_names_the_limit_and_the_full_rates() -> None:
    bound = solve(load_case("cases/marram_sound.toml", ["acid_plant.so2_limit=60 t/h"]).inputs)
    said = {m.key: m.text for m in messages(bound)}
    assert "all rates of this result are for the full matte" in said["acid_plant.so2_limit"]
    assert "load.vessels" not in said and "acid_plant.flow_limit" not in said


def test_secondary_hoods_without_their_air_are_told() -> None:
    plain = solve(load_case("cases/marram_sound.toml").inputs)
    assert [m.level for m in messages(plain) if m.key == "emissions.secondary_flow"] == ["note"]
    drawn = solve(load_case("cases/marram_sound.toml", ["emissions.secondary_flow=250000 Nm3/h"]).inputs)
    assert not [m for m in messages(drawn) if m.key == "emissions.secondary_flow"]
