"""Sensitivity: ranked, in plant units, and honest at a kink."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from demos import demo

import pyrobal
from pyrobal import units
from pyrobal.case.load import Case, load_case
from pyrobal.cli import main
from pyrobal.errors import CaseError, NotSolved
from pyrobal.flowsheet.solve import solve
from pyrobal.readings import registry
from pyrobal.studies.measure import measured
from pyrobal.studies.sensitivity import sensitivity, step
from pyrobal.studies.variable import find

CASES = Path(__file__).parents[2] / "cases"
SKERRY = CASES / "skerry_point.toml"


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(SKERRY)


def test_effects_are_what_a_small_change_does(case: Case) -> None:
    key = "smelting.fuel_heat"
    effects = sensitivity(case, [key], ["smelting"])[key]
    assert [abs(e.change) for e in effects] == sorted((abs(e.change) for e in effects), reverse=True)
    base = pyrobal.balance(case)[key].magnitude
    for e in effects[:6]:
        variable = find(case.inputs, e.setting)
        small = e.step * 1e-4
        unit = variable.unit if variable.unit != "-" else ""
        moved = load_case(SKERRY, [f"{e.setting}={e.value + small!r} {unit}"])
        assert (pyrobal.balance(moved)[key].magnitude - base) * 1e4 == pytest.approx(e.change, rel=2e-3)


def test_all_concentrates_at_once_is_the_sum_of_each(case: Case) -> None:
    key = "smelting.oxygen.demand"
    effects = {e.setting: e for e in sensitivity(case, [key], ["concentrate"])[key]}
    names = ("Fenholt", "Marrick Dale", "Tolven")
    total = sum(effects[f"concentrate.{name}.assay.S"].slope for name in names)
    assert effects["concentrate.*.assay.S"].slope == pytest.approx(total, rel=1e-12)


def test_settings_without_effect_are_left_out() -> None:
    gannet = load_case(CASES / "gannet_rock.toml")  # close_heat_with = "nothing"
    found = {e.setting for e in sensitivity(gannet, ["smelting.heat.surplus"])["smelting.heat.surplus"]}
    assert "smelting.heat_loss" in found
    assert "smelting.heat_loss_per_tonne" not in found
    assert "site.operating_time" not in found


def test_a_kink_shows_both_sides(case: Case) -> None:
    """Heat just closed without fuel: more heat lost takes fuel, less of it leaves heat to spare."""
    from pyrobal.studies.aim import aimed, aiming

    edge = aimed(case, aiming(case, "smelting.heat.surplus=0.000001 MW", "smelting.enrichment=50 %:90 %"))
    readings = ["smelting.heat.surplus", "smelting.fuel_heat"]
    found = sensitivity(edge, readings, ["smelting.heat_loss"])
    (surplus,), (fuel,) = (found[key] for key in readings)
    assert surplus.below == pytest.approx(surplus.step, rel=1e-3)
    assert abs(surplus.above or 0.0) < 0.1 * surplus.step
    assert (
        fuel.above is not None and fuel.above > surplus.step
    )  # hot gas takes some of the fuel's heat with it
    assert abs(fuel.below or 0.0) < 0.1 * surplus.step


def test_nothing_moves_what_fuel_closes(case: Case, capsys: pytest.CaptureFixture[str]) -> None:
    """The round-off of a surplus that fuel holds at zero is no effect."""
    assert sensitivity(case, ["smelting.heat.surplus"])["smelting.heat.surplus"] == ()
    assert main(["sensitivity", str(SKERRY), "--read", "smelting.heat.surplus"]) == 0
    assert "fuel closes the heat" in capsys.readouterr().out


def test_a_setting_of_every_concentrate(case: Case) -> None:
    effects = sensitivity(case, ["smelting.oxygen.demand"], ["concentrate.*.assay.S"])
    assert {"concentrate.Fenholt.assay.S", "concentrate.*.assay.S"} <= {
        e.setting for e in effects["smelting.oxygen.demand"]
    }


@pytest.mark.parametrize(
    ("key", "value", "expected"),
    [
        ("smelting.slag_temperature", 1543.15, 10.0),
        ("smelting.matte_grade", 0.64, 0.01),
        ("concentrate.Fenholt.assay.As", 0.0015, 0.0002),
        ("concentrate.Fenholt.assay.CaO", 0.0, 0.001),
        ("smelting.heat_loss", 14e6, 1e6),
        ("smelting.fuel_minimum", 0.0, 1e6),
        ("smelting.fe_sio2", 1.25, 0.1),
    ],
)
def test_a_change_is_one_a_person_would_speak_of(case: Case, key: str, value: float, expected: float) -> None:
    assert step(find(case.inputs, key), value) == pytest.approx(expected, rel=1e-9)


def test_what_is_wrong_is_said(case: Case) -> None:
    with pytest.raises(CaseError, match=r'did you mean "smelting\.heat\.surplus"'):
        sensitivity(case, ["smelting.heat.surplu"])
    with pytest.raises(CaseError, match="did you mean"):
        sensitivity(case, ["smelting.fuel_heat"], ["smelting.enrichmnt"])
    with pytest.raises(CaseError, match="holds no number"):
        sensitivity(case, ["smelting.fuel_heat"], ["smelting.slag_magnetite"])
    with pytest.raises(NotSolved):
        sensitivity(load_case(SKERRY, ["smelting.matte_grade=90 %"]), ["smelting.fuel_heat"])


def test_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    line = [
        "sensitivity",
        str(SKERRY),
        "--read",
        "smelting.fuel_heat",
        "--to",
        "smelting,concentrate",
        "--top",
        "5",
    ]
    assert main(line) == 0
    out, err = capsys.readouterr()
    rows = out.splitlines()
    assert rows[0] == "smelting.fuel_heat"
    assert len(rows) == 6
    assert "+1 wt%" in rows[1] and "concentrate.*.assay.S" in rows[1] and rows[1].endswith("MW")
    assert all(len(row) <= 80 for row in rows)
    assert "lesser effects" in err
    assert main(["sensitivity", str(SKERRY), "--read", "nonsense"]) == 2
    assert (
        main(
            ["sensitivity", str(SKERRY), "--read", "smelting.fuel_heat", "--set", "smelting.matte_grade=90 %"]
        )
        == 1
    )


def test_counts_move_by_whole_steps_that_are_solved(capsys: pytest.CaptureFixture[str]) -> None:
    """Between whole blows the gas over time jumps: the derivative said -177 kg/h for one more, solving says +0.07."""
    marram, key = CASES / "marram_sound.toml", "emissions.so2"
    (blows,) = sensitivity(demo("marram_sound"), [key], ["converting.slag_blows"])[key]
    counts = solve(demo("marram_sound").inputs.replace("converting.slag_blows", np.array([2.0, 3.0, 4.0])))
    two, three, four = units.display(measured(counts, key), registry.find(key)[0].unit_for(counts))
    assert blows.step == 1.0
    assert blows.change == blows.above == pytest.approx(four - three, rel=1e-6)
    assert blows.below == pytest.approx(two - three, rel=1e-6)
    assert main(["sensitivity", str(marram), "--read", key, "--to", "converting.slag_blows"]) == 0
    out = capsys.readouterr().out
    assert "+1  converting.slag_blows  from 3  +" in out
    assert "solved; " in out
    assert "kink" not in out


def test_a_count_at_the_end_of_its_range_goes_down() -> None:
    marram = load_case(CASES / "marram_sound.toml", ["converting.slag_blows=8"])
    (blows,) = sensitivity(marram, ["converting.slag.rate"], ["converting.slag_blows"])[
        "converting.slag.rate"
    ]
    assert blows.step == -1.0
    assert blows.change == pytest.approx(blows.below)


@pytest.mark.parametrize(("value", "expected"), [(0.9995, -0.01), (0.99, 0.01), (0.985, 0.01), (0.9, 0.01)])
def test_no_change_leaves_the_allowed_range(value: float, expected: float) -> None:
    marram = load_case(CASES / "marram_sound.toml")
    efficiency = find(marram.inputs, "smelting.oxygen_efficiency")
    assert efficiency.high == 1.0
    assert step(efficiency, value) == pytest.approx(expected)


def test_a_share_near_its_end_is_told_downwards(case: Case, capsys: pytest.CaptureFixture[str]) -> None:
    line = [
        "sensitivity",
        str(SKERRY),
        "--read",
        "smelting.oxygen.industrial",
        "--to",
        "smelting.oxygen_efficiency",
    ]
    assert main([*line, "--set", "smelting.oxygen_efficiency=99.95 %"]) == 0
    row = capsys.readouterr().out.splitlines()[1]
    assert row.split()[:2] == ["-1", "%"]
    near = load_case(SKERRY, ["smelting.oxygen_efficiency=99.95 %"])
    (effect,) = sensitivity(near, ["smelting.oxygen.industrial"], ["smelting.oxygen_efficiency"])[
        "smelting.oxygen.industrial"
    ]
    less = pyrobal.balance(load_case(SKERRY, ["smelting.oxygen_efficiency=98.95 %"]))
    gained = less["smelting.oxygen.industrial"] - pyrobal.balance(near)["smelting.oxygen.industrial"]
    assert effect.change == pytest.approx(gained.magnitude, rel=0.02)
    assert effect.change > 0
