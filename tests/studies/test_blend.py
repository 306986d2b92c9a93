"""Blend against outside answers: textbook programs, brute force over the full balance, prices re-solved."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import numpy as np
import pytest

import pyrobal
from pyrobal.arrays import FloatN
from pyrobal.case.load import Case, load_case
from pyrobal.cli import main
from pyrobal.errors import CaseError, NotSolved
from pyrobal.plant.feed import ConcentrateSettings, assay_of
from pyrobal.studies.blend import Advice, Blend, apart, blend
from pyrobal.studies.contract import Contract, Market, Payable, Penalty
from pyrobal.studies.limit import goal, limits
from pyrobal.studies.linear import Region, conflict, maximise
from pyrobal.studies.search import Model, climb
from pyrobal.studies.terms import Terms, load_terms, without_prices
from pyrobal.studies.worth import looser_end, tighter_end, worth

SKERRY = Path(__file__).parents[2] / "cases" / "skerry_point.toml"
TERMS = """
copper_price = 9200
[parcel.Fenholt]
most = "60 t/h"
payable = "96.5 %"
deduction = "1 %"
treatment = 80
refining = 180
[parcel."Marrick Dale"]
most = "70 t/h"
payable = "96.5 %"
deduction = "1 %"
treatment = 90
refining = 200
[parcel.Tolven]
most = "40 t/h"
payable = "96.5 %"
deduction = "1 %"
treatment = 140
refining = 200
penalty.As = { above = "0.2 %", step = "0.1 %", each = 3 }
[expense]
"smelting.oxygen.industrial" = 0.07
"smelting.fuel_heat" = 35
[income]
"smelting.gas.acid_equivalent" = 20
"""


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(SKERRY)


@pytest.fixture(scope="module")
def terms(case: Case) -> Terms:
    return load_terms(case, TERMS)


@pytest.fixture(scope="module")
def advice(case: Case, terms: Terms) -> Advice:
    return blend(case, terms, limits(case, ["feed.assay.As <= 0.13 %", "smelting.slag.rate <= 65 t/h"]))


# Linear programs ----------------------------------------------------------------------------------------


def test_a_textbook_blending_problem() -> None:
    """Three crudes to three gasolines with octane and sulfur limits: W. L. Winston, Operations Research:
    Applications and Algorithms, blending models, the "Sunco Oil" example; data and answer from memory."""
    price, cost, octane, sulfur = (70, 60, 50), (45, 35, 25), (12, 6, 8), (0.5, 2.0, 3.0)
    least_octane, most_sulfur, demand = (10, 8, 6), (1.0, 2.0, 1.0), (3000, 2000, 1000)
    x = np.eye(12)  # crude i in gasoline j at 3 i + j, then a_j spent to raise the demand of j by ten
    gasoline = [x[j] + x[3 + j] + x[6 + j] for j in range(3)]
    c = np.array([p - k - 4 for k in cost for p in price] + [-1] * 3, dtype=float)
    rows, bounds = [], []
    for j in range(3):
        rows += [gasoline[j] - 10 * x[9 + j], 10 * x[9 + j] - gasoline[j]]
        rows += [sum((least_octane[j] - octane[i]) * x[3 * i + j] for i in range(3))]
        rows += [sum((sulfur[i] - most_sulfur[j]) * x[3 * i + j] for i in range(3))]
        bounds += [demand[j], -demand[j], 0.0, 0.0]
    rows += [x[3 * i] + x[3 * i + 1] + x[3 * i + 2] for i in range(3)] + [sum(gasoline)]
    bounds += [5000.0] * 3 + [14000.0]
    found = maximise(c, Region.of(np.zeros(12), np.full(12, 1e6), np.array(rows), np.array(bounds)))
    assert found is not None
    assert found.value == pytest.approx(287750.0)
    assert found.x[9:].tolist() == pytest.approx([0.0, 750.0, 0.0])
    made = [float(row @ found.x) for row in gasoline]
    assert made == pytest.approx([3000.0, 9500.0, 1000.0])


def test_shadow_prices_of_a_textbook_problem() -> None:
    """Hillier & Lieberman, Introduction to Operations Research, the Wyndor Glass example: x = (2, 6), Z = 36,
    shadow prices 0, 3/2, 1; from memory."""
    A, b = np.array([[1.0, 0.0], [0.0, 2.0], [3.0, 2.0]]), np.array([4.0, 12.0, 18.0])
    found = maximise(np.array([3.0, 5.0]), Region.of(np.zeros(2), np.full(2, 100.0), A, b))
    assert found is not None
    assert found.value == pytest.approx(36.0)
    assert found.x.tolist() == pytest.approx([2.0, 6.0])
    assert found.worth.tolist() == pytest.approx([0.0, 1.5, 1.0])


def test_a_conflict_is_the_rows_that_quarrel() -> None:
    A = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [-1.0, -1.0]])
    b = np.array([1.0, -2.0, 5.0, 3.0])  # x <= 1 and x >= 2; the others take no part
    assert conflict(Region.of(np.zeros(2), np.full(2, 10.0), A, b), range(4)) == [0, 1]
    assert conflict(Region.of(np.zeros(2), np.full(2, 10.0), A[1:], b[1:]), range(3)) == []


# Successive ---------------------------------------------------------------------------------------------


@dataclasses.dataclass(frozen=True, eq=False)
class RosenSuzuki:
    """Hock & Schittkowski 1981, Test Examples for Nonlinear Programming Codes, problem 43 (Rosen & Suzuki):
    x = (0, 1, 2, -1), f = -44; two of three constraints are active, with multipliers 1 and 2 (from memory)."""

    region: Region = dataclasses.field(default_factory=lambda: Region.of(np.full(4, -3.0), np.full(4, 3.0)))

    def model(self, x: FloatN) -> Model:
        q, c = np.array([1.0, 1.0, 2.0, 1.0]), np.array([-5.0, -5.0, -21.0, 7.0])
        Q = np.array([[1, 1, 1, 1], [1, 2, 1, 2], [2, 1, 1, 0]], dtype=float)
        C = np.array([[1, -1, 1, -1], [-1, 0, 0, -1], [2, -1, 0, -1]], dtype=float)
        rooms = np.array([8.0, 10.0, 5.0]) - Q @ x**2 - C @ x
        return Model(-(q @ x**2 + c @ x), -(2 * q * x + c), rooms, -(2 * Q * x + C))


def test_a_published_nonlinear_problem() -> None:
    problem = RosenSuzuki()
    found = climb(problem, np.zeros(4))
    assert found.feasible
    assert found.model.value == pytest.approx(44.0, rel=1e-4)
    np.testing.assert_allclose(found.x, [0.0, 1.0, 2.0, -1.0], atol=0.02)
    value = worth(problem, found, near=1e-3)
    np.testing.assert_allclose(value.rooms, [1.0, 0.0, 2.0], atol=0.05)
    assert value.error < 0.01


# Terms --------------------------------------------------------------------------------------------------


def test_a_contract_by_hand() -> None:
    """28 % copper: 27 % are paid (27.02 by share, 27 by deduction), at 9200 - 180; less 80; arsenic 0.35 % is one
    and a half steps of 0.1 % above 0.2 %, at 3 each. 0.27 x 9020 - 80 - 4.5 = 2350.9."""
    paid = Payable(0.965, 0.01, 180)
    contract = Contract(copper=paid, treatment=80, penalties={"As": Penalty(0.002, 0.001, 3.0)})
    assert contract.cost_per_tonne({"Cu": 0.28, "As": 0.0035}, Market(9200)) == pytest.approx(2350.9)
    assert dataclasses.replace(contract, cost=2000.0).cost_per_tonne({"Cu": 0.28}, Market(9200)) == 2000.0


def test_gold_and_participation_by_hand() -> None:
    """9 g/t of gold, 8 by deduction and 8.73 by share: 0.008 kg at 85000 - 150. A tenth of the copper price
    above 8200 stays with the smelter: 0.27 x (9200 - 100 - 180)."""
    contract = Contract(
        copper=Payable(0.965, 0.01, 180), precious={"gold": Payable(0.97, 1e-6, 150.0)},
        participation=(8200.0, 0.1),
    )  # fmt: skip
    market = Market(9200, 85000)
    money = 0.27 * (9200 - 100 - 180) + 0.008 * (85000 - 150)
    assert contract.cost_per_tonne({"Cu": 0.28, "Au": 9e-6}, market) == pytest.approx(money)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("copper_price = 9200", "coper_price = 9200", 'did you mean "copper_price"'),
        ("copper_price = 9200", 'copper_price = "9200 t"', "money is a bare number"),
        ("[parcel.Fenholt]", "[parcel.Fenhold]", 'did you mean "Fenholt"'),
        ('most = "60 t/h"', "", "needs the most there is"),
        ('most = "60 t/h"', 'most = "60 MW"', "a mass rate is needed"),
        ('most = "60 t/h"', 'most = "60 t/h"\nleast = "70 t/h"', "is more than most"),
        ("refining = 180", "refining = 180\ncost = 2000", "stands alone"),
        ('step = "0.1 %", ', "", "needs step"),
        ('step = "0.1 %"', 'step = "0 %"', "is zero"),
        ("penalty.As", "penalty.Xx", "no line of an assay"),
        ('"smelting.fuel_heat"', '"smelting.gas.so2"', "money is per amount of a flow"),
        ('"smelting.fuel_heat"', '"smelting.fuel_het"', "did you mean"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_terms_is_said_with_its_line(case: Case, old: str, new: str, says: str) -> None:
    with pytest.raises(CaseError) as caught:
        load_terms(case, TERMS.replace(old, new, 1))
    assert says in str(caught.value)
    assert str(caught.value).startswith("text:")


# The full balance ---------------------------------------------------------------------------------------


def test_minerals_alone_are_paid_for_the_copper_they_hold() -> None:
    c = ConcentrateSettings(name="Kelda", rate=np.ones(1), minerals={"chalcopyrite": np.array([0.8])})
    assert assay_of(c)["Cu"] == pytest.approx(0.8 * 63.546 / 183.511, rel=1e-4)


def margin(case: Case, terms: Terms, rates: np.ndarray) -> np.ndarray:
    """Margin per hour of blends (N, 3), worked out from a sweep by the words of the terms alone."""
    names = ("Fenholt", "Marrick Dale", "Tolven")
    results = [
        pyrobal.balance(
            load_case(
                SKERRY, [f"concentrate.{n}.rate={r!r} t/h" for n, r in zip(names, row.tolist(), strict=True)]
            )
        )
        for row in rates
    ]
    read = {key: np.array([r[key].magnitude for r in results]) for key in (
        "feed.dry_rate", "feed.assay.Cu", "recovery.Cu", "smelting.oxygen.industrial", "smelting.fuel_heat",
        "smelting.gas.acid_equivalent",
    )}  # fmt: skip
    copper = read["feed.dry_rate"] * read["feed.assay.Cu"] / 100 * read["recovery.Cu"] / 100
    assays = {c.name: {e: float(x[0]) for e, x in c.assay.items()} for c in case.inputs.concentrate}
    costs = np.array([p.contract.cost_per_tonne(assays[p.name], terms.market) for p in terms.parcels])
    return np.asarray(
        9200 * copper - rates @ costs - 0.07 * read["smelting.oxygen.industrial"] - 35 * read["smelting.fuel_heat"]
        + 20 * read["smelting.gas.acid_equivalent"] / 24
    )  # fmt: skip


def test_the_value_is_what_the_terms_say(case: Case, terms: Terms, advice: Advice) -> None:
    rates = np.array([list(advice.best.rates.values())])
    assert advice.best.value == pytest.approx(margin(case, terms, rates)[0], rel=1e-6)
    assert advice.best.charge == pytest.approx(110.0)


def test_no_blend_of_a_fine_grid_is_better(case: Case, terms: Terms, advice: Advice) -> None:
    step = 2.0
    first, second = np.meshgrid(np.arange(0, 60.1, step), np.arange(0, 70.1, step))
    rates = np.stack([first.ravel(), second.ravel(), 110 - first.ravel() - second.ravel()], axis=1)
    rates = rates[(rates[:, 2] >= 0) & (rates[:, 2] <= 40)]
    arsenic = rates @ [0.15, 0.08, 0.35] / 110
    rates = rates[arsenic <= 0.13]
    value = margin(case, terms, rates)
    assert len(rates) > 60
    assert value.max() <= advice.best.value + 1e-6
    assert value.max() > advice.best.value - 300.0  # the grid comes near


def test_what_a_limit_is_worth_is_what_more_of_it_brings(case: Case, terms: Terms, advice: Advice) -> None:
    (arsenic,) = (limit for limit in advice.limit_worth if limit.key == "feed.assay.As")
    assert advice.limit_worth[arsenic] > 0
    wider = blend(case, terms, limits(case, ["feed.assay.As <= 0.131 %", "smelting.slag.rate <= 65 t/h"]))
    gained = (wider.best.value - advice.best.value) / 0.001
    assert advice.limit_range[arsenic].low < 0.13 < 0.131 < advice.limit_range[arsenic].high
    assert advice.limit_worth[arsenic] == pytest.approx(gained, rel=1e-3)
    assert arsenic.bound == pytest.approx(advice.best.readings["feed.assay.As"], rel=1e-6)  # it binds
    assert advice.error < 1e-6


def test_what_a_parcel_is_worth_is_what_more_of_it_brings(case: Case, terms: Terms, advice: Advice) -> None:
    bound = [name for name, value in advice.parcel_worth.items() if value > 1e-6]
    assert bound
    name = bound[0]
    more = tuple(
        dataclasses.replace(p, most=p.most + 0.5 / 3.6) if p.name == name else p for p in terms.parcels
    )
    wider = blend(case, dataclasses.replace(terms, parcels=more), list(advice.limit_worth))
    assert (wider.best.value - advice.best.value) / 0.5 == pytest.approx(advice.parcel_worth[name], rel=0.05)


def test_most_of_a_parcel_breaks_no_limit_and_runners_up_are_worse(advice: Advice) -> None:
    for name, other in {**advice.without, **advice.taking}.items():
        assert other.feasible
        assert other.value <= advice.best.value + 1e-6
        assert all(room >= -1e-6 * abs(limit.bound) for limit, room in other.rooms.items())
        assert name in advice.best.rates
    for name, other in advice.without.items():
        assert name not in other.used
    for name, other in advice.taking.items():
        assert other.rates[name] == pytest.approx(advice.most[name], rel=2e-4)
        assert advice.most[name] > advice.best.rates[name]


def test_most_copper_without_prices(case: Case) -> None:
    """All of the richest parcel where nothing stands against it; arsenic lets in only so much of it."""
    free = blend(case, without_prices(case))
    assert free.goal == "copper"
    assert free.best.rates == pytest.approx({"Fenholt": 0.0, "Marrick Dale": 0.0, "Tolven": 110.0}, abs=1e-6)
    bound = blend(case, without_prices(case), limits(case, ["feed.assay.As <= 0.2 %"]))
    share = (0.2 - 0.15) / (0.35 - 0.15)  # of Tolven, the rest Fenholt: 25 %
    assert bound.best.rates == pytest.approx(
        {"Fenholt": 110 * (1 - share), "Marrick Dale": 0.0, "Tolven": 110 * share}, abs=1e-4
    )


def test_least_of_a_reading(case: Case) -> None:
    found = blend(case, without_prices(case), (), goal(case, "min:smelting.gas.so2_load"))
    assert found.best.rates["Tolven"] == pytest.approx(110.0)  # the least sulfur


def test_nothing_feasible_names_the_nearest_and_the_quarrel(case: Case, terms: Terms) -> None:
    asked = limits(case, ["feed.assay.As <= 0.1 %", "feed.assay.Cu >= 28 %", "smelting.gas.so2 >= 5 %"])
    found = blend(case, terms, asked)
    assert not found.best.feasible
    assert any("As" in text for text in found.conflict)
    assert not any("so2" in text for text in found.conflict)
    assert found.best.rooms[asked[0]] < 0 or found.best.rooms[asked[1]] < 0


def test_parcels_that_do_not_make_up_the_charge(case: Case, terms: Terms) -> None:
    with pytest.raises(CaseError, match="do not make up a charge of 200"):
        blend(case, dataclasses.replace(terms, least_charge=200 / 3.6, most_charge=200 / 3.6))
    with pytest.raises(CaseError, match="is more than"):
        blend(case, dataclasses.replace(terms, least_charge=120 / 3.6, most_charge=100 / 3.6))


def test_no_blend_has_a_balance(case: Case) -> None:
    with pytest.raises(NotSolved, match="of no blend"):
        blend(load_case(SKERRY, ["smelting.matte_grade=90 %"]), without_prices(case))


def test_a_case_given_by_shares() -> None:
    gannet = load_case(SKERRY.with_name("gannet_rock.toml"))
    found = blend(gannet, without_prices(gannet), limits(gannet, ["feed.assay.As <= 0.16 %"]))
    assert found.best.charge == pytest.approx(150.0)
    assert found.best.rates["Ashgrove"] / 150 == pytest.approx((0.16 - 0.12) / 0.08, rel=1e-6)


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "terms.toml"
    file.write_text(TERMS)
    line = ["blend", str(SKERRY), "--terms", str(file), "--limit", "feed.assay.As<=0.13 %"]
    assert main(line) == 0
    out, _ = capsys.readouterr()
    assert all(len(row) <= 80 for row in out.splitlines())
    assert "most margin" in out and "could" in out
    words = " ".join(out.split())
    assert "binds, marginal value of 1 wt%:" in words and "per hour" in words
    assert main([*line, "--limit", "smelting.slag.rate<=40"]) == 1
    assert "cannot be met together" in " ".join(capsys.readouterr().out.split())
    for wrong in (["--best", "money"], ["--terms", "nowhere.toml"], ["--limit", "x<=1"]):
        assert main([*line, *wrong]) == 2
    assert main(["blend", str(SKERRY), "--best", "margin"]) == 2


def test_what_a_limit_is_worth_has_the_unit_of_the_goal(capsys: pytest.CaptureFixture[str]) -> None:
    line = [
        "blend",
        str(SKERRY),
        "--set",
        "concentrate.Tolven.assay.Cl=0.1",
        "--limit",
        "feed.assay.Cl<=0.02 %",
    ]
    assert main(line) == 0
    assert "feed.assay.Cl <= 0.02 wt%: 0.02 wt%, binds, marginal value of 1 wt%:" in (
        out := " ".join(capsys.readouterr().out.split())
    )
    assert "t/h of copper" in out
    assert main([*line, "--limit", "feed.assay.As<=0.0001 %"]) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "no blend of these parcels meets feed.assay.As <= 0.0001 wt%, even without the other limits" in out


def test_money_that_cannot_be_negative_is_refused(case: Case) -> None:
    with pytest.raises(CaseError, match="cannot be below 0") as caught:
        load_terms(case, TERMS.replace("9200", "-5").replace("each = 3", "each = -3"))
    assert {fault.key for fault in caught.value.faults} >= {"copper_price"}
    assert len(caught.value.faults) == 2


def test_the_charge_is_told_and_what_is_not_on_offer(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "terms.toml"
    file.write_text('[parcel.Fenholt]\nmost = "60 t/h"\n')
    assert main(["blend", str(SKERRY), "--terms", str(file), "--limit", "smelting.slag.rate<=70 t/h"]) == 0
    out = capsys.readouterr().out
    assert "charge: 110 t/h dry, that of the case" in out
    assert "kept at their rates in the case: Marrick Dale, Tolven" in out
    assert "marginal value of 1 t/h, t/h of copper" in out
    assert re.search(r"smelting\.slag\.rate <= 70 t/h: [\d.]+ t/h", out)


def test_no_blend_is_shown_twice() -> None:
    def made(a: float, b: float) -> Blend:
        return Blend({"a": a, "b": b}, a, {}, {}, feasible=True, settled=True)

    others = {
        "without a": made(0, 100),
        "again": made(0.001, 99.999),
        "best": made(60, 40),
        "new": made(20, 80),
    }
    assert list(apart(others, [made(60, 40)])) == ["without a", "new"]


# How far a worth holds ----------------------------------------------------------------------------------


@dataclasses.dataclass(frozen=True, eq=False)
class Wyndor:
    """Hillier & Lieberman, Introduction to Operations Research, the Wyndor Glass example."""

    region: Region = dataclasses.field(default_factory=lambda: Region.of(np.zeros(2), np.full(2, 100.0)))

    def model(self, x: FloatN) -> Model:
        A, b, c = (
            np.array([[1.0, 0.0], [0.0, 2.0], [3.0, 2.0]]),
            np.array([4.0, 12.0, 18.0]),
            np.array([3.0, 5.0]),
        )
        return Model(float(c @ x), c, b - A @ x, -A)


def test_allowable_ranges_of_a_textbook_problem() -> None:
    """The same book's allowable ranges: 6 <= b2 <= 18 at 3/2, 12 <= b3 <= 24 at 1; from memory. Below 6 the first
    plant is full and each hour of the second brings 5/2; below 12 only the second product is made, 5/2."""
    problem = Wyndor()
    best = climb(problem, np.zeros(2))
    assert best.model.value == pytest.approx(36.0)
    tighter, looser = (side(problem, best, 1, 1.5) for side in (tighter_end, looser_end))
    assert (12 + tighter.more, tighter.beyond) == pytest.approx((6.0, 2.5))
    assert (12 + looser.more, looser.beyond) == pytest.approx((18.0, 0.0))
    tighter, looser = (side(problem, best, 2, 1.0) for side in (tighter_end, looser_end))
    assert (18 + tighter.more, tighter.beyond) == pytest.approx((12.0, 2.5))
    assert (18 + looser.more, looser.beyond) == pytest.approx((24.0, 0.0))


def test_whole_parcels_and_what_breaks_even(case: Case, terms: Terms, advice: Advice) -> None:
    """All of one or none, against the best of the choices by hand; the price at which a parcel is left out."""
    whole = tuple(dataclasses.replace(p, whole=p.name != "Marrick Dale") for p in terms.parcels)
    found = blend(case, dataclasses.replace(terms, parcels=whole))
    choices = [np.array([[f, 110 - f - t, t]]) for f in (0.0, 60.0) for t in (0.0, 40.0) if 110 - f - t <= 70]
    by_hand = [float(margin(case, terms, rates)[0]) for rates in choices]
    assert found.best.value == pytest.approx(max(by_hand), rel=1e-6)
    assert list(found.best.rates.values()) == pytest.approx(choices[int(np.argmax(by_hand))][0].tolist())
    assert not set(found.breaks_even) & {"Fenholt", "Tolven"}
    out = [name for name, rate in advice.best.rates.items() if rate < 60 and advice.parcel_worth[name]]
    for name in out:
        price = advice.breaks_even[name]
        cheaper = tuple(
            dataclasses.replace(p, contract=Contract(price - 5)) if p.name == name else p
            for p in terms.parcels
        )
        again = blend(case, dataclasses.replace(terms, parcels=cheaper), list(advice.limit_worth))
        assert again.best.rates[name] > advice.best.rates[name] + 1


def test_a_worth_ends_at_a_kink_that_solving_again_shows(terms: Terms) -> None:
    """With dust put back as oxides the furnace burns nothing at 0.13 % arsenic and takes fuel from 0.1336 % on:
    more of the limit then brings less, although nothing else comes to bind."""
    burning = load_case(SKERRY, ["smelting.dust_sulfation=0 %"])

    def at(bound: float) -> Advice:
        return blend(burning, terms, limits(burning, [f"feed.assay.As <= {bound} %"]))

    here = at(0.13)
    (arsenic,) = here.limit_range
    span, worth = here.limit_range[arsenic], here.limit_worth[arsenic]
    kink = at(span.high)
    assert here.best.readings["smelting.fuel_heat"] == 0.0
    assert kink.best.readings["smelting.fuel_heat"] < 0.01
    assert (kink.best.value - here.best.value) / (span.high - 0.13) == pytest.approx(worth, rel=1e-3)
    past = at(span.high + 0.002)
    assert past.best.readings["smelting.fuel_heat"] > 0.1
    assert (past.best.value - kink.best.value) / 0.002 == pytest.approx(span.above, rel=1e-3)
    assert span.above < 0.96 * worth
    assert not at(span.low * 0.999).best.feasible
    assert np.isnan(span.below)


def test_a_search_in_a_pipe_says_how_far_it_is(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("pyrobal.cli.executor._EVERY", 0.2)
    assert main(["blend", str(SKERRY), "--limit", "feed.assay.As<=0.13 %"]) == 0
    out, err = capsys.readouterr()
    lines = err.splitlines()
    assert any(re.fullmatch(r"still searching: blend \d+, copper 2\d\.\d+ t/h", line) for line in lines)
    counts = [int(n) for n in re.findall(r"blend (\d+),", err)]
    assert counts == sorted(counts)
    assert "searching" not in out
    # by hand: 0.08 % is Marrick Dale alone, 0.15 % Fenholt alone, and Tolven replaces that one past it
    assert "from 0.08 to 0.15 wt% (no blend below, 17.87 t/h of copper above)" in " ".join(out.split())
