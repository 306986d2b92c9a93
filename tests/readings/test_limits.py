"""Limits of a case judge its answer, and the studies keep within them."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from pyrobal.case.load import Case, load_case
from pyrobal.cli import main
from pyrobal.errors import CaseError
from pyrobal.readings.limits import Limit, limits
from pyrobal.report.result import CAUTION, Result, balance
from pyrobal.studies import limit as study
from pyrobal.studies.spread import spreads
from pyrobal.studies.sweep import sweep
from pyrobal.studies.uncertainty import uncertainty
from pyrobal.studies.window import window

CASES = Path(__file__).parents[2] / "cases"
TABLES = """
[[limit]]
name = "oxygen plant"
reading = "smelting.oxygen.industrial"
most = "15000 Nm3/h"
[[limit]]
name = "no cold furnace"
reading = "smelting.heat.surplus"
least = "0 MW"
[[limit]]
name = "clean matte"
reading = "smelting.matte.grade"
least = "60 %"
"""


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case((CASES / "skerry_point.toml").read_text() + TABLES)


@pytest.fixture(scope="module")
def result(case: Case) -> Result:
    return balance(case)


@pytest.mark.parametrize(
    ("upper", "bound", "value", "use", "kept"),
    [
        (True, 10.0, 8.0, 0.8, True),
        (True, 10.0, 12.5, 1.25, False),
        (True, 10.0, -5.0, -0.5, True),
        (False, 10.0, 12.5, 0.8, True),
        (False, 10.0, 8.0, 1.25, False),
        (False, 10.0, -8.0, np.nan, False),  # beyond nought there is no share
        (True, -8.0, -10.0, 0.8, True),
        (True, -8.0, 1.0, np.nan, False),
        (False, -10.0, -8.0, 0.8, True),
        (False, -10.0, 5.0, -0.5, True),
        (False, 0.0, 3.0, np.nan, True),
        (True, 0.0, 3.0, np.nan, False),
    ],
)
def test_use_is_above_one_exactly_where_the_limit_is_broken(
    upper: bool, bound: float, value: float, use: float, kept: bool
) -> None:
    limit = Limit("x", "x", upper, np.array([bound]), "x")
    (found,), (room,) = limit.use(np.array([value])), limit.room(np.array([value]))
    assert found == pytest.approx(use, nan_ok=True)
    assert (room >= 0.0) == kept
    assert np.isnan(found) or (found <= 1.0) == kept


def test_round_off_breaks_nothing() -> None:
    limit = Limit("x", "x", True, np.array([3.0]), "x")
    assert limit.room(np.array([3.0 + 1e-12])) == 0.0


def test_balance_shows_the_use_of_each_and_a_broken_one_is_a_caution(result: Result) -> None:
    use = result["limit.oxygen plant.use"].magnitude
    assert use == pytest.approx(100 * result["smelting.oxygen.industrial"].magnitude / 15000)
    assert result["limit.clean matte.use"].magnitude == pytest.approx(100 * 60 / 64)
    assert result.status == CAUTION
    assert [m.key for m in result.messages if m.key.startswith("limit.")] == ["limit.oxygen plant"]


def test_a_broken_limit_ends_the_command_well(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "case.toml"
    file.write_text((CASES / "skerry_point.toml").read_text() + TABLES)
    assert main(["balance", str(file), "--json", "-"]) == 0
    out, err = capsys.readouterr()
    found = json.loads(out)
    assert found["status"] == "caution"
    assert found["readings"]["limit.oxygen plant.use"]["unit"] == "%"
    said = " ".join(err.split())
    oxygen = found["readings"]["smelting.oxygen.industrial"]["value"]
    assert f"oxygen plant {oxygen / 150:.0f} % {oxygen:.0f} Nm3/h (at most 15000 Nm3/h)" in said
    assert "(at least 0 MW)" in said
    assert main(["balance", str(file), "--set", "limit.oxygen plant.most=30000 Nm3/h"]) == 0
    assert "limit.oxygen plant" not in capsys.readouterr().out


def test_a_limit_changes_no_other_reading(result: Result) -> None:
    without = balance(load_case(CASES / "skerry_point.toml"))
    there = {line.key: line.value for line in result.lines if not line.key.startswith("limit.")}
    assert there == {line.key: pytest.approx(line.value, nan_ok=True, rel=0, abs=0) for line in without.lines}


def test_the_bound_is_a_setting_that_can_be_swept(case: Case) -> None:
    over = {"limit.oxygen plant.most": "10000:40000 Nm3/h:3"}
    table = sweep(case, over, ["limit.oxygen plant.use", "smelting.oxygen.industrial"])
    assert table["limit.oxygen plant.use"] * np.array([1e4, 2.5e4, 4e4]) == pytest.approx(
        100 * table["smelting.oxygen.industrial"]
    )


def test_a_window_keeps_within_the_limits_of_the_case(case: Case) -> None:
    x, y = ("smelting.enrichment", "45:75 %:4"), ("smelting.matte_grade", "55:65 %:3")
    found = window(case, x, y, ())
    assert [limit.name for limit in found.limits] == ["oxygen plant", "no cold furnace", "clean matte"]
    assert (found.readings["smelting.matte.grade"][found.feasible] >= 60.0).all()
    given = study.limits(case, ["smelting.oxygen.industrial <= 30000 Nm3/h", "smelting.slag.rate <= 90 t/h"])
    names = [str(limit) for limit in window(case, x, y, given).limits]
    assert names[:2] == [
        "no cold furnace: smelting.heat.surplus >= 0 MW",
        "clean matte: smelting.matte.grade >= 60 wt%",
    ]
    assert names[2] == "smelting.oxygen.industrial <= 30000 Nm3/h"  # in place of that of the case
    with pytest.raises(CaseError, match="no value is both"):
        window(case, x, y, study.limits(case, ["smelting.matte.grade <= 59 %"]))


def test_a_window_along_the_bound_itself(case: Case) -> None:
    """Feasible where the bound on this axis is met, not where that of the case is."""
    x, y = ("limit.oxygen plant.most", "10000:40000 Nm3/h:4"), ("smelting.enrichment", "45:55 %:2")
    found = window(case, x, y, ())
    oxygen = sweep(case, {"smelting.enrichment": "45:55 %:2"}, ["smelting.oxygen.industrial"])
    wanted = oxygen["smelting.oxygen.industrial"][:, None] <= found.x_values[None, :]
    assert (found.feasible == wanted).all()
    assert 0 < wanted.sum() < wanted.size


def test_the_chance_of_breaking_a_bound_that_is_itself_unsure(case: Case) -> None:
    stated = spreads(case, {"limit.oxygen plant.most": "10000:30000 Nm3/h"})
    found = uncertainty(case, ["smelting.oxygen.industrial"], stated, only_stated=True, samples=64)
    oxygen = float(balance(case)["smelting.oxygen.industrial"].magnitude)
    (risk,) = (risk for risk in found.risks if risk.limit.name == "oxygen plant")
    assert risk.chance == pytest.approx((oxygen - 10000) / 20000, abs=0.02)


def test_permit_and_acid_plant_stand_in_the_table_under_their_settings() -> None:
    marram = load_case(CASES / "marram_sound.toml", ["acid_plant.flow_limit=250000 Nm3/h"])
    found = balance(marram)
    assert list(limits(marram.inputs)) == [
        "emissions.so2_stack_limit",
        "emissions.secondary_so2_limit",
        "acid_plant.flow_limit",
    ]
    stack = found["limit.emissions.so2_stack_limit.use"].magnitude
    assert stack == pytest.approx(100 * found["emissions.worst_stack_so2"].magnitude / 1500)
    hoods = found["limit.emissions.secondary_so2_limit.use"].magnitude
    assert hoods == pytest.approx(100 * found["emissions.stack.secondary.so2"].magnitude / 3500)
    peak = found["limit.acid_plant.flow_limit.use"].magnitude
    assert peak == pytest.approx(100 * found["acid.inlet_flow_peak"].magnitude / 250000)
    assert not [key for key in found if ".of_limit." in key]


@pytest.mark.parametrize("file", sorted(CASES.glob("*.toml")), ids=lambda file: file.stem)
def test_a_demo_plant_keeps_its_own_limits(file: Path) -> None:
    """Nor does it run its catalyst too hot: what the demo cautions of is meant, not an accident of a figure."""
    found = balance(load_case(file))
    uses = {key: q.magnitude for key, q in found.items() if key.startswith("limit.")}
    assert all(use < 100 for use in uses.values()), uses
    cautions = {m.key for m in found.messages if m.level == CAUTION}
    assert not {key for key in cautions if key.startswith(("acid.", "emissions."))}


def test_a_limit_that_judges_nothing_says_so(case: Case) -> None:
    text = case.text + '[[limit]]\nname = "ghost"\nreading = "smelting.slag.assay.Te"\nmost = "1 %"\n'
    ghost = load_case(text)
    said = {m.key: m.text for m in balance(ghost).messages}
    assert said["limit.ghost"] == "judges nothing: this case has no smelting.slag.assay.Te"
    with pytest.raises(CaseError, match=r"limit\.ghost\.most"):
        study.in_force(ghost, ())
