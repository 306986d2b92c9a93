"""Copper with a schedule: all of the blister where nothing is lost, less where a limit cuts the blowing."""

from __future__ import annotations

import pytest

from pyrobal.case.load import load_case
from pyrobal.flowsheet.solve import solve
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
