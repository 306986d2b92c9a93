"""--set: laid over the file, checked like the file, and said to come from --set."""

from __future__ import annotations

import pytest

from pyrobal.case.load import load_case
from pyrobal.errors import CaseError

CASE = """
[[concentrate]]
name = "Fenholt"
rate = "55 t/h"
[concentrate.assay]
Cu = 28.1
Fe = 27.6
S = 31.9
SiO2 = 6.0
[[revert]]
name = "ladle skulls"
rate = "2 t/h"
[revert.assay]
Cu = 60
Fe = 14
S = 21
"""


def test_each_kind_of_value() -> None:
    case = load_case(
        CASE,
        [
            "concentrate.Fenholt.rate=60 t/h",
            "concentrate.Fenholt.assay.Cu=27",
            "concentrate.Fenholt.assay.Au=9 g/t",
            "revert.ladle skulls.rate = 3 t/h",
            "smelting.close_heat_with=nothing",
            'smelting.matte_grade="66 %"',
            "flux.silica.assay.SiO2=93",
            "smelting.fe_sio2=1.3",
            "title=Blend = trial",
        ],
    )
    inputs = case.inputs
    assert inputs.concentrate[0].rate == pytest.approx([60 / 3.6])
    assert inputs.concentrate[0].assay["Cu"] == pytest.approx([0.27])
    assert inputs.concentrate[0].assay["Au"] == pytest.approx([9e-6])
    assert inputs.revert[0].rate == pytest.approx([3 / 3.6])
    assert inputs.smelting.close_heat_with == "nothing"
    assert inputs.smelting.matte_grade == pytest.approx([0.66])
    assert inputs.flux["silica"].assay["SiO2"] == pytest.approx([0.93])
    assert inputs.smelting.fe_sio2 == pytest.approx([1.3])
    assert inputs.title == "Blend = trial"
    assert "smelting.matte_grade" in case.given
    assert case.text == CASE


def test_the_last_of_two_counts() -> None:
    case = load_case(CASE, ["smelting.matte_grade=60 %", "smelting.matte_grade=70 %"])
    assert case.inputs.smelting.matte_grade == pytest.approx([0.70])


@pytest.mark.parametrize(
    ("assignment", "key", "says"),
    [
        ("smelting.matte_grade", "", "is not KEY=VALUE"),
        ("=5", "", "is not KEY=VALUE"),
        ("smelting.matte_grade=", "smelting.matte_grade", "is empty"),
        ("smelting.matte_grade=64", "smelting.matte_grade", 'has no unit; write "64 wt%"'),
        ("smelting.matte_grade=64,5 %", "smelting.matte_grade", "decimal point"),
        ("smelting.matte_grade=nan", "smelting.matte_grade", "not a finite number"),
        ("smelting.matte_grade=1 %\nx = 2", "smelting.matte_grade", "unknown unit"),
        ("smelting.matte_grad=64 %", "smelting.matte_grad", 'did you mean "matte_grade"?'),
        ("concentrate.Fenhol.rate=5 t/h", "concentrate.Fenhol.rate", 'did you mean "Fenholt"?'),
        ("concentrate=5", "concentrate", "is a table"),
        ("concentrate.Fenholt=5", "concentrate.Fenholt", "whole table"),
        ("concentrate.Fenholt.rate.x=5", "concentrate.Fenholt.rate.x", "is a setting, not a table"),
        ("convertin.kind=batch", "convertin", 'did you mean "converting"?'),
        ("smelting.close_heat_with=[1]", "smelting.close_heat_with", "allowed: fuel"),
    ],
)
def test_wrong_ones_are_named(assignment: str, key: str, says: str) -> None:
    with pytest.raises(CaseError) as caught:
        load_case(CASE, [assignment])
    (fault,) = caught.value.faults
    assert (fault.file, fault.line, fault.key) == ("--set", None, key)
    assert says in fault.text


NEW = ["concentrate.Kelda.rate=8.5 t/h", "concentrate.Kelda.assay.Cu=33", "concentrate.Kelda.assay.Au=22 g/t"]


def test_what_is_given_all_it_needs_is_new() -> None:
    case = load_case(CASE, [*NEW, "limit.burners.reading=smelting.fuel_heat", "limit.burners.most=8 MW"])
    assert [c.name for c in case.inputs.concentrate] == ["Fenholt", "Kelda"]
    assert case.inputs.concentrate[1].rate == pytest.approx([8.5 / 3.6])
    assert case.inputs.concentrate[1].assay["Au"] == pytest.approx([22e-6])
    assert case.inputs.limit[0].bound == pytest.approx([8e6])
    assert "concentrate.Kelda.rate" in case.given
    mineral = load_case(CASE, [NEW[0], "concentrate.Kelda.minerals.chalcopyrite=90"])
    assert mineral.inputs.concentrate[1].minerals["chalcopyrite"] == pytest.approx([0.9])


@pytest.mark.parametrize("part", [NEW[:1], NEW[1:], ["limit.burners.most=8 MW"]])
def test_a_name_that_is_only_in_part_new_is_a_wrong_one(part: list[str]) -> None:
    with pytest.raises(CaseError) as caught:
        load_case(CASE, part)
    assert {f.key for f in caught.value.faults} == {one.partition("=")[0] for one in part}
    assert "to add one, set its" in caught.value.faults[0].text


def test_what_is_wrong_with_a_new_one_stands_under_its_key() -> None:
    with pytest.raises(CaseError) as caught:
        load_case(CASE, [*NEW, "concentrate.Kelda.assay.Znn=1", "concentrate.Kelda.moisture=9 t"])
    assert {f.key: f.file for f in caught.value.faults} == {
        "concentrate.Kelda.assay.Znn": "--set", "concentrate.Kelda.moisture": "--set",
    }  # fmt: skip


def test_faults_of_the_file_and_of_set_come_together() -> None:
    with pytest.raises(CaseError) as caught:
        load_case(CASE.replace("55 t/h", "55 kg"), ["nowhere.at.all=1", "concentrate.Other.rate=1 t/h"])
    assert [(f.file, f.line) for f in caught.value.faults] == [("text", 4), ("--set", None), ("--set", None)]


def test_grade_and_oxygen_give_way_to_each_other() -> None:
    by_grade = CASE + '[smelting]\nmatte_grade = "64 %"\n'
    case = load_case(by_grade, ["smelting.oxygen_per_tonne=185 Nm3/t"])
    assert case.inputs.smelting.oxygen_per_tonne is not None
    assert "smelting.matte_grade" not in case.given
    by_oxygen = CASE + '[smelting]\noxygen_per_tonne = "185 Nm3/t"\n'
    case = load_case(by_oxygen, ["smelting.matte_grade=66 %"])
    assert case.inputs.smelting.oxygen_per_tonne is None
    assert case.inputs.smelting.matte_grade == pytest.approx([0.66])


def test_both_assigned_is_still_a_fault() -> None:
    with pytest.raises(CaseError) as caught:
        load_case(CASE, ["smelting.matte_grade=66 %", "smelting.oxygen_per_tonne=185 Nm3/t"])
    assert [f.key for f in caught.value.faults] == ["smelting.oxygen_per_tonne"]


CONTINUOUS = (
    CASE
    + """
[converting]
kind = "continuous"
matte_state = "solid"
close_heat_with = "enrichment"
"""
)


def test_another_kind_of_converter_drops_what_it_cannot_be_and_says_so() -> None:
    case = load_case(CONTINUOUS, ["converting.kind=batch"])
    assert case.inputs.converting is not None
    assert case.inputs.converting.matte_state == "liquid"
    assert [(f.file, f.key) for f in case.cautions if "dropped" in f.text] == [
        ("--set", "converting.close_heat_with"),
        ("--set", "converting.matte_state"),
    ]
    assert not [f for f in load_case(CONTINUOUS).cautions if "dropped" in f.text]


def test_a_batch_converter_in_the_file_names_the_line_to_remove() -> None:
    with pytest.raises(CaseError) as caught:
        load_case(CONTINUOUS.replace('"continuous"', '"batch"'))
    assert [(f.line, f.key) for f in caught.value.faults] == [
        (20, "converting.matte_state"),
        (21, "converting.close_heat_with"),
    ]
