"""Aim: what is found meets the aim, and what cannot be met is said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from demos import demo

import pyrobal
from pyrobal.case.load import Case, load_case
from pyrobal.cli import main
from pyrobal.errors import CaseError, NotSolved, Reason
from pyrobal.studies.aim import aimed, aiming
from pyrobal.studies.sweep import sweep
from pyrobal.studies.tangent import tangent
from pyrobal.studies.variable import find

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
        ("smelting.matte.rate=41 t/h", "concentrate.Fenholt.rate"),  # within what a rate may be at all
    ],
)
def test_the_setting_found_meets_the_aim(case: Case, aim: str, by: str) -> None:
    meant = aiming(case, aim, by)
    result = pyrobal.balance(aimed(case, meant))
    key, _, text = aim.partition("=")
    assert result[key].magnitude == pytest.approx(float(text.split()[0]), rel=1e-9)


def test_every_scenario_has_its_own(case: Case) -> None:
    aim = aiming(case, "smelting.fuel_heat=1 MW", "smelting.enrichment")
    table = sweep(case, {"smelting.heat_loss": "10:18 MW:9"}, read=["smelting.fuel_heat"], aim=aim)
    np.testing.assert_allclose(table["smelting.fuel_heat"], 1.0, rtol=1e-9)
    assert (np.diff(table["smelting.enrichment"]) > 0).all()  # more loss wants more oxygen


def test_a_root_just_inside_the_edge_of_what_can_be_solved_is_found(case: Case) -> None:
    for wanted in ("21.2", "94.7"):  # probes lie at 20.3, 25.6, ..., 94.7, 100 %; the purity is 95 %
        aim = aiming(case, f"smelting.enrichment={wanted}", "smelting.enrichment")
        x, found = aim.solved(case.inputs)
        assert found.all()
        assert x[0, 0] == pytest.approx(float(wanted) / 100, rel=1e-9)


def test_of_several_answers_the_one_nearest_the_case_is_taken(case: Case) -> None:
    aim = aiming(case, "smelting.fuel_heat=0", "smelting.enrichment=70 %:90 %")  # all of them
    x, found = aim.solved(case.inputs.replace("smelting.enrichment", np.array([0.72, 0.88])))
    assert found.all()
    assert x[:, 0] == pytest.approx([0.72, 0.88])


def test_out_of_reach_is_a_reason_in_a_batch_and_a_fault_of_a_single_case(case: Case) -> None:
    aim = aiming(case, "smelting.fuel_heat=10 MW", "smelting.enrichment=40 %:90 %")
    table = sweep(case, {"smelting.heat_loss": "1 MW,14 MW,24 MW"}, read=["smelting.fuel_heat"], aim=aim)
    assert table.reason.tolist() == [Reason.AIM_OUT_OF_REACH, Reason.SOLVED, Reason.SOLVED]
    assert np.isnan(table["smelting.fuel_heat"]).tolist() == [True, False, False]
    far = aiming(case, "smelting.fuel_heat=2000 MW", "smelting.enrichment=40 %:90 %")
    with pytest.raises(
        NotSolved, match=r"smelting.fuel_heat is between 0 MW and .* MW with .* from 40 vol% to 90 vol%"
    ):
        aimed(case, far)
    low, high = far.targets[0].reach(case.inputs) or (np.nan, np.nan)
    ends = sweep(case, {"smelting.enrichment": "40 %,90 %"}, read=["smelting.fuel_heat"])
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
    ],
)
def test_what_is_wrong_is_said(case: Case, aim: str, by: str, says: str) -> None:
    with pytest.raises(CaseError, match=says):
        aiming(case, aim, by)


def test_a_setting_is_not_both_varied_and_solved_for(case: Case) -> None:
    aim = aiming(case, "smelting.fuel_heat=2 MW", "smelting.enrichment")
    with pytest.raises(CaseError, match="varied already"):
        sweep(case, {"smelting.enrichment": "50 %,60 %"}, read=["smelting.fuel_heat"], aim=aim)


SPANS = ("", "=45 %:80 %", "=50 %:75 %", "=30 %:90 %", "=50 %:71 %")


@pytest.mark.parametrize("span", SPANS)
def test_where_a_target_holds_over_a_stretch_the_answer_is_where_the_reading_begins_to_change(
    case: Case, span: str
) -> None:
    """Heat is closed by fuel up to the autogenous point, which the furnace finds by itself."""
    autogenous = float(pyrobal.balance(case)["smelting.heat.autogenous_enrichment"].magnitude) / 100
    for wanted in ("smelting.heat.surplus=0 MW", "smelting.fuel=0 Nm3/h"):
        (target,) = aiming(case, wanted, f"smelting.enrichment{span}").targets
        met = target.solved(case.inputs)
        assert met.x[0] == pytest.approx(autogenous, rel=1e-6)
        assert met.high[0] - met.low[0] > 0.01
        ends = (met.low[0], met.high[0])
        assert min(abs(end - autogenous) for end in ends) < 1e-6


def test_a_stretch_that_fills_part_of_a_short_range_is_told_to_its_end(case: Case) -> None:
    autogenous = float(pyrobal.balance(case)["smelting.heat.autogenous_enrichment"].magnitude)
    span = f"{autogenous - 0.2} %:{autogenous + 0.1} %"
    (target,) = aiming(case, "smelting.fuel_heat=0 MW", f"smelting.enrichment={span}").targets
    met = target.solved(case.inputs)
    assert 100 * met.x[0] == pytest.approx(autogenous, rel=1e-6)
    assert 100 * met.high[0] == pytest.approx(autogenous + 0.1)


def test_the_stretch_is_told(case: Case, capsys: pytest.CaptureFixture[str]) -> None:
    line = ["--aim", "smelting.heat.surplus=0 MW", "--by", "smelting.enrichment=50 %:75 %"]
    at = float(pyrobal.balance(case)["smelting.heat.autogenous_enrichment"].magnitude)
    assert main(["balance", str(SKERRY), *line]) == 0
    said = " ".join(capsys.readouterr().err.split())
    assert f"by smelting.enrichment = {at:.7g} vol%" in said
    assert f"smelting.heat.surplus is the same from smelting.enrichment = 50 vol% to {at:.4g} vol%" in said


AIMS = ["smelting.fuel=100 Nm3/h", "smelting.slag.rate=62 t/h", "smelting.matte.rate=46 t/h"]
BYS = ["smelting.enrichment=45 %:80 %", "smelting.fe_sio2=0.9:1.8", "smelting.matte_grade=58 %:70 %"]


def test_several_targets_are_met_together_in_every_scenario(case: Case) -> None:
    aim = aiming(case, AIMS, BYS)
    read = ["smelting.fuel", "smelting.slag.rate", "smelting.matte.rate"]
    table = sweep(case, {"smelting.heat_loss": "13:15 MW:3"}, read=read, aim=aim)
    for key, value in zip(read, (100.0, 62.0, 46.0), strict=True):
        np.testing.assert_allclose(table[key], value, rtol=1e-9)
    assert (np.diff(table["smelting.enrichment"]) > 0).all()  # more loss wants more oxygen
    same = pyrobal.balance(aimed(case, aim))
    assert same["smelting.slag.rate"].magnitude == pytest.approx(62.0, rel=1e-9)


def test_several_targets_by_a_general_solver(case: Case) -> None:
    """The same from MINPACK's hybrd, by differences, as scipy carries it."""
    from scipy.optimize import root

    aim = aiming(case, AIMS, BYS)
    scale = np.array([t.value for t in aim.targets])

    def misses(x: np.ndarray) -> np.ndarray:
        return aim.together._misses(case.inputs, x[None, :])[0] / scale

    start = np.array([0.6, 1.2, 0.64])
    found = root(misses, start, method="hybr", options={"eps": 1e-8})
    assert found.success
    x, met = aim.solved(case.inputs)
    assert met.all()
    np.testing.assert_allclose(x[0], found.x, rtol=1e-6)


def test_slopes_along_several_targets_are_those_of_the_aim_found_anew(case: Case) -> None:
    aim = aiming(case, AIMS, BYS)
    loss = find(case.inputs, "smelting.heat_loss")
    exact = tangent(case.inputs, [loss], ["smelting.enrichment", "smelting.matte.grade"], aim)
    x = [
        aim.solved(case.inputs.replace("smelting.heat_loss", np.array([14e6 + d])))[0][0] for d in (-1e4, 1e4)
    ]
    np.testing.assert_allclose(exact.slopes[0, 0], ((x[1] - x[0]) / 2e4)[[0, 2]], rtol=1e-5)


def test_targets_that_cannot_be_met_together_are_named(case: Case) -> None:
    aims = ["smelting.fuel=100 Nm3/h", "smelting.fuel_heat=3 MW", "smelting.matte.grade=65 %"]
    with pytest.raises(NotSolved) as caught:
        aimed(case, aiming(case, aims, BYS))
    said = str(caught.value)
    assert "these stand against each other: smelting.fuel = 100 Nm3/h; smelting.fuel_heat = 3 MW;" in said
    one = [AIMS[0], "smelting.slag.rate=500 t/h"]
    with pytest.raises(NotSolved, match=r"smelting\.slag\.rate = 500 t/h cannot be met with these settings"):
        aimed(case, aiming(case, one, BYS[:2]))


@pytest.mark.parametrize(
    ("aims", "bys", "says"),
    [
        (AIMS[:2], BYS[:1], "2 of --aim and 1 of --by"),
        (AIMS[:1], BYS[:2], "1 of --aim and 2 of --by"),
        ([AIMS[0], "smelting.fuel=200 Nm3/h"], BYS[:2], "smelting.fuel: is given twice"),
        (AIMS[:2], [BYS[0], "smelting.enrichment"], "smelting.enrichment: is given twice"),
    ],
)
def test_pairs_that_do_not_fit_are_refused(case: Case, aims: list[str], bys: list[str], says: str) -> None:
    with pytest.raises(CaseError, match=says):
        aiming(case, aims, bys)


def test_pairs_on_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    line = [
        text for pair in zip(AIMS[:2], BYS[:2], strict=True) for text in ("--aim", pair[0], "--by", pair[1])
    ]
    assert main(["balance", str(SKERRY), *line]) == 0
    said = capsys.readouterr().err
    assert "smelting.fuel=100 Nm3/h by smelting.enrichment = " in said
    assert "smelting.slag.rate=62 t/h by smelting.fe_sio2 = " in said
    assert main(["balance", str(SKERRY), *line[:6]]) == 2
    assert "2 of --aim and 1 of --by" in capsys.readouterr().err


def test_settings_that_nearly_meet_their_targets_end_where_the_search_does() -> None:
    """And nothing is said where that leads out of the range, or where the reading does not answer."""
    case = demo("skerry_point")
    aim = aiming(case, ["smelting.fuel_heat=4 MW", "smelting.slag.copper=1.2 %"],
                 ["smelting.enrichment", "smelting.matte_grade"])  # fmt: skip
    far = aim.solved(case.inputs)[0][0]
    near = aim.together.near(aim.put(case.inputs, (far * 1.02)[None, :]))
    assert near == pytest.approx(far, rel=1e-9)
    flat = aiming(case, "smelting.fuel_heat=0 MW", "smelting.enrichment")
    assert flat.together.near(case.inputs.replace("smelting.enrichment", 0.75)) is None
    beyond = aiming(case, "smelting.slag.copper=9 %", "smelting.enrichment")
    assert beyond.together.near(case.inputs) is None
