"""``concentrate.*.rate``: all concentrates in proportion, wherever the key of a setting is taken."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import pyrobal
from pyrobal.case.load import Case, load_case
from pyrobal.errors import CaseError
from pyrobal.studies.aim import aimed, aiming
from pyrobal.studies.sensitivity import sensitivity
from pyrobal.studies.spread import spreads
from pyrobal.studies.sweep import sweep
from pyrobal.studies.tangent import tangent
from pyrobal.studies.uncertainty import uncertainty
from pyrobal.studies.variable import find

SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"
KEY = "concentrate.*.rate"


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(SKERRY)


@pytest.fixture(scope="module")
def shares() -> Case:
    """The same blend by shares of the charge."""
    text = SKERRY.read_text(encoding="utf-8").replace("[charge]", '[charge]\nrate = "110 t/h"')
    for rate in (55, 38, 17):
        text = text.replace(f'rate = "{rate} t/h"', f'share = "{rate / 1.1!r} %"', 1)
    return load_case(text)


def test_with_shares_it_is_the_rate_of_the_charge(shares: Case, case: Case) -> None:
    assert load_case(shares.text, [f"{KEY}=+15 %"]).inputs.charge.rate == pytest.approx(126.5 / 3.6)
    over = {KEY: "90:110 t/h:2"}
    by_share, by_rate = (sweep(one, over, ["smelting.matte.rate"]) for one in (shares, case))
    assert by_share["smelting.matte.rate"] == pytest.approx(by_rate["smelting.matte.rate"], rel=1e-9)
    same = sweep(shares, {KEY: "-10 %:+10 %:2"}, ["feed.dry_rate"])
    assert same["feed.dry_rate"] == pytest.approx([99.0, 121.0])


@pytest.mark.parametrize(
    ("value", "rate"), [("+15 %", 126.5), ("-10 %", 99.0), ("120 t/h", 120.0), ("30 kg/s", 108.0)]
)
def test_set(value: str, rate: float) -> None:
    base = load_case(SKERRY).inputs
    moved = load_case(SKERRY, [f"{KEY}={value}"])
    factor = rate / 110.0
    for c, before in zip(moved.inputs.concentrate, base.concentrate, strict=True):
        assert c.rate is not None
        assert before.rate is not None
        assert c.rate[0] == pytest.approx(factor * before.rate[0], rel=1e-12)
    assert pyrobal.balance(moved)["feed.dry_rate"].magnitude == pytest.approx(rate)


def test_set_after_another_rate_moves_what_that_has_set() -> None:
    moved = load_case(SKERRY, ["concentrate.Fenholt.rate=0 t/h", f"{KEY}=100 t/h"])
    assert float(moved.inputs.concentrate[0].rate[0]) == 0.0  # type: ignore[index]
    assert pyrobal.balance(moved)["feed.dry_rate"].magnitude == pytest.approx(100.0)


@pytest.mark.parametrize(
    ("value", "says"),
    [("12 MW", "is a power"), ("much", "does not begin with a number"), ("-10 t/h", "negative")],
)
def test_what_is_wrong_is_said(value: str, says: str) -> None:
    with pytest.raises(CaseError, match=says):
        load_case(SKERRY, [f"{KEY}={value}"])


def test_sweep_over_totals_and_signed_shares(case: Case) -> None:
    table = sweep(case, {KEY: "99:121 t/h:3"}, ["feed.dry_rate", "feed.assay.Cu"])
    assert table["feed.dry_rate"] == pytest.approx([99.0, 110.0, 121.0])
    assert np.ptp(table["feed.assay.Cu"]) < 1e-12
    same = sweep(case, {KEY: "-10 %:+10 %:3"}, ["feed.dry_rate"])
    assert same["feed.dry_rate"] == pytest.approx([99.0, 110.0, 121.0])


def test_aim_by_it(case: Case) -> None:
    """Oxygen for the charge goes with the charge, of which the reverts are no part."""
    met = pyrobal.balance(aimed(case, aiming(case, "feed.dry_rate=123 t/h", f"{KEY}=80 t/h:150 t/h")))
    assert met["feed.dry_rate"].magnitude == pytest.approx(123.0)


def test_slope_is_the_sum_over_concentrates_by_their_shares(case: Case) -> None:
    rates = [find(case.inputs, f"concentrate.{c.name}.rate") for c in case.inputs.concentrate]
    read = ["smelting.matte.rate", "smelting.fuel_heat"]
    single = tangent(case.inputs, rates, read).slopes[0]
    share = np.array([float(r.value(case.inputs)[0]) for r in rates])  # type: ignore[index]
    whole = tangent(case.inputs, [find(case.inputs, KEY)], read).slopes[0, 0]
    np.testing.assert_allclose(whole, share @ single / share.sum(), rtol=1e-10)


def test_vary_takes_the_place_of_the_usual_error_of_each_rate(case: Case) -> None:
    stated = spreads(case, {KEY: "+-2 % rel"})
    found = uncertainty(case, ["feed.dry_rate"], stated, samples=64)
    assert found.scatter["feed.dry_rate"].deviation == pytest.approx(2.2, rel=0.1)
    assert [s.name for s in found.sources].count(KEY) == 1


def test_sensitivity_speaks_of_the_blend_and_its_grade(case: Case) -> None:
    effects = {
        e.setting: e
        for e in sensitivity(case, ["smelting.matte.rate"], ["concentrate"])["smelting.matte.rate"]
    }
    rate = effects[KEY]
    assert (rate.value, rate.unit) == (pytest.approx(110.0), "t/h")
    assert rate.change / rate.step == pytest.approx(
        pyrobal.balance(case)["smelting.matte.rate"].magnitude / 110.0, rel=0.1
    )
    grade = pyrobal.balance(case)["feed.assay.Cu"].magnitude
    assert effects["concentrate.*.assay.Cu"].value == pytest.approx(grade, rel=1e-9)
