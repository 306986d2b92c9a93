"""What moves a reading: the exact slopes of the studies, ranked, and nothing that does nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
from demos import demo

from pyrobal import units
from pyrobal.cli import main
from pyrobal.report.explain.influence import SHARE, influences, lines
from pyrobal.studies.tangent import tangent
from pyrobal.studies.variable import variables

CASES = Path(__file__).parents[2] / "cases"
KEY = "smelting.oxygen.demand"


def test_changes_are_those_that_sensitivity_has() -> None:
    found, value, unit = influences(demo("skerry_point"), KEY)
    inputs = demo("skerry_point").inputs
    named = {one.name: one.change for one in found if one.kind == "setting"}
    here = {
        key: v for key, v in variables(inputs).items() if v.value(inputs) is not None and v.unit != "degC"
    }
    exact = tangent(inputs, list(here.values()), [KEY])
    assert value == pytest.approx(float(units.display(exact.values[0, 0], unit)))
    for (key, variable), slope in zip(here.items(), exact.slopes[0, :, 0], strict=True):
        step = SHARE * abs(float(variable.value(inputs)[0]))  # type: ignore[index]
        change = float(units.display(slope * step, unit))
        assert named.get(key, 0.0) == pytest.approx(change, rel=1e-6, abs=1e-9 * abs(value)), key


def test_the_greatest_come_first_and_nothing_is_listed_in_vain() -> None:
    found, value, _ = influences(demo("skerry_point"), KEY)
    sizes = [abs(one.change) for one in found]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[-1] > 1e-9 * abs(value)
    names = {one.name for one in found}
    assert "smelting.matte_grade" in names and "concentrate.Marrick Dale.minerals.chalcopyrite" in names
    assert "site.operating_time" not in names


def test_tables_are_named_with_their_units() -> None:
    found, _, _ = influences(demo("skerry_point"), KEY)
    by_name = {one.name: one.value for one in found if one.kind == "table"}
    assert by_name["atomic mass of S"] == "0.03206 kg/mol"
    assert by_name["heat capacity, a of FeO(l)"].endswith("J/(mol K)")


def test_one_per_cent_of_a_temperature_is_of_what_people_read() -> None:
    found, _, unit = influences(demo("skerry_point"), KEY)
    inputs = demo("skerry_point").inputs
    slag = variables(inputs)["smelting.slag_temperature"]
    slope = tangent(inputs, [slag], [KEY]).slopes[0, 0, 0]
    change = next(one.change for one in found if one.name == slag.key)
    assert change == pytest.approx(float(units.display(slope * 12.7, unit)), rel=1e-6)


def test_the_text_says_what_moves_it() -> None:
    said = list(lines(demo("skerry_point"), KEY))
    assert said[0].startswith(f"{KEY} = 2242") or said[0].startswith(f"{KEY} = ")
    assert any("smelting.oxygen_efficiency = 99 %" in line for line in said)


def test_from_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    case = str(CASES / "brae_fell.toml")
    assert main(["explain", case, "smelting.matte.rate", "--influence"]) == 0
    assert "settings and assays:" in capsys.readouterr().out
    assert main(["explain", case, "acid.so2_load", "--influence"]) == 2
    assert "it takes [acid_plant]" in " ".join(capsys.readouterr().err.split())
