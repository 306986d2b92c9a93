"""A failed step leaves standing what does not live on it, and its scenario leaves its neighbours alone."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from pyrobal.case.load import load_case
from pyrobal.errors import Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.flowsheet.unsolved import RECYCLE, Unsolved
from pyrobal.readings.messages import messages
from pyrobal.readings.registry import evaluate, evaluate_all

MARRAM = Path(__file__).parents[2] / "cases" / "marram_sound.toml"


def marram(*sets: str) -> Inputs:
    return load_case(MARRAM, list(sets)).inputs


def own(**codes: Reason) -> dict[str, np.ndarray]:
    steps = ("feed", "smelting", "slag_cleaning", "converting", "anode_furnace", RECYCLE, "gas_train", "load")
    return {step: np.array([codes.get(step, Reason.SOLVED)]) for step in steps}


def without(unsolved: Unsolved) -> set[str]:
    """Steps of one scenario that have no answer."""
    return {step for step in unsolved.own if step != RECYCLE and unsolved.reasons[step][0] != Reason.SOLVED}


def test_a_failure_goes_down_the_plant() -> None:
    failed = Unsolved(own(converting=Reason.NO_IRON_FOR_SLAG_BLOW), ())
    assert without(failed) == {"converting", "anode_furnace", "gas_train", "load"}
    assert failed.reasons["ledger"][0] == failed.reason[0] == Reason.NO_IRON_FOR_SLAG_BLOW
    assert failed.failed(0) == "converting"


def test_a_failure_goes_up_with_what_is_put_back() -> None:
    back = (("converting", "slag_cleaning"), ("anode_furnace", "converting"))
    failed = Unsolved(own(anode_furnace=Reason.BURNER_CANNOT_HEAT), back)
    assert without(failed) == {"slag_cleaning", "converting", "anode_furnace", "gas_train", "load"}


def test_a_limit_of_temperature_does_not_go_up_where_the_recycles_settled() -> None:
    back = (("converting", "smelting"),)
    cold = Unsolved(own(converting=Reason.BATH_FREEZES), back)
    assert "smelting" not in without(cold)
    assert "gas_train" in without(cold)
    unsettled = own(converting=Reason.BATH_FREEZES, recycle=Reason.RECYCLE_NOT_CLOSED)
    assert Unsolved(unsettled, back).reasons["smelting"][0] == Reason.BATH_FREEZES


def test_the_cause_is_named_and_not_its_echo_round_the_loop() -> None:
    codes = own(
        smelting=Reason.NOT_CONVERGED,
        converting=Reason.NO_IRON_FOR_SLAG_BLOW,
        recycle=Reason.RECYCLE_NOT_CLOSED,
    )
    loop = Unsolved(codes, (("converting", "smelting"),))
    assert loop.reasons["smelting"][0] == Reason.NO_IRON_FOR_SLAG_BLOW
    assert loop.failed(0) == "converting"
    alone = Unsolved(own(recycle=Reason.RECYCLE_NOT_CLOSED), (("converting", "smelting"),))
    assert alone.reasons["smelting"][0] == Reason.RECYCLE_NOT_CLOSED
    assert alone.reasons["feed"][0] == Reason.SOLVED


def test_a_load_that_no_schedule_keeps_leaves_no_figure() -> None:
    """Not one for full load, and no caution beside the reason."""
    results = solve(marram("acid_plant.so2_limit=2 t/h", "load.schedule=limited"))
    assert results.reason[0] == Reason.BASE_LOAD_ABOVE_LIMIT and results.unsolved.failed(0) == "load"
    for _, key, value in evaluate_all(results):
        assert np.isnan(value).all(), key
    assert {m.level for m in messages(results)} == {"limit", "safety"}
    said = [m for m in messages(results) if m.level == "limit"]
    assert said[0].key == "acid_plant.so2_limit"
    comes, over = map(float, re.findall(r"to ([\d.]+) t/h of SO2: above it by ([\d.]+) t/h", said[0].text)[0])
    assert comes - over == pytest.approx(2.0, abs=0.02)


@pytest.mark.parametrize("grade", [0.765, 0.775])
def test_one_bad_scenario_leaves_the_others_alone(grade: float) -> None:
    """To round-off: how many rows are still iterated decides the order in which a product of matrices adds."""
    with_bad = solve(marram().replace("smelting.matte_grade", np.array([0.64, grade, 0.62])))
    without = solve(marram().replace("smelting.matte_grade", np.array([0.64, 0.66, 0.62])))
    assert (with_bad.solved == [True, False, True]).all()
    beside_bad = {key: value for _, key, value in evaluate_all(with_bad)}
    for _, key, value in evaluate_all(without):
        round_off = 1e-3 if ".heat." in key else 1e-12  # W: what is left of formation heats of some 1e8 W
        np.testing.assert_allclose(
            beside_bad[key][[0, 2]], value[[0, 2]], rtol=1e-9, atol=round_off, err_msg=key
        )


def test_a_grade_without_iron_sulfide_is_named_in_the_whole_plant() -> None:
    """At 79.7 % Cu the equations have no root; that it is the grade is what a person must be told."""
    results = solve(marram("smelting.matte_grade=79.7 %"))
    assert results.unsolved.failed(0) == "smelting"
    assert results.reason[0] == Reason.GRADE_LEAVES_NO_IRON_SULFIDE


def test_a_plant_that_breaks_on_its_first_pass_says_where() -> None:
    results = solve(marram("converting.slag_magnetite=60 %", "converting.slag_copper=38 %"))
    assert results.unsolved.failed(0) == "converting"
    assert not np.isnan(evaluate(results, "feed.dry_rate")).any()
