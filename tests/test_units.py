"""The closed vocabulary: every spelling, every trap.

Conversion factors are those of the SI brochure (BIPM, 9th edition 2019, tables 7 and 8: min, h, d, t) and of
CGPM/ISO 80000 definitions (1 atm = 101 325 Pa, 1 bar = 100 kPa), typed here from the definitions and not
taken from the module. The default registry of pint serves as a second, independent opinion.
"""

from __future__ import annotations

import math

import numpy as np
import pint
import pytest

from pyrobal import units
from pyrobal.factors import FACTORS

NM3 = 101_325.0 / (8.314462618 * 273.15)  # mol, from the ideal gas law

SI = {
    "-": 1.0, "%": 0.01, "wt%": 0.01, "vol%": 0.01, "ppm": 1e-6, "g/t": 1e-6, "mg/kg": 1e-6, "kg/t": 1e-3,
    "t": 1e3, "kg": 1.0, "g": 1e-3,
    "t/h": 1000 / 3600, "kg/h": 1 / 3600, "kg/s": 1.0, "t/d": 1000 / 86400,
    "t/a": 1000 / (365.25 * 86400), "kt/a": 1e6 / (365.25 * 86400),
    "Nm3": NM3, "Nm3/h": NM3 / 3600, "Nm3/min": NM3 / 60, "Nm3/s": NM3,
    "Nm3/t": NM3 / 1000, "Nm3/kg": NM3, "mg/Nm3": 1e-6 / NM3, "g/Nm3": 1e-3 / NM3,
    "mol": 1.0, "kmol": 1e3, "mol/s": 1.0, "kmol/h": 1000 / 3600,
    "degC": 274.15, "K": 1.0, "degF": 459.67 / 1.8 + 1 / 1.8,
    "kPa": 1e3, "Pa": 1.0, "MPa": 1e6, "bar": 1e5, "mbar": 100.0, "atm": 101_325.0,
    "MW": 1e6, "kW": 1e3, "W": 1.0, "GJ/h": 1e9 / 3600, "MJ/h": 1e6 / 3600,
    "GJ": 1e9, "MJ": 1e6, "kJ": 1e3, "J": 1.0, "MWh": 3.6e9, "kWh": 3.6e6,
    "MJ/t": 1e3, "MJ/kg": 1e6, "kJ/kg": 1e3, "GJ/t": 1e6, "kWh/t": 3600.0, "MWh/t": 3.6e6,
    "MJ/Nm3": 1e6 / NM3, "kJ/Nm3": 1e3 / NM3, "kJ/mol": 1e3, "J/mol": 1.0, "J/mol/K": 1.0,
    "h": 3600.0, "min": 60.0, "s": 1.0, "d": 86400.0, "h/a": 1 / 8766, "d/a": 1 / 365.25, "1/h": 1 / 3600,
    "Pa s": 1.0, "kg/m3": 1.0, "t/m3": 1e3, "m": 1.0, "mm": 1e-3, "m2": 1.0, "m3": 1.0,
    "m3/h": 1 / 3600, "m3/s": 1.0, "m/s": 1.0, "kW/m2": 1e3, "W/m2": 1.0,
    "kA": 1e3, "A": 1.0, "V": 1.0, "A/m2": 1.0,
}  # fmt: skip


def test_every_spelling_has_an_expected_value_here() -> None:
    assert set(SI) == set(units.SPELLINGS)


@pytest.mark.parametrize("spelling", SI)
def test_one_of_it_in_si(spelling: str) -> None:
    assert units.to_si(1.0, spelling) == pytest.approx(SI[spelling], rel=1e-12)


@pytest.mark.parametrize("spelling", SI)
def test_factors_are_those_of_pint(spelling: str) -> None:
    assert FACTORS[spelling] == units.asked_of_pint(spelling)


def test_no_factor_is_left_over() -> None:
    assert list(FACTORS) == list(units.SPELLINGS)


@pytest.mark.parametrize("spelling", SI)
def test_there_and_back(spelling: str) -> None:
    values = np.array([0.0, 1.0, 48.3, 1250.0])
    assert units.display(units.to_si(values, spelling), spelling) == pytest.approx(
        values, rel=1e-12, abs=1e-9
    )


@pytest.mark.parametrize("spelling", SI)
def test_read_from_text(spelling: str) -> None:
    assert units.parse(f"12.5 {spelling}", spelling) == pytest.approx(units.to_si(12.5, spelling), rel=1e-15)


@pytest.mark.parametrize(
    "spelling",
    [
        "t/h",
        "kg/h",
        "t/d",
        "degC",
        "degF",
        "kPa",
        "bar",
        "mbar",
        "atm",
        "GJ/h",
        "kWh",
        "MWh",
        "Pa s",
        "A/m**2",
    ],
)
def test_agrees_with_the_default_registry_of_pint(spelling: str) -> None:
    theirs: pint.UnitRegistry[float] = pint.UnitRegistry()
    expected = theirs.Quantity(37.0, spelling).to_base_units().magnitude
    assert units.to_si(37.0, spelling.replace("**", "")) == pytest.approx(expected, rel=1e-12)


def test_normal_cubic_metre_is_the_molar_volume_of_the_handbooks() -> None:
    # 22.413 969 54 L/mol: molar volume of ideal gas at 273.15 K and 101.325 kPa, CODATA 2018 (from memory)
    assert units.display(1.0, "Nm3") == pytest.approx(22.41396954e-3, rel=1e-9)


def test_exact_at_round_numbers() -> None:
    assert units.parse("100 %", "%") == 1.0
    assert units.parse("1250 degC", "degC") == 1523.15
    assert units.parse("0 degC", "degC") == 273.15
    assert units.parse("32 degF", "degC") == pytest.approx(273.15, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "unit", "si"),
    [
        ("48t/h", "t/h", 48 / 3.6),
        ("  48   t/h ", "t/h", 48 / 3.6),
        ("+48 t/h", "t/h", 48 / 3.6),
        ("4.8e1 t/h", "t/h", 48 / 3.6),
        (".5 t/h", "t/h", 0.5 / 3.6),
        ("5. t/h", "t/h", 5 / 3.6),
        ("48\N{NO-BREAK SPACE}t/h", "t/h", 48 / 3.6),
        ("-5 degC", "degC", 268.15),
        ("1523.15 K", "degC", 1523.15),
        ("64 %", "wt%", 0.64),
        ("64%", "wt%", 0.64),
        ("9 g/t", "wt%", 9e-6),
        ("350 ppm", "wt%", 3.5e-4),
        ("8 mg/kg", "wt%", 8e-6),
        ("62 %", "vol%", 0.62),
        ("200 ppm", "vol%", 2e-4),
        ("0.02 vol%", "ppm", 2e-4),
        ("1.013 bar", "kPa", 101_300.0),
        ("3.6 GJ/h", "MW", 1e6),
        ("41.7 kWh/t", "MJ/t", 41.7 * 3600),
        ("8000 h/a", "h/a", 8000 / 8766),
        ("1.25", "-", 1.25),
        ("1.25 -", "-", 1.25),
        ("0.2 Pa s", "Pa s", 0.2),
        ("0.2  Pa   s", "Pa s", 0.2),
        ("15 K", "K", 15.0),
    ],
)
def test_accepted(text: str, unit: str, si: float) -> None:
    assert units.parse(text, unit) == pytest.approx(si, rel=1e-12)


# text, unit of the field, what the sentence must hold
TRAPS = [
    ("48", "t/h", ["no unit", '"48 t/h"']),
    ("48 kg", "t/h", ["a mass;", "a mass rate is needed", "t/h"]),
    ("48 t", "t/h", ["a mass;", "a mass rate"]),
    ("48 degC", "t/h", ["a temperature", "a mass rate"]),
    ("55 Nm3/h", "t/h", ["a gas flow", "a mass rate"]),
    ("5 kt/a", "t/h", ["a yearly mass", "a mass rate"]),  # pint: knots per year
    ("5 t/a", "t/h", ["a yearly mass"]),
    ("1250 C", "degC", ['unknown unit "C"', "coulomb", "write degC"]),
    ("1250 °C", "degC", ["write degC"]),
    ("1250 degc", "degC", ['did you mean "degC"']),
    ("2300 F", "degC", ["farad", "write degF"]),
    ("5 %", "degC", ["a share", "a temperature is needed"]),
    ("48 ton/h", "t/h", ["short ton", "write t/h"]),  # pint: US short tons
    ("48 tons", "t", ["short tons", "write t"]),
    ("48 tph", "t/h", ["write t/h"]),
    ("48 t/hr", "t/h", ["write t/h"]),
    ("1150 tpd", "t/h", ["write t/d"]),
    ("400 ktpa", "kt/a", ["write kt/a"]),
    ("5 kt/year", "kt/a", ["write kt/a"]),
    ("9 oz/t", "wt%", ["troy", "write g/t"]),  # pint: avoirdupois ounces
    ("250 Nm^3/h", "Nm3/h", ["write Nm3/h"]),  # pint: a textile unit
    ("250 Nm**3/h", "Nm3/h", ["write Nm3/h"]),
    ("250 Nm³/h", "Nm3/h", ["write Nm3/h"]),
    ("250 NM3/H", "Nm3/h", ['did you mean "Nm3/h"']),
    ("250 m3/h", "Nm3/h", ["a volume flow", "a gas flow is needed"]),
    ("250 Sm3/h", "Nm3/h", ["reference temperatures", "write Nm3/h"]),
    ("64 w%", "wt%", ["write wt%"]),
    ("64 vol%", "wt%", ["a share by volume", "a share by mass is needed"]),
    ("62 wt%", "vol%", ["a share by mass", "a share by volume is needed"]),
    ("62 mol%", "vol%", ["write vol%"]),
    ("1.2 barg", "kPa", ["absolute", "write kPa"]),
    ("14.7 psi", "kPa", ["write kPa"]),
    ("18 MMBtu/h", "MW", ["write MW"]),
    ("5 degC", "K", ["a temperature; a difference is needed, in K"]),
    ("5 cP", "Pa s", ["write Pa s"]),
    ("1,5 t/h", "t/h", ['","', "decimal point"]),  # pint: fifteen
    ("0,5 %", "%", ['","', "decimal point"]),
    ("1,500 t/h", "t/h", ['","', "thousands"]),
    ("1,500.5 t/h", "t/h", ['","', "thousands"]),
    ("1 500 t/h", "t/h", ["not one number"]),
    ("1'500 t/h", "t/h", ["\"'\"", "thousands"]),
    ("1_500 t/h", "t/h", ['"_"', "thousands"]),
    ("1.500.000 t/h", "t/h", ["not one number"]),
    ("nan t/h", "t/h", ["not a finite number"]),
    ("inf t/h", "t/h", ["not a finite number"]),
    ("-Infinity t/h", "t/h", ["not a finite number"]),
    ("1e999 t/h", "t/h", ["too large"]),
    ("\N{MINUS SIGN}5 degC", "degC", ["minus"]),
    ("\N{EN DASH}5 degC", "degC", ["minus"]),
    ("５ t/h", "t/h", ["does not begin with a number"]),
    ("", "t/h", ["is empty", '"1 t/h"']),
    ("   ", "t/h", ["is empty"]),
    ("t/h", "t/h", ["does not begin with a number"]),
    ("about 50 t/h", "t/h", ["does not begin with a number"]),
    ("0x10 t/h", "t/h", ["unknown unit"]),
    ("100 $", "t/h", ["unknown unit", "allowed here: t/h"]),
    ("48 t/h t/h", "t/h", ["unknown unit"]),
    ("48 knot", "t/h", ["unknown unit"]),
    ("2 t/h", "-", ["a mass rate", "a bare number is needed"]),
    ("8000 h/yr", "h/a", ["write h/a"]),
]  # fmt: skip


@pytest.mark.parametrize(("text", "unit", "parts"), TRAPS, ids=[f"{t!r} as {u}" for t, u, _ in TRAPS])
def test_refused_with_a_sentence(text: str, unit: str, parts: list[str]) -> None:
    with pytest.raises(ValueError) as caught:  # noqa: PT011, its parts are looked at below
        units.parse(text, unit)
    said = str(caught.value)
    assert all(part in said for part in parts), said
    assert "\n" not in said and "Error" not in said


@pytest.mark.parametrize("wrong", sorted(units._INSTEAD))
def test_what_is_suggested_is_in_the_vocabulary(wrong: str) -> None:
    assert wrong not in units.SPELLINGS
    assert units._INSTEAD[wrong] in units.SPELLINGS


def test_bare_numbers() -> None:
    assert units.finite(2, "-") == 2.0
    for number, unit, part in [
        (64, "wt%", '"64 wt%"'),
        (math.nan, "-", "finite"),
        (math.inf, "t/h", "finite"),
        (10**400, "-", "large"),
    ]:
        with pytest.raises(ValueError, match=part):
            units.finite(number, unit)


def test_written_as_people_write() -> None:
    assert units.write(1523.15, "degC") == "1250 degC"
    assert units.write(55 / 3.6, "t/h") == "55 t/h"
    assert units.write(1.25, "-") == "1.25"
    assert units.write(0.64, "wt%") == "64 wt%"


def test_quantities_convert_within_the_vocabulary() -> None:
    matte = units.quantity(57.2, "t/h")
    assert matte.to("kg/s").magnitude == pytest.approx(57.2 / 3.6)
    assert str(matte) == "57.2 t/h"
    assert str(units.quantity(64.0, "wt%")) == "64.0 wt%"
    assert str(units.quantity(1250.0, "degC")) == "1250.0 degC"
    assert str(units.quantity(250.0, "Nm3/h")) == "250.0 Nm3/h"
    assert units.quantity(1250.0, "degC").to("K").magnitude == pytest.approx(1523.15)
    with pytest.raises(ValueError, match="unknown unit"):
        units.quantity(1.0, "knot")
    with pytest.raises(pint.UndefinedUnitError):
        matte.to("knot")
    with pytest.raises(pint.DimensionalityError):
        matte.to("MW")


def test_arrays_keep_their_shape() -> None:
    grades = np.array([[60.0, 65.0], [70.0, 75.0]])
    assert units.to_si(grades, "wt%").shape == (2, 2)
    assert units.display(units.to_si(grades, "wt%"), "wt%") == pytest.approx(grades)


@pytest.mark.parametrize("unit", units.SPELLINGS)
def test_a_factor_that_is_kept_converts_as_pint_does_bit_for_bit(unit: str) -> None:
    shown = np.random.default_rng(1).normal(size=50) * 1e3
    si = units.quantity(shown, unit).to_base_units()
    assert (units.to_si(shown, unit) == si.magnitude).all()
    assert (units.display(si.magnitude, unit) == si.to(units.quantity(1.0, unit).units).magnitude).all()
