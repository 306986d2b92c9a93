"""Window: every cell is what a single balance says, and the best point is the best there is."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import pyrobal
from pyrobal.case.load import Case, load_case
from pyrobal.cli import main
from pyrobal.errors import CaseError, Reason
from pyrobal.studies.limit import Limit, goal, limits
from pyrobal.studies.window import FEASIBLE, NO_ANSWER, Window, window

SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"
LIMITS = ["smelting.heat.surplus<=3 MW", "smelting.gas.flow_wet <= 45000 Nm3/h", "smelting.slag.magnetite<=9"]
X, Y = ("smelting.enrichment", "40:90 %:11"), ("smelting.matte_grade", "58:82 %:9")


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(SKERRY)


@pytest.fixture(scope="module")
def found(case: Case) -> Window:
    return window(case, X, Y, limits(case, LIMITS), goal(case, "max:smelting.matte.grade"))


def test_a_cell_is_what_a_single_balance_says(case: Case, found: Window) -> None:
    for row, column in ((0, 0), (0, 10), (2, 4), (4, 8), (8, 5), (6, 2)):
        x, y = float(found.x_values[column]), float(found.y_values[row])
        alone = load_case(case.text, [f"smelting.enrichment={x!r} %", f"smelting.matte_grade={y!r} %"])
        result = pyrobal.balance(alone)
        code = found.verdict[row, column]
        if not result.results.solved[0]:
            assert code == NO_ANSWER
            continue
        values = {limit: result[limit.key].magnitude for limit in found.limits}
        excess = [(values[limit] - limit.bound) / limit.bound for limit in found.limits]
        assert code == (FEASIBLE if max(excess) <= 0 else int(np.argmax(excess)))


def test_no_point_of_a_finer_grid_is_better_than_the_best(case: Case, found: Window) -> None:
    assert found.best is not None
    fine = window(case, (X[0], "48:60 %:61"), (Y[0], "64:76 %:61"), found.limits)
    best = np.where(
        fine.feasible, fine.readings["smelting.slag.magnetite"] * 0 + fine.y_values[:, None], 0.0
    ).max()
    assert found.best.readings["smelting.matte.grade"] >= best - 0.01
    keys = {limit.key for limit in found.best.binding}
    assert keys == {"smelting.gas.flow_wet", "smelting.slag.magnetite"}
    assert all(room >= 0 for room in found.best.rooms.values())


def test_the_edge_is_where_the_limit_is_met(case: Case) -> None:
    """Against an aim at the bound: the last feasible cell and the first that is not enclose it."""
    from pyrobal.studies.aim import aiming

    one = limits(case, ["smelting.heat.surplus <= 3 MW"])
    row = window(case, (X[0], "60:90 %:31"), (Y[0], "64 %:64 %:1"), one)
    edge = (
        aiming(case, "smelting.heat.surplus=3 MW", "smelting.enrichment").solved(case.inputs)[0][0, 0] * 100
    )
    feasible = row.feasible[0]
    assert row.x_values[feasible].max() <= edge <= row.x_values[~feasible].min()


def test_nothing_feasible_names_the_nearest(case: Case) -> None:
    low = window(
        case,
        X,
        Y,
        limits(case, ["smelting.gas.flow_wet <= 1000 Nm3/h"]),
        goal(case, "min:smelting.fuel_heat"),
    )
    assert not low.feasible.any()
    assert low.best is None
    assert low.nearest == pytest.approx((90.0, 58.0))  # the least gas


def test_nothing_solved(case: Case) -> None:
    none = window(case, X, (Y[0], "85:90 %:3"), limits(case, LIMITS))
    assert (none.verdict == NO_ANSWER).all()
    assert none.nearest is None
    assert (none.reason == Reason.GRADE_LEAVES_NO_IRON_SULFIDE).all()


@pytest.mark.parametrize(
    ("texts", "says"),
    [
        (["smelting.heat.surplus"], "is not READING <= VALUE"),
        (["smelting.heat.surplu <= 3"], 'did you mean "smelting.heat.surplus"'),
        (["smelting.heat.surplus <= 3 t/h"], "a power is needed"),
        (["smelting.heat.surplus <= much"], "does not begin with a number"),
        (["smelting.heat.surplus <= 1 MW", "smelting.heat.surplus >= 2 MW"], "no value is both"),
    ],
)
def test_what_is_wrong_with_a_limit_is_said(case: Case, texts: list[str], says: str) -> None:
    with pytest.raises(CaseError, match=says):
        limits(case, texts)


def test_a_limit_is_read_in_any_unit_of_its_kind(case: Case) -> None:
    (limit,) = limits(case, ["smelting.slag.temperature>=1523.15 K"])
    assert limit == Limit("smelting.slag.temperature", 1, pytest.approx(1250.0), "degC")
    assert str(limits(case, ["smelting.slag.fe_sio2<=1.5"])[0]) == "smelting.slag.fe_sio2 <= 1.5"


def test_the_picture_fits_eighty_columns(capsys: pytest.CaptureFixture[str]) -> None:
    line = [
        "window",
        str(SKERRY),
        "--x",
        "smelting.enrichment=40:90 %",
        "--y",
        "smelting.matte_grade=58:82 %",
    ]
    for text in LIMITS:
        line += ["--limit", text]
    assert main([*line, "--best", "max:smelting.matte.grade"]) == 0
    out, err = capsys.readouterr()
    assert all(len(row) <= 80 for row in out.splitlines())
    assert "\x1b" not in out
    assert err == ""
    assert {letter for row in out.splitlines()[1:22] for letter in row[11:]} == set(".abcx*")
    assert "smelting.slag.magnetite <= 9 wt%, binds" in " ".join(out.split())


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["--x", "smelting.enrichment=40:90 %", "--y", "smelting.fe_sio2=1:2"], 2, "needs a limit"),
        (["--x", "smelting.enrichment", "--y", "smelting.fe_sio2=1:2", "--limit", LIMITS[0]], 2, "is not KEY="),
        (["--x", "smelting.fe_sio2=1:2:9999", "--y", "smelting.dust=1:2 %:9999", "--limit", LIMITS[0]], 2, "more than 250,000"),
        (["--x", "smelting.fe_sio2=1:2", "--y", "smelting.fe_sio2=1:2", "--limit", LIMITS[0]], 2, "varied already"),
        (["--x", "smelting.dust=1:2 %", "--y", "smelting.fe_sio2=1:2", "--limit", LIMITS[0], "--best", "most"], 2, "max:"),
        (["--x", "smelting.dust=1:2 %:3", "--y", "smelting.fe_sio2=1:2:3", "--limit", "smelting.matte.rate >= 900"], 1, ""),
    ],
)  # fmt: skip
def test_exit_codes(arguments: list[str], code: int, says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["window", str(SKERRY), *arguments]) == code
    out, err = capsys.readouterr()
    assert says in err
    assert "Traceback" not in err
    if code == 1:
        assert "no point keeps every limit" in out
