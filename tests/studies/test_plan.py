"""Plans of the full balance: one period against blend, worths against plans solved again, a ship that is late."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path

import numpy as np
import pytest
from demos import CASES, demo

from pyrobal.case.load import Case
from pyrobal.cli import main
from pyrobal.errors import CaseError
from pyrobal.studies.blend import blend
from pyrobal.studies.limit import limits
from pyrobal.studies.plan.periods import Held, Plan, load_plan
from pyrobal.studies.plan.planning import Schedule, plan
from pyrobal.studies.terms import load_terms

SKERRY, QUARTER = CASES / "skerry_point.toml", CASES / "plans" / "skerry_point_quarter.toml"
CONTRACT = 'payable = "96.5 %"\ndeduction = "1 %"\ntreatment = 90\nrefining = 190\n'
LOTS = {"Fenholt": 60, "Marrick Dale": 70, "Tolven": 40}  # t/h


@pytest.fixture(scope="module")
def case() -> Case:
    return demo("skerry_point")


@pytest.fixture(scope="module")
def quarter(case: Case) -> Plan:
    return load_plan(case, QUARTER)


@pytest.fixture(scope="module")
def found(case: Case, quarter: Plan) -> Schedule:
    return plan(case, quarter)


def test_one_period_is_the_blend(case: Case) -> None:
    """Tonnes for a day of 24 hours at the rates a blend may take."""
    parcels = "".join(f'[parcel."{n}"]\nmost = "{r} t/h"\n{CONTRACT}' for n, r in LOTS.items())
    ships = "".join(
        f'[[parcel]]\nlot = "{n}"\ntonnes = "{24 * r} t"\narrives = "today"\n{CONTRACT}'
        for n, r in LOTS.items()
    )
    market = (
        'copper_price = 9200\n{}[expense]\n"smelting.oxygen.industrial" = 0.07\n"smelting.fuel_heat" = 35\n'
    )
    kept = limits(case, ["feed.assay.As <= 0.13 %", "smelting.slag.rate <= 65 t/h"])
    best = blend(case, load_terms(case, market.format("") + parcels), kept)
    day = load_plan(case, market.format("") + f'[[period]]\nname = "today"\ndays = 1\n{ships}')
    same = plan(case, dataclasses.replace(day, limits=tuple(Held(limit) for limit in kept)))
    assert same.feasible and same.settled
    assert same.value == pytest.approx(24 * best.best.value, rel=1e-6)
    rates = dict(zip(same.plan.lots, same.rates[0].tolist(), strict=True))
    for name, rate in best.best.rates.items():
        assert rates[name] == pytest.approx(rate, abs=1e-3)
    worth = {limit: w for (limit, _), w in same.limit_worth.items()}
    for limit, w in best.limit_worth.items():
        if w:
            assert worth[limit] == pytest.approx(24 * w, rel=1e-3)
    for name in LOTS:
        assert same.enters[name] == pytest.approx(best.breaks_even[name], rel=1e-3)


def test_stocks_follow_and_everything_stated_is_kept(found: Schedule, quarter: Plan) -> None:
    assert found.feasible and found.gap == 0.0 and found.error < 1e-4
    for k, lot in enumerate(quarter.lots):
        stock, left = quarter.stocks[lot], quarter.stocks[lot].start
        for t, period in enumerate(quarter.periods):
            left += sum(found.taken[d.name] for d in quarter.deliveries if d.lot == lot and d.arrives == t)
            left -= period.hours * found.rates[t, k]
            assert found.stocks[t, k] == pytest.approx(left, abs=0.1)
            assert stock.least - 0.1 <= left <= stock.most + 0.1
    np.testing.assert_allclose(found.rates.sum(axis=1), 110.0, atol=1e-6)
    assert found.taken["Fenholt, ship"] == 80000.0  # firm
    assert found.taken["Tolven, ship"] in (0.0, 36000.0)  # whole
    assert (found.readings["feed.assay.As"] <= 0.18 * (1 + 1e-6)).all()
    fed = found.rates > 1e-6
    assert (found.rates[fed] >= 5.0 - 1e-6).all()


def test_a_worth_is_what_a_plan_solved_again_brings(case: Case, found: Schedule, quarter: Plan) -> None:
    (limit, t), worth = next((one, w) for one, w in found.limit_worth.items() if one[1] == 0)
    wider = dataclasses.replace(limit, bound=limit.bound + 1e-4)
    held = [*quarter.limits, Held(wider, t)]
    others = [Held(limit, k) for k in range(len(quarter.periods)) if k != t]
    held = [h for h in held if h.limit != limit] + others
    again = plan(case, dataclasses.replace(quarter, limits=tuple(held)), late=False)
    assert (again.value - found.value) / 1e-4 == pytest.approx(worth, rel=0.05)


def test_a_late_ship_costs_what_the_plan_with_it_late_lacks(
    case: Case, found: Schedule, quarter: Plan
) -> None:
    names = [d.name for d in quarter.deliveries]
    ship = "Fenholt, ship"
    again = plan(case, quarter.later(names.index(ship)), late=False)
    assert found.late[ship].costs == pytest.approx(found.value - again.value, rel=0.05, abs=100.0)
    assert found.late[ship].costs > 1000.0
    broken = found.late["Marrick Dale, by rail"]
    assert math.isnan(broken.costs)
    assert any("3,000 t" in text for text in broken.conflict)
    assert not any("oxygen" in text or "March" in text for text in broken.conflict)


def test_a_step_curve_falls_and_holds_the_plan(found: Schedule, quarter: Plan) -> None:
    for one in quarter.deliveries:
        steps = found.curves[one.name]
        assert [s.price for s in steps] == sorted(s.price for s in steps)
        tonnes = [s.tonnes for s in steps]
        assert tonnes == sorted(tonnes, reverse=True)
        at_price = next(s.tonnes for s in steps if found.costs[one.name] <= s.price)
        assert at_price == pytest.approx(found.taken[one.name], abs=10.0)
    assert {s.tonnes for s in found.curves["Tolven, ship"]} <= {0.0, 36000.0}


def test_what_cannot_be_kept_is_named(case: Case, quarter: Plan) -> None:
    stocks = {**quarter.stocks, "Tolven": dataclasses.replace(quarter.stocks["Tolven"], end=50000.0)}
    none = plan(case, dataclasses.replace(quarter, stocks=stocks))
    assert not none.feasible
    assert list(none.conflict) == ["Tolven: at least 50,000 t of it at the end of March"]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('arrives = "February"', 'arrives = "Febuary"', 'did you mean "February"'),
        ('lot = "Tolven"', 'lot = "Tolvern"', 'did you mean "Tolven"'),
        ('start = "45000 t"', 'start = "-45000 t"', "stock.Fenholt.start"),
        ("days = 28", "days = 0", "no day on which"),
        ('stopped = "3 d"', 'stopped = "30 d"', "no day on which"),
        ('name = "Tolven, ship"', 'name = "Fenholt, ship"', "given twice"),
        ('name = "February"', 'name = "January"', "given twice"),
        ('tonnes = "36000 t"', "", "needs tonnes"),
        ("bins = 3", "bins = 0", "whole number"),
        ('in = "March"', 'in = "Mai"', "no period has this name"),
        ('least = "3000 t"', 'least = "99000 t"', "is more than most"),
        ("whole = true", 'whole = "yes"', "true or false"),
        ('reading = "feed.assay.As"', 'reading = "feed.asay.As"', "feed.a"),
        ("copper_price", "coper_price", 'did you mean "copper_price"'),
    ],
)
def test_what_is_wrong_is_said_with_its_line(case: Case, old: str, new: str, says: str) -> None:
    with pytest.raises(CaseError) as caught:
        load_plan(case, QUARTER.read_text(encoding="utf-8").replace(old, new, 1))
    assert says in str(caught.value)
    assert str(caught.value).startswith("text:")


def test_the_command_its_files_and_its_exit_codes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = {kind: tmp_path / f"plan.{kind}" for kind in ("html", "xlsx", "json")}
    line = [
        "plan",
        str(SKERRY),
        str(QUARTER),
        *(w for kind, file in files.items() for w in (f"--{kind}", str(file))),
    ]
    assert main(line) == 0
    out = capsys.readouterr().out
    assert all(len(row) <= 80 for row in out.splitlines())
    assert "a period late costs" in out and "breaks the plan" in " ".join(out.split())
    answer = json.loads(files["json"].read_text())
    assert answer["feasible"] and answer["parcels"]["Fenholt, ship"]["late"]["costs"] > 0
    assert files["html"].read_text(encoding="utf-8").count("drawing-stocks") >= 1
    assert files["xlsx"].stat().st_size > 3000
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(QUARTER.read_text(encoding="utf-8").replace('most = "0.18 %"', 'most = "0.05 %"'))
    assert main(["plan", str(SKERRY), str(wrong)]) == 1
    assert "be kept" in " ".join(capsys.readouterr().out.split())
    assert main(["plan", str(SKERRY), str(tmp_path / "nowhere.toml")]) == 2
