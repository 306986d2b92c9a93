"""Textbook beds, absorbers and tail gases, each stated as a case file and run through the public door."""

from __future__ import annotations

import functools

import pytest
from checks import Check, listing

import pyrobal

PLANT = "Acid plant alone"
KING = (
    "King, Davenport & Moats 2013, Sulfuric Acid Manufacture, heat-up paths and intercepts of a 3-1 plant "
    "(from memory)"
)
SVNA = "Smith, Van Ness & Abbott, Introduction to Chemical Engineering Thermodynamics, problem (from memory)"
STOICHIOMETRY = "stoichiometry, molar masses of the elements by hand"
AS_STATED = "printed to so many digits"


@functools.cache
def balance(gas: str, plant: str) -> pyrobal.Result:
    return pyrobal.balance(pyrobal.load_case(f"title = 'x'\n[acid_feed]\n{gas}\n[acid_plant]\n{plant}\n"))


def read(gas: str, plant: str, key: str) -> float:
    return float(balance(gas, plant)[key].magnitude)


TEXTBOOK = """flow = "100000 Nm3/h"
so2 = "10 %"
o2 = "11 %"
saturated_at = "dry" """
TO_EQUILIBRIUM = "\n".join(
    [
        'beds = "3/1"', 'pressure = "120 kPa"', 'absorption = "100 %"',
        *(f'bed_{k}_approach = "0 K"' for k in range(1, 5)),
        *(f'bed_{k}_inlet = "{T - 273.15:.2f} degC"' for k, T in enumerate((690, 700, 710, 690), start=1)),
    ]
)  # fmt: skip


def beds() -> list[Check]:
    """10 SO2, 11 O2, 79 N2 at 1.2 bar, beds entered at 690, 700, 710 and 690 K, SO3 gone after the third."""
    lines = "the book draws straight lines for H and dG; tables here, as the check against NASA shows"
    found = []
    for k, (share, tolerance) in enumerate(((69.2, 0.4), (94.2, 0.2), (98.0, 0.1), (99.98, 0.005)), start=1):
        ours = read(TEXTBOOK, TO_EQUILIBRIUM, f"acid.bed.{k}.conversion")
        found.append(Check(PLANT, f"oxidised after bed {k}", KING, share, ours, "%", tolerance, lines))
    return found


BURNER = """flow = "10000 Nm3/h"
so2 = "{so2} %"
o2 = "{o2} %"
saturated_at = "dry" """
ONE_BED = """catalyst = "ideal"
bed_1_inlet = "25 degC"
bed_1_approach = "0 K"
pressure = "100 kPa" """


def burner() -> list[Check]:
    """One mole SO2 with 20 % more air than it takes, from 25 degC to adiabatic equilibrium at 1 bar."""
    air = 0.5 * 1.2 / 0.21
    gas = BURNER.format(so2=100 / (1 + air), o2=21 * air / (1 + air))
    why = "heat capacities and K of another set of tables, at a slope of 3 K per 0.01 of extent"
    T = read(gas, ONE_BED, "acid.bed.1.outlet") + 273.15
    extent = read(gas, ONE_BED, "acid.bed.1.conversion") / 100
    what = "SO2 with 20 % excess air from 25 degC, adiabatic"
    return [
        Check(PLANT, f"{what}: outlet", SVNA, 855.7, T, "K", 1.0, why),
        Check(PLANT, f"{what}: extent", SVNA, 0.77, extent, "-", 0.005, AS_STATED),
    ]


STRENGTHS = {"93": 258.9, "96": 225.3, "98.5": 198.9, "100": 183.7}


def absorbers() -> list[Check]:
    """Water for a tonne of acid, as 100 %, from dry gas: M_W / M_A + (1 - w) / w."""
    found = []
    for strength, expected in STRENGTHS.items():
        plant = f'absorption = "100 %"\ntail_mist = "0 mg/Nm3"\nstrength = "{strength} %"\n'
        water = read(TEXTBOOK, plant, "acid.dilution_water")
        ours = 1000 * 24 * water / read(TEXTBOOK, plant, "acid.production")
        what = f"water for acid of {strength} %"
        found.append(Check(PLANT, what, STOICHIOMETRY, expected, ours, "kg/t", 0.1, AS_STATED))
    return found


def tail_gases() -> list[Check]:
    """y_tail = (1 - X) y / (1 - 1.5 X y), and 653.2 (1 - X) / X kg SO2 per tonne of acid, at the X found."""
    found = []
    plant = 'absorption = "100 %"\ntail_mist = "0 mg/Nm3"\n'
    for so2 in (6, 8, 10, 12):
        gas = TEXTBOOK.replace('"10 %"', f'"{so2} %"').replace('"11 %"', f'"{1.1 * so2:g} %"')
        X, y = read(gas, plant, "acid.conversion") / 100, so2 / 100
        ppm = read(gas, plant, "acid.tail.so2")
        expected = 1e6 * (1 - X) * y / (1 - 1.5 * X * y)
        what = f"tail gas of {so2} % SO2"
        found.append(Check(PLANT, what, STOICHIOMETRY, expected, ppm, "ppm", 0.01, "rounding"))
        lost = (1 - X) * read(gas, plant, "acid.so2_load") / (read(gas, plant, "acid.production") / 24)
        what, expected = f"SO2 lost per tonne of acid from {so2} % SO2", 653.2 * (1 - X) / X
        found.append(
            Check(PLANT, what, STOICHIOMETRY, expected, 1000 * lost, "kg/t", 0.001 * expected, "53 in 653.2")
        )
    return found


def equilibrium_tail() -> list[Check]:
    """Tail gas of the four textbook beds: what is left at equilibrium in the last."""
    nasa = "NASA 7-coefficient polynomials, computed by hand bed by bed"
    ours = read(TEXTBOOK, TO_EQUILIBRIUM, "acid.tail.so2")
    return [Check(PLANT, "tail gas at equilibrium", nasa, 27, ours, "ppm", 2, "two sets of tables")]


CHECKS = [*beds(), *burner(), *absorbers(), *tail_gases(), *equilibrium_tail()]


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.what)
def test_published(check: Check) -> None:
    assert check.ok, listing([check])


def test_listing(capsys: pytest.CaptureFixture[str]) -> None:
    print(listing(CHECKS))
    assert capsys.readouterr().out.count("\n") == len(CHECKS)


def test_nothing_is_absorbed_where_nothing_is_to_be() -> None:
    none = 'absorption = "0 %"\nbeds = "4"\n'
    assert read(TEXTBOOK, none, "acid.production") == pytest.approx(0.0, abs=1e-9)
    left = read(TEXTBOOK, none, "acid.tail.so3") / read(TEXTBOOK, none, "acid.tail.so2")
    X = read(TEXTBOOK, none, "acid.conversion") / 100
    assert left == pytest.approx(X / (1 - X), rel=1e-9)
