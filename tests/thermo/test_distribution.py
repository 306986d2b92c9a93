"""Distribution ratios: exponents from potentials and formulas, the survey at the reference, directions."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.arrays import FloatN
from pyrobal.plant.smelting.equilibrium import Constants, Potentials, potentials
from pyrobal.plant.smelting.minors import REFERENCE_SLAG
from pyrobal.streams.deportment import read_table
from pyrobal.thermo import distribution
from pyrobal.thermo.elements import composition

GRADES = np.array([0.50, 0.62, 0.70, 0.76])


def at(grade: FloatN, model: str = "goto", p_so2: float = 30e3) -> Potentials:
    """Potentials over Cu2S-FeS matte of a grade, at one SO2 pressure over one slag."""
    n = np.ones(len(grade))
    k = Constants.at(1523.15 * n)
    return potentials(k, *distribution.matte_fractions(grade), 0.5 * n, p_so2 * n, model)


def law(slag: str, matte: str, p: Potentials) -> FloatN:
    """ln L but for a constant, by the mass action law of MeS_s + o/2 O2 = MeO_o + s/2 S2."""
    oxide, sulfide = composition(slag), composition(matte)
    (metal,) = oxide.keys() - {"O"}
    o, s = oxide["O"] / oxide[metal], sulfide.get("S", 0.0) / sulfide[metal]
    return o / 2 * p.log_po2 - s / 2 * p.log_ps2


@pytest.mark.parametrize("model", ["goto", "ionic"])
@pytest.mark.parametrize(
    ("element", "slag", "matte"),
    [
        ("Pb", "PbO", "PbS"), ("Zn", "ZnO", "ZnS"), ("Ni", "NiO", "NiS"), ("Co", "CoO", "CoS"),
        ("Cd", "CdO", "CdS"),
        ("Sb", "Sb2O3", "Sb"),
    ],
)  # fmt: skip
def test_the_ratio_moves_as_the_mass_action_law_at_the_potentials_of_the_furnace(
    element: str, slag: str, matte: str, model: str
) -> None:
    here, reference = at(GRADES, model), at(np.array([distribution.REFERENCE_GRADE]), model)
    by_law = np.exp(law(slag, matte, here) - law(slag, matte, reference))
    ratio, exponent = distribution.ratios((element,), {})
    oxygen = distribution.oxygen_over_reference(*distribution.matte_fractions(GRADES), model)
    moved = distribution.at_oxygen(ratio, exponent, oxygen)[:, 0] / ratio[0, 0]
    np.testing.assert_allclose(moved, by_law, rtol=1e-9)
    np.testing.assert_allclose(oxygen, np.exp(here.log_po2 - reference.log_po2), rtol=1e-9)


def test_exponents() -> None:
    lines = distribution.read_ratios()
    assert {e: lines[e].exponent for e in ("Pb", "Zn", "Ni", "Co", "Sb", "As", "Bi")} == {
        "Pb": 1.5, "Zn": 1.5, "Ni": 1.5, "Co": 1.5, "Sb": 0.75, "As": 0.0, "Bi": 0.0,
    }  # fmt: skip


def test_sulfur_dioxide_alone_moves_nothing_that_is_held_as_sulfide() -> None:
    """PbS + FeO = PbO + FeS holds no gas."""
    lean, rich = (law("PbO", "PbS", at(GRADES, p_so2=p)) for p in (10e3, 60e3))
    np.testing.assert_allclose(lean, rich, rtol=1e-12)


@pytest.mark.parametrize("element", distribution.read_ratios())
def test_at_the_reference_the_ratios_give_the_shares_of_the_survey(element: str) -> None:
    survey = read_table("smelting").shares[element]
    ratio, _ = distribution.ratios((element,), {})
    assert ratio[0, 0] * REFERENCE_SLAG * survey["matte"] == pytest.approx(survey["slag"], rel=0.01)


RISES, FALLS, STAYS = 1, -1, 0
USBM = "USBM RI 8655: silica-saturated slag, 1250 degC"
EXCHANGE = "algebra: MeS + FeO = MeO + FeS, of which a(FeS) falls as the grade rises"
# Direction of slag over matte as the grade rises.
PUBLISHED = [
    ("Sb", RISES, f"{USBM}: Sb to matte falls"),
    ("As", STAYS, f"{USBM}: As unchanged"),
    ("Bi", STAYS, f"{USBM}: Bi in slag unaffected"),
    ("Se", FALLS, f"{USBM}: Se to matte rises"),
    ("Te", FALLS, f"{USBM}: Te in slag falls slightly"),
    ("Au", FALLS, "Chen et al. 2020, Metall. Mater. Trans. B: matte over slag of Au rises"),
    ("Pb", RISES, f"{EXCHANGE}; slag surveys likewise, from memory"),
    ("Zn", RISES, f"{EXCHANGE}; slag surveys likewise, from memory"),
    ("Ni", RISES, f"{EXCHANGE}; slag surveys likewise, from memory"),
    ("Co", RISES, f"{EXCHANGE}; slag surveys likewise, from memory"),
    ("Cd", RISES, f"{EXCHANGE}; no survey seen"),
    ("Ag", STAYS, "no direction published for silicate slag was seen: the ratio is held"),
]


@pytest.mark.parametrize(("element", "direction", "source"), PUBLISHED, ids=[row[0] for row in PUBLISHED])
def test_direction_in_iron_silicate_slag(element: str, direction: int, source: str) -> None:
    found = _ratios(element, {})
    assert np.all(np.sign(np.diff(found)) == direction), source


def test_every_element_of_the_table_has_its_direction() -> None:
    assert {element for element, *_ in PUBLISHED} == set(distribution.read_ratios())


@pytest.mark.parametrize("element", ["As", "Bi"])
def test_calcium_ferrite_slag_is_a_matter_of_the_exponent(element: str) -> None:
    """As, Sb, Bi, Pb of calcium ferrite slag rise with oxygen pressure (Takeda & Itagaki, 1250 degC)."""
    own = {element: {"exponent": np.array([distribution.exchange_exponent(1.5, 0)])}}
    assert np.all(np.diff(_ratios(element, own)) > 0)


def _ratios(element: str, own: distribution.Ratios) -> FloatN:
    oxygen = distribution.oxygen_over_reference(*distribution.matte_fractions(GRADES), "goto")
    return distribution.at_oxygen(*distribution.ratios((element,), own), oxygen)[:, 0]
