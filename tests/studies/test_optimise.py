"""Optimise against outside answers: a fine grid of full balances, limits moved and solved again."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest
from demos import demo

import pyrobal
from pyrobal.case.load import Case
from pyrobal.cli import main
from pyrobal.errors import CaseError
from pyrobal.studies.limit import goal, limits
from pyrobal.studies.optimise import Best, optimise

SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"
BY = ("concentrate.*.rate=90 t/h:140 t/h", "smelting.enrichment=50 %:80 %")
KEEP = ("smelting.oxygen.industrial<=22000", "smelting.gas.flow_wet<=45000")


@pytest.fixture(scope="module")
def case() -> Case:
    return demo("skerry_point")


@pytest.fixture(scope="module")
def found(case: Case) -> Best:
    return optimise(case, BY, goal(case, "max:feed.dry_rate"), limits(case, KEEP))


def test_no_point_of_a_fine_grid_is_better(case: Case, found: Best) -> None:
    over = {"concentrate.*.rate": "90 t/h:140 t/h:51", "smelting.enrichment": "50 %:80 %:61"}
    from pyrobal.studies.sweep import sweep

    table = sweep(case, over, ["smelting.oxygen.industrial", "smelting.gas.flow_wet"])
    kept = (table["smelting.oxygen.industrial"] <= 22000) & (table["smelting.gas.flow_wet"] <= 45000)
    most = table["concentrate.*.rate"][kept].max()
    assert kept.sum() > 500
    assert most <= found.best.value + 1e-6
    assert found.best.value - most < 1.5  # one step of the grid, and half of one in enrichment
    assert found.alike == found.starts > 1


def test_what_a_limit_is_worth_is_what_more_of_it_brings(case: Case, found: Best) -> None:
    assert [found.standing(limit) for limit in found.best.rooms] == ["binds", "binds"]
    for limit, worth in found.limit_worth.items():
        more = 1e-3 * limit.bound
        wider = [
            dataclasses.replace(one, bound=one.bound + more * (one is limit)) for one in found.limit_worth
        ]
        again = optimise(case, BY, found.goal, wider)
        assert (again.best.value - found.best.value) / more == pytest.approx(worth, rel=0.01)
        assert found.limit_range[limit].low < limit.bound < found.limit_range[limit].high


def test_the_way_ends_at_the_best_and_the_optimum_is_as_flat_as_said(case: Case, found: Best) -> None:
    assert found.path[-1].value == pytest.approx(found.best.value, rel=1e-9)
    assert [move.key for move in found.path] != []
    rate, enrichment = found.settings
    assert rate.flat is not None and enrichment.flat is not None
    assert rate.flat[0] == pytest.approx(0.99 * found.best.value, rel=1e-6)
    low, high = enrichment.flat
    assert low < enrichment.best < high
    for end, outside in ((low, low - 0.5), (high, high + 0.5)):
        held = [BY[0], f"smelting.enrichment={end - 1e-3:.6f} %:{end + 1e-3:.6f} %"]
        at = optimise(case, held, found.goal, list(found.limit_worth))
        assert at.best.feasible and at.best.value >= 0.99 * found.best.value * (1 - 1e-4)
        past = [BY[0], f"smelting.enrichment={outside - 1e-3:.6f} %:{outside + 1e-3:.6f} %"]
        beyond = optimise(case, past, found.goal, list(found.limit_worth))
        assert not beyond.best.feasible or beyond.best.value < 0.99 * found.best.value


def test_what_cannot_be_met_is_named_with_how_much(case: Case, capsys: pytest.CaptureFixture[str]) -> None:
    line = [
        "optimise",
        str(SKERRY),
        "--best",
        "min:smelting.fuel_heat",
        "--by",
        "smelting.enrichment=50 %:60 %",
    ]
    assert main([*line, "--limit", "smelting.gas.flow_wet<=36000"]) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "No settings within these ranges keep every limit" in out
    assert "Broken by" in out and "smelting.gas.flow_wet <= 36000" in out
    assert "even without the other limits" in out


@pytest.mark.parametrize(
    ("by", "says"),
    [
        (["smelting.enrichmnt=50 %:60 %"], "did you mean"),
        (["smelting.enrichment=60 %:50 %"], "empty range"),
        (["smelting.enrichment=50 %:60 %", "smelting.enrichment=50 %:70 %"], "given twice"),
        (["smelting.oxygen_per_tonne=150 Nm3/t:200 Nm3/t"], "no number for it"),
        (["smelting.close_heat_with=1:2"], "is a word"),
        ([], "name a setting"),
    ],
)
def test_wrong_settings_are_said(case: Case, by: list[str], says: str) -> None:
    with pytest.raises(CaseError, match=says):
        optimise(case, by, goal(case, "min:smelting.fuel_heat"))


def test_the_command_its_json_and_its_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    html, told = tmp_path / "o.html", tmp_path / "o.json"
    line = ["optimise", str(SKERRY), "--best", "max:feed.dry_rate", *(w for by in BY for w in ("--by", by))]
    assert main([*line, "--limit", KEEP[0], "--html", str(html), "--json", str(told)]) == 0
    assert all(len(row) <= 80 for row in capsys.readouterr().out.splitlines())
    answer = json.loads(told.read_text())
    assert answer["feasible"] and answer["limits"][f"{KEEP[0][:26]} <= 22000 Nm3/h"]["standing"] == "binds"
    page = html.read_text(encoding="utf-8")
    assert page.count("best settings") >= 1 and "plant-across" in page
    assert main([*line, "--best", "feed"]) == 2
    assert np.isfinite(answer["value"])


def test_in_python() -> None:
    study = pyrobal.optimise(SKERRY, "max:feed.dry_rate", BY[0], limit=KEEP[0])
    assert "concentrate.*.rate" in set(study.frame("Settings")["setting"])
