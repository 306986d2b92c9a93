"""--aim and --by in every command that solves a case: the aim is met wherever the command looks."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from pyrobal.case.load import Case, load_case
from pyrobal.cli import main
from pyrobal.errors import CaseError
from pyrobal.flowsheet.solve import solve
from pyrobal.studies.aim import Aim, aimed, aiming
from pyrobal.studies.blend import blend
from pyrobal.studies.enthalpies import heat_error
from pyrobal.studies.limit import limits
from pyrobal.studies.run import Task, fingerprint, solve_task
from pyrobal.studies.sensitivity import sensitivity
from pyrobal.studies.spread import spreads
from pyrobal.studies.terms import without_prices
from pyrobal.studies.uncertainty import uncertainty
from pyrobal.studies.window import window

SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"
AIM = ["--aim", "smelting.fuel_heat=2 MW", "--by", "smelting.enrichment"]


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(SKERRY)


@pytest.fixture(scope="module")
def aim(case: Case) -> Aim:
    return aiming(case, "smelting.fuel_heat=2 MW", "smelting.enrichment=40 %:94 %")


def test_balance(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["balance", str(SKERRY), "--json", "-", *AIM]) == 0
    out, err = capsys.readouterr()
    readings = json.loads(out)["readings"]
    assert readings["smelting.fuel_heat"]["value"] == pytest.approx(2.0, rel=1e-9)
    assert f"smelting.enrichment = {readings['smelting.enrichment']['value']:.7g} vol%" in err
    assert main(["balance", str(SKERRY), *AIM[:2]]) == 2
    assert (
        main(["balance", str(SKERRY), "--aim", "smelting.fuel_heat=900 MW", "--by", "smelting.enrichment"])
        == 1
    )


def test_window(case: Case, aim: Aim) -> None:
    held = limits(case, ["smelting.fuel_heat <= 2.000001 MW", "smelting.fuel_heat >= 1.999999 MW"])
    found = window(
        case, ("smelting.heat_loss", "12:15 MW:4"), ("smelting.fe_sio2", "1.2:1.3:3"), held, aim=aim
    )
    assert found.feasible.all()


def test_sensitivity(case: Case, aim: Aim) -> None:
    """More loss wants more oxygen; the slope of the setting is that of the aim found anew."""
    effects = {
        e.setting: e
        for e in sensitivity(case, ["smelting.enrichment"], ["smelting"], aim)["smelting.enrichment"]
    }
    assert "smelting.enrichment" not in effects
    loss = effects["smelting.heat_loss"]
    assert loss.below is None  # differences agree
    x = [aim.solved(case.inputs.replace("smelting.heat_loss", 14e6 + d))[0][0, 0] for d in (-1e4, 1e4)]
    assert loss.change == pytest.approx((x[1] - x[0]) / 2e4 * 1e6 * 100, rel=1e-5)


def test_uncertainty(case: Case, aim: Aim) -> None:
    stated = spreads(case, {"smelting.heat_loss": "+-1 MW"})
    found = uncertainty(
        case, ["smelting.fuel_heat", "smelting.enrichment"], stated, aim=aim, only_stated=True, samples=32
    )
    assert found.scatter["smelting.fuel_heat"].deviation < 1e-9
    assert found.scatter["smelting.enrichment"].deviation > 0.5
    with pytest.raises(CaseError, match="varied already"):
        uncertainty(case, ["smelting.fuel_heat"], spreads(case, {"smelting.enrichment": "+-1 %"}), aim=aim)
    keys = {
        s.variable.key
        for source in uncertainty(case, ["smelting.gas.so2"], aim=aim, samples=2).sources
        for s in source.spreads
    }
    assert "smelting.enrichment" not in keys


@pytest.mark.parametrize("loss", ["heat_loss=14 MW", "heat_loss_per_tonne=450 MJ/t"])
def test_the_aim_is_met_with_the_error_of_the_formation_enthalpies(loss: str) -> None:
    case = load_case(SKERRY, [f"smelting.{loss}"])
    aim = aiming(case, "smelting.heat.surplus=1 MW", "smelting.enrichment")
    met = aimed(case, aim).inputs
    assert (met.smelting.heat_loss is None) == ("per_tonne" in loss)
    errors = np.array([-0.01, 0.0, 0.01])
    readings = (*aim.readings, "smelting.heat.out.loss")
    task = Task(met, (), np.empty((3, 0)), readings, aim, fingerprint(), errors)
    found = solve_task(task)
    assert found.aimed is not None
    np.testing.assert_allclose(found.readings[:, 0], aim.targets[0].value, rtol=1e-9)
    error = heat_error(solve(met))[0]
    np.testing.assert_allclose(np.diff(found.readings[:, 1]), 0.01 * error, rtol=1e-9)
    assert (np.diff(found.aimed[:, 0]) > 0).all()  # more loss wants more oxygen


def test_every_draw_meets_the_aim(case: Case) -> None:
    reading, by = "smelting.heat.surplus", "smelting.enrichment"
    found = uncertainty(case, [reading, by], aim=aiming(case, f"{reading}=1 MW", by), samples=8)
    assert (found.scatter[reading].mean, found.scatter[reading].deviation) == (pytest.approx(1.0), 0.0)
    assert np.isnan(found.indices[reading].total).all()  # nothing moves it, round-off included
    assert found.scatter[by].deviation > 1.0


def test_what_takes_up_the_error_of_the_heat_cannot_be_aimed_with(case: Case) -> None:
    by_loss = aiming(case, "smelting.heat.surplus=1 MW", "smelting.heat_loss=1 MW:30 MW")
    with pytest.raises(CaseError, match="takes up what the formation enthalpies are off"):
        uncertainty(case, ["smelting.fuel_heat"], aim=by_loss, samples=2)


def two_parcels(tmp_path: Path) -> Path:
    """The demo without its third concentrate: as much to aim at, less to search."""
    text = SKERRY.read_text()
    begin, end = text.rindex("[[concentrate]]"), text.index("[charge]")
    file = tmp_path / "two.toml"
    file.write_text(text[:begin] + text[end:])
    return file


def test_blend(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = two_parcels(tmp_path)
    case = load_case(file)
    aim = aiming(case, "smelting.fuel_heat=2 MW", "smelting.enrichment=40 %:94 %")
    held = limits(case, ["feed.assay.As <= 0.2 %", "smelting.fuel_heat <= 50 MW"])
    found = blend(case, without_prices(case), held, aim=aim)
    assert found.best.feasible
    assert found.best.readings["smelting.fuel_heat"] == pytest.approx(2.0, rel=1e-6)
    plain = blend(case, without_prices(case), held[:1])
    assert found.best.value == pytest.approx(plain.best.value, rel=1e-3)  # the fuel hardly moves the copper
    line = ["blend", str(file), "--limit", "feed.assay.As<=0.2 %", *AIM]
    assert main(line) == 0
    assert capsys.readouterr().out
    assert main(line[:-2]) == 2


@pytest.mark.parametrize(
    "line",
    [
        ["sweep", "--over", "smelting.fe_sio2=1.2,1.3", "--read", "smelting.fuel_heat"],
        ["window", "--x", "smelting.fe_sio2=1.2:1.3:3", "--y", "smelting.dust=5:6 %:2", "--limit", "smelting.fuel_heat<=9"],
        ["sensitivity", "--read", "smelting.enrichment", "--to", "smelting.heat_loss"],
        ["uncertainty", "--read", "smelting.enrichment", "--samples", "4"],
    ],
    ids=lambda line: line[0],
)  # fmt: skip
def test_every_command(line: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main([line[0], str(SKERRY), *line[1:], *AIM]) == 0
    assert capsys.readouterr().out
    assert main([line[0], str(SKERRY), *line[1:], *AIM[:2]]) == 2
