"""Invented days against the balance: what was put in is found again."""

from __future__ import annotations

import functools
import tempfile
from pathlib import Path

import numpy as np
import pytest
from measurements import CASE, TRUTH, days
from measurements import demo as demo_days

from pyrobal import units
from pyrobal.case.load import Case, load_case
from pyrobal.errors import CaseError
from pyrobal.report.reconcile.words import verdict
from pyrobal.studies.reconcile.reconciliation import Reconciliation, reconcile

DEMO = "cases/skerry_point_days.csv"
FITTED = ("smelting.heat_loss", "smelting.air_in_leakage", "smelting.magnetite_over_equilibrium", "smelting.slag_entrained_matte")  # fmt: skip


@functools.cache
def case() -> Case:
    return load_case(CASE)


@functools.cache
def demo() -> Reconciliation:
    with tempfile.TemporaryDirectory() as folder:
        return reconcile(case(), demo_days().write(Path(folder) / "days.csv"), fit=FITTED)


def test_the_demo_finds_the_meter_the_assay_and_the_day():
    found = demo()
    assert found.settled and not found.before.passes and found.after.passes
    assert [one.column.key for one in found.instruments if one.off] == ["smelting.oxygen.industrial"]
    (assay,) = found.outliers
    assert assay.period == "day 17"
    named = {assay.column.key, *assay.alike}
    assert "concentrate.Fenholt.assay.S" in named and all(key.endswith(".assay.S") for key in named)
    assert "day 9" in found.measured.aside
    assert verdict(found).startswith("29 days: consistent but for smelting.oxygen.industrial, which reads 3.")


def test_fitted_settings_are_those_the_days_were_made_with():
    for one in demo().settings:
        assert abs(one.value[0] - TRUTH[one.key]) < 3.0 * one.deviation[0], one.key
        assert one.deviation[0] < 0.1 * one.value[0]


def test_the_accounts_close_after_and_not_before():
    for account in demo().accounts:
        assert abs(account.unaccounted_after) < 1e-9 * account.fed
        assert abs(account.unaccounted) > 1e-6 * account.fed


def test_tuning_predicts_days_it_has_not_seen():
    told = {p.column.key: p for p in demo().predictions}
    assert told["smelting.fuel"].after < 0.3 * told["smelting.fuel"].before
    assert told["smelting.slag.copper"].after < 0.5 * told["smelting.slag.copper"].before


def test_one_reading_is_met_by_one_fitted_setting(tmp_path: Path):
    """To a thousandth of its deviation, which is where the search ends; then nothing is left to check it."""
    file = tmp_path / "day.toml"
    file.write_text('[measured]\n"smelting.fuel" = "700 +- 30 Nm3/h"\n', encoding="utf-8")
    found = reconcile(case(), file, fit=["smelting.heat_loss"])
    assert found.before.freedom == 0
    column = found.measured.columns[0]
    assert abs(found.adjusted.reconciled[0, 0] - column.values[0]) < 1e-3 * column.deviation[0]


def test_what_the_data_do_not_determine_is_said_in_words(tmp_path: Path):
    file = tmp_path / "day.toml"
    file.write_text('[measured]\n"smelting.oxygen.industrial" = "21000 +- 200 Nm3/h"\n', encoding="utf-8")
    with pytest.raises(CaseError) as caught:
        reconcile(case(), file, fit=["smelting.oxygen_efficiency", "smelting.magnetite_over_equilibrium"])
    said = str(caught.value)
    assert "fits as well" in said and "would help most" in said
    with pytest.raises(CaseError, match="do not determine"):
        reconcile(case(), file, fit=["dryer.efficiency"])


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"fit": ["smelting.heat_los"]}, "did you mean"),
        ({"fit": ["smelting.heat_loss=20 MW:10 MW"]}, "empty range"),
        ({"fit": ["smelting.heat_loss=20 MW"]}, "not LOW:HIGH"),
        ({"fit": ["smelting.slag_copper"]}, "holds no number"),
        ({"fit": ["smelting.enrichment"]}, "is a column"),
        ({"fit": ["smelting.heat_loss"], "each": ["smelting.heat_loss"]}, "one value for all periods"),
    ],
)
def test_what_cannot_be_fitted_is_refused(options: dict[str, list[str]], said: str):
    with pytest.raises(CaseError, match=said):
        reconcile(case(), DEMO, **options)


def test_a_setting_of_each_day_is_found_day_by_day(tmp_path: Path):
    losses = np.linspace(15e6, 18e6, 4)
    made = days(4, seed=2, truth={**TRUTH, "smelting.heat_loss": losses})  # type: ignore[dict-item]
    found = reconcile(case(), made.write(tmp_path / "days.csv"), each=["smelting.heat_loss"], fit=FITTED[1:])
    one = found.each[0]
    assert (np.abs(one.value - losses) < 3.5 * one.deviation).all() and (one.deviation < 3e6).all()


def test_a_setting_at_an_end_of_its_range_is_held_there(tmp_path: Path):
    made = days(4, seed=3)
    found = reconcile(
        case(), made.write(tmp_path / "days.csv"), fit=["smelting.heat_loss=10 MW:15 MW", *FITTED[1:]]
    )
    assert found.settings[0].held and found.settings[0].value[0] == pytest.approx(15e6)


def test_a_large_error_counts_less_with_hubers_loss(tmp_path: Path):
    made = days(6, seed=7, truth={k: TRUTH[k] for k in FITTED})
    made.values["smelting.gas.flow_dry"][2] *= 1.3
    file = made.write(tmp_path / "days.csv")
    plain, robust = (reconcile(case(), file, fit=FITTED, loss=loss) for loss in ("squares", "huber"))
    assert robust.settled and plain.settled
    assert {o.column.key for o in plain.outliers} == {"smelting.gas.flow_dry"}
    assert abs(robust.settings[0].value[0] - TRUTH[FITTED[0]]) < 4 * robust.settings[0].deviation[0]


def test_a_bad_day_spoils_no_other(tmp_path: Path):
    made = days(4, seed=5)
    made.values["smelting.matte.grade"][1] = 90.0
    found = reconcile(case(), made.write(tmp_path / "days.csv"), fit=FITTED)
    assert found.periods == ("day 1", "day 3", "day 4") and "no balance" in found.measured.aside["day 2"]


def test_a_change_of_stock_is_in_the_account(tmp_path: Path):
    made = days(3, seed=6)
    file = Path(made.write(tmp_path / "days.csv"))
    lines = file.read_text(encoding="utf-8").splitlines()
    added = [",stock.matte [t],stock.matte.assay.Cu [%]", ",,", *[",24,60"] * 3]
    file.write_text("\n".join(a + b for a, b in zip(lines, added, strict=True)), encoding="utf-8")
    found = reconcile(case(), file, fit=FITTED)
    copper = next(a for a in found.accounts if a.element == "Cu")
    line = next(x for x in copper.lines if x.name == "stock of matte")
    assert line.raw * 3.6 == pytest.approx(0.6)  # 24 t of 60 % in a day
    assert copper.unaccounted_after * 3.6 == pytest.approx(-0.6)


@pytest.mark.slow
def test_ten_furnaces_are_found_within_their_errors(tmp_path: Path):
    """Ten data sets of eight days: fitted settings within their 95 % intervals, no false alarm in most."""
    inside, alarms = [], 0
    for seed in range(10):
        made = days(8, seed=100 + seed, truth={k: TRUTH[k] for k in FITTED})
        found = reconcile(case(), made.write(tmp_path / "days.csv"), fit=FITTED)
        inside += [abs(s.value[0] - TRUTH[s.key]) < 1.96 * s.deviation[0] for s in found.settings]
        alarms += bool(found.outliers) or any(i.off for i in found.instruments)
    assert sum(inside) >= 34  # of 40: fewer come by chance once in 100
    assert alarms <= 2  # of 10 at 5 %: more come by chance once in 90


@pytest.mark.slow
def test_five_biased_meters_are_found(tmp_path: Path):
    """Five deviations on the weights of matte of eight days, which no fitted setting takes up."""
    for seed in range(5):
        made = days(8, seed=200 + seed, truth={k: TRUTH[k] for k in FITTED})
        off = 5.0 * made.deviation["smelting.matte.rate"]
        made.values["smelting.matte.rate"] += units.display(off, "t/h")
        found = reconcile(case(), made.write(tmp_path / "days.csv"), fit=FITTED)
        one = next(i for i in found.instruments if i.column.key == "smelting.matte.rate")
        named = [i for i in found.instruments if i.off and (i is one or one.column.key in i.alike)]
        assert named, seed
        assert abs(one.bias - off) < 4.0 * one.deviation


def test_all_concentrates_together_may_be_measured(tmp_path: Path):
    """The weigher of the whole blend in place of one for each lot; both at once contradict each other."""
    made = days(3, seed=9)
    lots = [key for key in made.values if key.endswith(".rate") and key.startswith("concentrate.")]
    for table in (made.values, made.unit, made.deviation):
        table["concentrate.*.rate"] = table[lots[0]]
    made.values["concentrate.*.rate"] = sum(made.values[key] for key in lots)
    file = made.write(tmp_path / "both.csv")
    with pytest.raises(CaseError, match="in proportion; use one"):
        reconcile(case(), file, fit=FITTED)
    found = reconcile(case(), file, fit=FITTED, drop=lots)
    i = [c.key for c in found.found.problem.measured.columns].index("concentrate.*.rate")
    assert found.adjusted.reconciled[:, i] * 3.6 == pytest.approx(made.values["concentrate.*.rate"], rel=0.02)
