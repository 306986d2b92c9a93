"""The Python face of a solved case."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest

import pyrobal
from pyrobal.report.result import Result, balance

CASES = Path(__file__).parents[2] / "cases"


def test_a_reading_is_a_quantity_in_its_plant_unit(skerry: Result) -> None:
    rate = skerry["smelting.matte.rate"]
    assert rate.magnitude == pytest.approx(skerry.results.smelting.matte.mass()[0] * 3.6, rel=1e-12)
    assert rate.to("kg/s").magnitude == pytest.approx(skerry.results.smelting.matte.mass()[0], rel=1e-12)
    assert isinstance(rate.magnitude, float)
    assert skerry["smelting.slag.temperature"].magnitude == pytest.approx(
        skerry.results.smelting.slag.T[0] - 273.15, rel=1e-12
    )


def test_it_is_a_mapping_of_every_reading(skerry: Result) -> None:
    assert len(skerry) == len(list(skerry)) == len(skerry.lines)
    assert "smelting.matte.grade" in skerry
    assert "smelting.matte.grad" not in skerry
    with pytest.raises(KeyError, match=r"smelting\.matte\.grade"):
        skerry["smelting.matte.grad"]


def test_frame_has_a_row_for_each_reading(skerry: Result) -> None:
    frame = skerry.frame()
    assert list(frame.columns) == ["key", "value", "unit", "meaning"]
    assert list(frame.key) == list(skerry)
    row = frame[frame.key == "smelting.gas.so2"].iloc[0]
    assert row.unit == "vol%"
    assert row.value == pytest.approx(skerry["smelting.gas.so2"].magnitude, rel=1e-12)


def test_status_follows_reason_and_messages(skerry: Result, infeasible: Result) -> None:
    cautions = [m for m in skerry.messages if m.level == "caution"]
    assert skerry.status == ("caution" if cautions else "ok")
    assert infeasible.status == "infeasible"
    assert infeasible.messages[0].level == "limit"


def test_a_caution_of_the_case_makes_the_status_a_caution() -> None:
    text = """
title = "one concentrate"
[[concentrate]]
name = "A"
rate = "50 t/h"
[concentrate.assay]
Cu = 28
Fe = 28
S = 32
SiO2 = 8
[flux.silica.assay]
SiO2 = 95
[charge]
moisture_after_drying = "0.2 %"
"""
    result = balance(pyrobal.load_case(text))
    assert result.status == "caution"
    assert ("charge.moisture_after_drying", "has no effect: there is no [dryer]") in [
        (m.key, m.text) for m in result.messages
    ]
    without = balance(pyrobal.load_case(text.replace('[charge]\nmoisture_after_drying = "0.2 %"', "")))
    assert all(m.key != "charge.moisture_after_drying" for m in without.messages)


def test_without_an_answer_every_reading_says_why(infeasible: Result) -> None:
    assert infeasible.lines
    for line in infeasible.lines:
        if not line.key.startswith(("feed.", "dryer.")):  # what goes in is known all the same
            assert math.isnan(line.value)
            assert "matte grade too high" in line.reason


def test_a_reading_without_value_in_a_solved_case_gives_its_own_reason() -> None:
    cold = ["smelting.heat_loss=60 MW", "smelting.oxygen_purity=62 %", "smelting.enrichment=60 %"]
    case = pyrobal.load_case(CASES / "brae_fell.toml", cold)
    lines = {line.key: line for line in balance(case).lines}
    autogenous = lines["smelting.heat.autogenous_enrichment"]
    assert math.isnan(autogenous.value)
    assert "there is no autogenous enrichment" in autogenous.reason
    assert math.isfinite(lines["smelting.matte.rate"].value)
    assert lines["smelting.matte.rate"].reason == ""


def test_scenarios_share_one_result(skerry: Result) -> None:
    grades = np.array([0.60, 0.798, 0.68])
    case = dataclasses.replace(skerry.case, inputs=skerry.case.inputs.replace("smelting.matte_grade", grades))
    result = balance(case)
    assert result["smelting.matte.grade"].magnitude == pytest.approx([60, math.nan, 68], nan_ok=True)
    assert result.status == "infeasible"
    assert list(result.frame().columns) == ["key", "value.0", "value.1", "value.2", "unit", "meaning"]
    with pytest.raises(ValueError, match="one scenario"):
        _ = result.lines
    last = result.scenario(-1)
    assert last["smelting.matte.grade"].magnitude == pytest.approx(68)
    assert last.status != "infeasible"
    with pytest.raises(IndexError):
        result.scenario(3)


def test_the_public_door_leads_here() -> None:
    assert pyrobal.Result is Result


def test_what_is_nothing_but_round_off_is_zero_for_people_and_kept_for_programs(whole_plant: Result) -> None:
    noisy = [line for line in whole_plant.lines if line.value and not line.shown]
    assert "smelting.heat.in.blast" in [line.key for line in noisy]  # it is blown at 25 degC
    largest = {
        u: max(abs(x.value) for x in whole_plant.lines if x.unit == u) for u in {x.unit for x in noisy}
    }
    assert all(abs(line.value) < 1e-9 * largest[line.unit] for line in noisy)
    told = {line.key: line for line in whole_plant.lines}
    for key in ("smelting.slag.assay.Au", "electrorefining.cathode.assay.Au"):  # grams a tonne are no noise
        assert told[key].shown == told[key].value > 0
    closures = [line for line in whole_plant.lines if line.key.endswith(".closure")]
    assert closures
    assert all(line.shown == line.value for line in closures)


def test_a_key_is_in_the_result_where_the_case_has_the_step(skerry: Result, whole_plant: Result) -> None:
    assert "converting.air" in whole_plant
    assert "converting.air" not in skerry
    assert all(key in skerry for key in skerry)


def test_gold_and_silver_of_an_assay_are_told_in_grams_per_tonne(skerry: Result) -> None:
    """The reading itself keeps the unit of its assay."""
    told = {line.key: line for line in skerry.told}
    for key in ("feed.assay.Au", "smelting.matte.assay.Ag"):
        assert told[key].unit == "g/t"
        assert told[key].shown == pytest.approx(1e4 * skerry[key].magnitude)
        assert skerry.unit(key) == "wt%"
    assert told["feed.assay.Cu"].unit == "wt%"
