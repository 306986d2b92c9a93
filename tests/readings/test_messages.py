"""What is said about a result names the thing to look at."""

from __future__ import annotations

import dataclasses
from dataclasses import replace

import numpy as np
import pytest
from demos import demo, solved

from pyrobal.case.load import load_case
from pyrobal.errors import Reason
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.plant.feed import RevertSettings
from pyrobal.readings.message import Message
from pyrobal.readings.messages import messages

CASE = "cases/skerry_point.toml"


def said(results: Results, key: str) -> list[Message]:
    return [m for m in messages(results) if m.key == key]


def with_assay(**assay: float) -> Results:
    inputs = load_case(CASE).inputs
    first = replace(inputs.concentrate[0], assay={k: np.array([x]) for k, x in assay.items()})
    return solve(replace(inputs, concentrate=(first, *inputs.concentrate[1:])))


def test_copper_without_sulfur_is_named_with_the_sulfur_it_lacks() -> None:
    """28.1 % Cu as Cu2S takes 7.09 % S, 0.8 % Zn 0.39 % and 0.3 % Pb 0.05 %: by hand."""
    results = solve(load_case(CASE, ["concentrate.Fenholt.assay.S=0"]).inputs)
    text = said(results, "concentrate.Fenholt.assay")[0].text
    assert "28 % Cu" in text and "S is 7.5 % short" in text


@pytest.mark.parametrize(
    ("assay", "says"),
    [
        ({"Cu": 0.25, "Fe": 0.25, "S": 0.45}, "S is 3.7 % beyond what the metals bind"),
        ({"Cu": 0.281, "Fe": 0.40, "S": 0.25, "SiO2": 0.05}, "sum to 105.4 %, 5.4 % beyond"),
    ],
)
def test_an_impossible_assay_is_named(assay: dict[str, float], says: str) -> None:
    results = with_assay(**assay)
    assert results.reason[0] == Reason.ASSAY_IMPOSSIBLE
    (limit,) = said(results, "concentrate.Fenholt.assay")
    assert limit.level == "limit" and says in limit.text


def test_the_end_of_a_range_is_inside_it() -> None:
    at_end = solve(load_case(CASE, ["smelting.matte_grade=40 %"]).inputs)
    beyond = solve(load_case(CASE, ["smelting.matte_grade=39.9 %"]).inputs)
    assert [m.level for m in said(at_end, "smelting.matte_activities")] == ["note"]
    assert [m.level for m in said(beyond, "smelting.matte_activities")] == ["caution"]
    assert "for 40 to 78 % Cu" in said(at_end, "smelting.matte_activities")[0].text


def test_no_autogenous_enrichment_in_plain_words() -> None:
    cold = solve(load_case(CASE, ["smelting.heat_loss=45 MW"]).inputs)
    (note,) = said(cold, "smelting.heat.autogenous_enrichment")
    assert note.text.endswith("even at the oxygen purity, 95 vol%, heat is short")


@pytest.mark.parametrize(
    ("oxygen", "reason"),
    [("60 Nm3/t", Reason.OXYGEN_SHORT_OF_MATTE), ("320 Nm3/t", Reason.OXYGEN_BEYOND_MATTE)],
)
def test_oxygen_out_of_reach_speaks_of_oxygen(oxygen: str, reason: Reason) -> None:
    results = solve(load_case(CASE, [f"smelting.oxygen_per_tonne={oxygen}"]).inputs)
    assert results.reason[0] == reason
    (limit,) = said(results, "smelting")
    assert "oxygen" in limit.text and "matte_grade" not in limit.text


def test_the_factor_for_magnetite_is_called_one() -> None:
    (note,) = said(solve(load_case(CASE).inputs), "smelting.magnetite_over_equilibrium")
    assert "fitted to common practice" in note.text and "multiplied by 5.6" in note.text


def test_predicted_slag_stands_beside_common_practice() -> None:
    usual = said(solve(load_case(CASE, ["smelting.matte_grade=65 %"]).inputs), "smelting.slag.copper")
    assert [m.level for m in usual] == ["note"] and "within the 0.8 to 1.6 %" in usual[0].text
    poor = load_case(CASE, ["smelting.matte_grade=75 %", "smelting.magnetite_over_equilibrium=2"])
    (note,) = said(solve(poor.inputs), "smelting.slag.magnetite")
    assert "outside the 12 to 20 %" in note.text and "75 % matte" in note.text
    given = load_case(CASE, ["smelting.slag_copper=1.2 %", "smelting.slag_magnetite=9 %"])
    assert not [
        m for key in ("copper", "magnetite") for m in said(solve(given.inputs), f"smelting.slag.{key}")
    ]
    lean = load_case(CASE, ["smelting.matte_grade=52 %"])  # no band is known there
    assert not said(solve(lean.inputs), "smelting.slag.copper")


def test_a_dew_point_outside_its_correlations_names_place_values_and_range() -> None:
    results = solved("marram_sound")
    (caution,) = [m for m in messages(results) if m.key.endswith("dew_point_high")]
    assert results.gas_train is not None
    points = {name: p for name, p in results.gas_train.points.items() if p.dew_point.extrapolated[0]}
    name = caution.key.removeprefix("gas.").removesuffix(".dew_point_high")
    point = points[name]
    assert point.so3[0] == max(p.so3[0] for p in points.values())
    assert f"{point.so3[0]:.3g} Pa SO3 and {point.water[0] / 1000:.2g} kPa water" in caution.text
    assert "0.05 to 20 Pa and 2 to 30 kPa" in caution.text
    assert f"and of {len(points) - 1} others" in caution.text


def test_scrap_beyond_the_heat_of_the_copper_blow_names_the_enrichment_that_carries_it() -> None:
    inputs = demo("marram_sound").inputs
    scrap = RevertSettings(
        name="bundles",
        to="converting",
        rate=np.array([0.0, 0.8]),
        kind="copper_scrap",
        assay={"Cu": np.ones(1)},
    )
    results = solve(replace(inputs, revert=(*inputs.revert, scrap)))
    few, many = (
        [m for m in messages(results, i) if m.key == "converting.coolant_capacity.copper"] for i in (0, 1)
    )
    assert results.solved.all() and not few
    y = float(results.converting.copper_blow_enrichment[1])
    assert (
        many[0].level == "caution"
        and f"converting.copper_blow_enrichment = {100 * y:.1f} vol%" in many[0].text
    )
    carried = solve(results.inputs.replace("converting.copper_blow_enrichment", y))
    assert not [m for m in messages(carried, 1) if m.key == "converting.coolant_capacity.copper"]


def test_metal_in_the_slag_blow_is_told_where_it_belongs() -> None:
    assert 'stage = "copper_blow"' in Reason.BLOW_RUNS_BACKWARDS.text


def test_sulfur_beyond_is_what_covellite_and_pyrite_leave_by_hand() -> None:
    """25 % Cu as CuS binds 12.61 % S, 25 % Fe as FeS2 28.70 %: of 45 % S 3.7 % is left, as pyrite 3.2 % Fe."""
    (limit,) = said(with_assay(Cu=0.25, Fe=0.25, S=0.45), "concentrate.Fenholt.assay")
    assert "S is 3.7 % beyond" in limit.text and "Fe is 3.2 % short" in limit.text


def test_carbon_dioxide_that_nothing_binds_is_named_by_how_much() -> None:
    (limit,) = said(with_assay(Cu=0.34, S=0.17, SiO2=0.3, CO2=0.05), "concentrate.Fenholt.assay")
    assert limit.level == "limit" and "CO2 is 5 % beyond" in limit.text


def test_insol_taken_for_granted_and_a_loss_on_ignition_that_is_off_are_said() -> None:
    results = with_assay(Cu=0.281, Fe=0.276, S=0.319, insol=0.09, LOI=0.25)
    assert "80 % SiO2" in said(results, "concentrate.Fenholt.assay.insol")[0].text
    assert "imply 13.4 %" in said(results, "concentrate.Fenholt.assay.LOI")[0].text
    good = with_assay(Cu=0.281, Fe=0.276, S=0.319, insol=0.09, LOI=0.135)
    assert not said(good, "concentrate.Fenholt.assay.LOI")


def test_a_slag_without_silica_is_outside_the_closures_by_name() -> None:
    inputs = load_case(CASE).inputs
    lime_only = dataclasses.replace(
        inputs,
        flux={},
        concentrate=tuple(
            dataclasses.replace(c, assay={k: x for k, x in c.assay.items() if k != "SiO2"})
            for c in inputs.concentrate
        ),
    )
    results = solve(lime_only)
    assert results.solved.all()
    (caution,) = said(results, "smelting.slag.assay.SiO2")
    assert caution.level == "caution" and "nagamori" in caution.text and "no iron silicate" in caution.text
    assert not said(solve(inputs), "smelting.slag.assay.SiO2")
