"""Aim: what is found meets the aim, and what cannot be met is said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import pyrobal
from pyrobal.case.load import Case, load_case
from pyrobal.cli import main
from pyrobal.errors import CaseError, NotSolved, Reason
from pyrobal.studies.aim import aimed, aiming

SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(SKERRY)


@pytest.mark.parametrize(
    ("aim", "by"),
    [
        ("smelting.fuel_heat=2 MW", "smelting.enrichment"),
        ("smelting.heat.surplus=1.5 MW", "smelting.enrichment=50 %:94 %"),
        ("smelting.gas.so2=30 %", "smelting.air_in_leakage"),
        ("smelting.slag.magnetite=9", "smelting.magnetite_over_equilibrium"),
        ("smelting.oxygen.per_tonne=190 Nm3/t", "smelting.matte_grade"),
        ("smelting.matte.rate=40 t/h", "concentrate.Fenholt.rate=20 t/h:90 t/h"),
    ],
)
def test_the_setting_found_meets_the_aim(case: Case, aim: str, by: str) -> None:
    meant = aiming(case, aim, by)
    result = pyrobal.balance(aimed(case, meant))
    key, _, text = aim.partition("=")
    assert result[key].magnitude == pytest.approx(float(text.split()[0]), rel=1e-9)


def test_every_scenario_has_its_own(case: Case) -> None:
    aim = aiming(case, "smelting.fuel_heat=1 MW", "smelting.enrichment")
    table = pyrobal.sweep(case, {"smelting.heat_loss": "10:18 MW:9"}, read=["smelting.fuel_heat"], aim=aim)
    np.testing.assert_allclose(table["smelting.fuel_heat"], 1.0, rtol=1e-9)
    assert (np.diff(table["smelting.enrichment"]) > 0).all()  # more loss wants more oxygen


def test_a_root_just_inside_the_edge_of_what_can_be_solved_is_found(case: Case) -> None:
    for wanted in ("21.2", "94.7"):  # probes lie at 20.3, 25.6, ..., 94.7, 100 %; the purity is 95 %
        aim = aiming(case, f"smelting.enrichment={wanted}", "smelting.enrichment")
        x, found = aim.solved(case.inputs)
        assert found.all()
        assert x[0] == pytest.approx(float(wanted) / 100, rel=1e-9)


def test_of_several_answers_the_one_nearest_the_case_is_taken(case: Case) -> None:
    aim = aiming(case, "smelting.fuel_heat=0", "smelting.enrichment=70 %:90 %")  # all of them
    x, found = aim.solved(case.inputs.replace("smelting.enrichment", np.array([0.72, 0.88])))
    assert found.all()
    assert x[0] < 0.75 < 0.85 < x[1]


def test_out_of_reach_is_a_reason_in_a_batch_and_a_fault_of_a_single_case(case: Case) -> None:
    aim = aiming(case, "smelting.fuel_heat=10 MW", "smelting.enrichment=40 %:90 %")
    table = pyrobal.sweep(
        case, {"smelting.heat_loss": "1 MW,14 MW,24 MW"}, read=["smelting.fuel_heat"], aim=aim
    )
    assert table.reason.tolist() == [Reason.AIM_OUT_OF_REACH, Reason.SOLVED, Reason.SOLVED]
    assert np.isnan(table["smelting.fuel_heat"]).tolist() == [True, False, False]
    far = aiming(case, "smelting.fuel_heat=2000 MW", "smelting.enrichment=40 %:90 %")
    with pytest.raises(
        NotSolved, match=r"smelting.fuel_heat is between 0 MW and .* MW with .* from 40 vol% to 90 vol%"
    ):
        aimed(case, far)
    low, high = far.reach(case.inputs) or (np.nan, np.nan)
    ends = pyrobal.sweep(case, {"smelting.enrichment": "40 %,90 %"}, read=["smelting.fuel_heat"])
    assert (low, high) == pytest.approx((0.0, 1e6 * ends["smelting.fuel_heat"].max()))


def test_a_single_aim_out_of_reach_ends_with_one(capsys: pytest.CaptureFixture[str]) -> None:
    line = ["--aim", "smelting.fuel_heat=2 MW", "--by", "smelting.matte_grade=85 %:95 %"]
    assert main(["balance", str(SKERRY), *line]) == 1
    assert "nothing is solved with smelting.matte_grade from 85 wt% to 95 wt%" in capsys.readouterr().err


def test_nowhere_an_answer(case: Case) -> None:
    aim = aiming(case, "smelting.fuel_heat=2 MW", "smelting.matte_grade=85 %:95 %")
    x, found = aim.solved(case.inputs)
    assert not found.any()
    assert np.isnan(x).all()


@pytest.mark.parametrize(
    ("aim", "by", "says"),
    [
        ("smelting.fuel_het=2 MW", "smelting.enrichment", 'did you mean "smelting.fuel_heat"'),
        ("smelting.fuel_heat", "smelting.enrichment", "is not READING=VALUE"),
        ("smelting.fuel_heat=2 t/h", "smelting.enrichment", "a power is needed"),
        ("smelting.fuel_heat=2 MW", "smelting.enrichmnt", "did you mean"),
        ("smelting.fuel_heat=2 MW", "smelting.enrichment=50 %", "is not LOW:HIGH"),
        ("smelting.fuel_heat=2 MW", "smelting.enrichment=50 %:50 %", "empty range"),
        ("smelting.fuel_heat=2 MW", "concentrate.Fenholt.rate", "LOW:HIGH"),
    ],
)
def test_what_is_wrong_is_said(case: Case, aim: str, by: str, says: str) -> None:
    with pytest.raises(CaseError, match=says):
        aiming(case, aim, by)


def test_a_setting_is_not_both_varied_and_solved_for(case: Case) -> None:
    aim = aiming(case, "smelting.fuel_heat=2 MW", "smelting.enrichment")
    with pytest.raises(CaseError, match="varied already"):
        pyrobal.sweep(case, {"smelting.enrichment": "50 %,60 %"}, read=["smelting.fuel_heat"], aim=aim)
