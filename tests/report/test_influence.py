"""What moves a reading: the exact slopes of the studies, ranked, and nothing that does nothing."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from demos import demo

from pyrobal import units
from pyrobal.cli import main
from pyrobal.report.explain.influence import SHARE, influences, lines
from pyrobal.report.explain.story import Story
from pyrobal.studies.tangent import tangent
from pyrobal.studies.variable import variables

CASES = Path(__file__).parents[2] / "cases"
KEY = "smelting.oxygen.demand"


@cache
def _story() -> Story:
    return Story(demo("skerry_point"))


def test_changes_are_those_that_sensitivity_has() -> None:
    story = _story()
    found, line = influences(story.known, KEY), story.lines[KEY]
    value, unit = line.value, line.unit
    inputs = demo("skerry_point").inputs
    named = {one.step.name: one.change for one in found if one.step.kind == "setting"}
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
    story = _story()
    found, value = influences(story.known, KEY), story.lines[KEY].value
    sizes = [abs(one.change) for one in found]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[-1] > 1e-9 * abs(value)
    names = {one.step.name for one in found}
    assert "smelting.matte_grade" in names and "concentrate.Marrick Dale.minerals.chalcopyrite" in names
    assert "site.operating_time" not in names


def test_tables_are_named_with_their_units() -> None:
    found = influences(_story().known, KEY)
    by_name = {one.step.name: one.step for one in found if one.step.kind == "table"}
    mass, heat = by_name["atomic mass of S"], by_name["heat capacity, a of FeO(l)"]
    assert (mass.value, mass.unit) == (pytest.approx(0.03206, rel=1e-12), "kg/mol")
    assert heat.unit == "J/(mol K)"


def test_one_per_cent_of_a_temperature_is_of_what_people_read() -> None:
    story = _story()
    found, unit = influences(story.known, KEY), story.lines[KEY].unit
    inputs = demo("skerry_point").inputs
    slag = variables(inputs)["smelting.slag_temperature"]
    slope = tangent(inputs, [slag], [KEY]).slopes[0, 0, 0]
    change = next(one.change for one in found if one.step.name == slag.key)
    assert change == pytest.approx(float(units.display(slope * 12.7, unit)), rel=1e-6)


def test_the_text_says_what_moves_it() -> None:
    said = list(lines(_story().known, KEY))
    assert said[0].startswith(f"{KEY} = 2242") or said[0].startswith(f"{KEY} = ")
    assert any("smelting.oxygen_efficiency = 99 %" in line for line in said)


def test_from_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    case = str(CASES / "brae_fell.toml")
    assert main(["explain", case, "smelting.matte.rate", "--influence"]) == 0
    assert "settings and assays:" in capsys.readouterr().out
    assert main(["explain", case, "acid.so2_load", "--influence"]) == 2
    assert "it takes [acid_plant]" in " ".join(capsys.readouterr().err.split())
