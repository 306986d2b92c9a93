"""Minor elements of the furnace: ratios kept, shares that follow from masses, gas and the user's own."""

from __future__ import annotations

import numpy as np
import pytest
from plants import ORDINARY, plant

from pyrobal.case.load import load_case
from pyrobal.errors import CaseError
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.plant.smelting.minors import VOLATILE, Minors, Seen
from pyrobal.readings.assay import element_share
from pyrobal.thermo import distribution

GRADES = np.array([0.62, 0.70])


def furnace(**settings: object) -> Results:
    return solve(plant(ORDINARY, close_heat_with="nothing", **{"matte_grade": GRADES, **settings}))


def ratio(r: Results, element: str) -> np.ndarray:
    return element_share(r.smelting.slag, element) / element_share(r.smelting.matte, element)


def to_outlets(r: Results, element: str) -> np.ndarray:
    """(3, N) shares of what leaves with matte, slag, and gas and dust."""
    s = r.smelting
    off = s.gas.element(element) + s.dust.element(element)
    parts = np.stack([s.matte.element(element), s.slag.element(element), off])
    return parts / parts.sum(axis=0)


@pytest.mark.parametrize("element", distribution.read_ratios())
def test_streams_hold_the_ratio(element: str) -> None:
    r = furnace()
    oxygen = distribution.oxygen_over_reference(*distribution.matte_fractions(GRADES), "goto")
    expected = distribution.at_oxygen(*distribution.ratios((element,), {}), oxygen)[:, 0]
    np.testing.assert_allclose(ratio(r, element), expected, rtol=1e-8)


def test_shares_differ_between_matte_grades() -> None:
    r = furnace()
    for element in ("Pb", "Zn", "Ni", "Co", "Sb"):  # slag takes more, by ratio and by mass
        matte, slag, _ = to_outlets(r, element)
        assert slag[1] > 1.1 * slag[0] and matte[1] < matte[0], element
    for element in ("As", "Bi"):  # ratio unchanged, but more slag and less matte
        assert (
            np.ptp(ratio(r, element)) < 1e-9 and to_outlets(r, element)[1, 1] > to_outlets(r, element)[1, 0]
        )


@pytest.mark.parametrize("element", VOLATILE)
def test_more_gas_per_tonne_carries_more_fume(element: str) -> None:
    r = furnace(matte_grade=0.62, enrichment=np.array([0.8, 0.35]))
    matte, _, fume = to_outlets(r, element)
    assert fume[1] > fume[0]
    assert (fume / matte)[1] > 1.2 * (fume / matte)[0]


@pytest.mark.parametrize("element", ["Ni", "Co", "Au", "Ag"])
def test_what_does_not_evaporate_knows_no_gas(element: str) -> None:
    r = furnace(matte_grade=0.62, enrichment=np.array([0.8, 0.35]), dust_return=0.0)
    fume = to_outlets(r, element)[2]
    assert fume[1] == pytest.approx(fume[0], rel=1e-9)


def test_own_ratio_and_own_shares() -> None:
    own = furnace(distribution={"Pb": {"slag_matte": np.array([0.5]), "exponent": np.array([0.0])}})
    np.testing.assert_allclose(ratio(own, "Pb"), 0.5, rtol=1e-8)
    fixed = furnace(deportment={"Pb": {"matte": np.array([0.7]), "slag": np.array([0.3])}})
    np.testing.assert_allclose(to_outlets(fixed, "Pb")[:2].T, [[0.7, 0.3]] * 2, rtol=1e-9)


def test_written_in_a_case() -> None:
    case = load_case("cases/skerry_point.toml", ["smelting.distribution.Pb.slag_matte=0.4"])
    assert ratio(solve(case.inputs), "Pb")[0] == pytest.approx(
        0.4 * 1.129, rel=2e-3
    )  # a(FeS) .1913 at 62 %, .1694 at 64 %


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ("smelting.distribution.Pb.slag_mate=0.4", "slag_matte"),
        ("smelting.distribution.Pd.slag_matte=0.4", "Pb"),
        ("smelting.distribution.Pb.slag_matte=-1", "too low"),
        ("smelting.distribution.Pb.exponent=9", "too high"),
        ("smelting.distribution.Pb.slag_matte=4 t/h", "4 t/h"),
    ],
)
def test_bad_ratios_are_refused(wrong: str, says: str) -> None:
    with pytest.raises(CaseError, match=says):
        load_case("cases/skerry_point.toml", [wrong])


def test_ratio_beside_own_shares_is_refused() -> None:
    both = ["smelting.distribution.Pb.slag_matte=0.4", "smelting.deportment.Pb.matte=60 %"]
    with pytest.raises(CaseError, match="excludes"):
        load_case("cases/skerry_point.toml", [*both, "smelting.deportment.Pb.slag=40 %"])


def test_shares_are_of_masses_times_ratios() -> None:
    """A mole fed: what is carried out as dust before the rest parts, none of it put back."""
    one, held = np.ones((1, 1)), np.array([[0.04]])
    carried, fume = held / (1.0 - held), np.array([[0.2]])
    minor = Minors(
        elements=("As",), charge=one, silica=None, lime=None, ratio=np.array([[0.5]]), exponent=None,
        grade_model="goto", fume_matte=fume, carried=carried, dusty=0.0 * one, leaving=1.0 + carried,
        with_fume=(1.0 + carried) * fume, fields={}, worth={},
    )  # fmt: skip
    seen = Seen(np.zeros(1), np.zeros(1), GRADES[:1], np.ones(1), np.ones(1))
    out = {outlet: amount[0, 0] for outlet, amount in minor.amounts(seen).items()}
    matte, in_slag, vapour = (out[outlet] for outlet in ("matte", "slag", "gas"))
    assert out["dust"] == pytest.approx(held[0, 0])
    assert matte + in_slag + vapour + held[0, 0] == pytest.approx(1.0)
    assert in_slag / matte == pytest.approx(0.5) and vapour / matte == pytest.approx(0.2)
