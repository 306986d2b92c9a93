"""Units of the plant: text with a unit to SI and back. The only importer of pint, used at the edges.

The vocabulary is closed. A spelling that is not listed is refused with the nearest that is, so that no
short ton, knot, coulomb or dropped decimal comma slips in. A unit belongs to a kind (a mass rate, a
temperature, a share by volume); a field takes the kinds that make sense for it, which is narrower than
its dimension: wt% is not vol%, and a yearly rate is not a rate while running.

Nm3 is an amount of substance, the ideal gas at 0 degC and 101.325 kPa. A temperature given in K where the
field's unit is K is a difference. ``1 a`` is 365.25 days, so ``h/a`` is a share of the year.
"""

from __future__ import annotations

import math
import re
from functools import cache
from typing import TYPE_CHECKING, Any, Final, TypeVar

from pyrobal.constants import NM3
from pyrobal.factors import FACTORS
from pyrobal.names import suggestion

if TYPE_CHECKING:
    import pint

    from pyrobal.arrays import Floats

T = TypeVar("T", "float", "Floats")

_DEFINITIONS: Final = f"""
kilogram = [mass] = kg
metre = [length] = m
second = [time] = s
kelvin = [temperature]; offset: 0 = K
mole = [substance] = mol
ampere = [current] = A
gram = 1e-3 kilogram = g
milligram = 1e-6 kilogram = mg
tonne = 1e3 kilogram = t
kilotonne = 1e6 kilogram = kt
millimetre = 1e-3 metre = mm
square_metre = metre ** 2 = m2
cubic_metre = metre ** 3 = m3
minute = 60 second = min
hour = 3600 second = h
day = 86400 second = d
year = 365.25 day = a
degree_Celsius = kelvin; offset: 273.15 = degC
degree_Fahrenheit = 5 / 9 kelvin; offset: 233.15 + 200 / 9 = degF
normal_cubic_metre = {NM3!r} mole = Nm3
kilomole = 1e3 mole = kmol
pascal = kilogram / metre / second ** 2 = Pa
kilopascal = 1e3 pascal = kPa
megapascal = 1e6 pascal = MPa
bar = 1e5 pascal
millibar = 1e2 pascal = mbar
atmosphere = 101325 pascal = atm
joule = pascal * metre ** 3 = J
kilojoule = 1e3 joule = kJ
megajoule = 1e6 joule = MJ
gigajoule = 1e9 joule = GJ
watt = joule / second = W
kilowatt = 1e3 watt = kW
megawatt = 1e6 watt = MW
kilowatt_hour = kilowatt * hour = kWh
megawatt_hour = megawatt * hour = MWh
kiloampere = 1e3 ampere = kA
volt = watt / ampere = V
percent = 1e-2 = %
mass_percent = 1e-2 = wt%
volume_percent = 1e-2 = vol%
parts_per_million = 1e-6 = ppm
"""

# What a person may write, by kind; the first spelling of a kind is the usual one.
KINDS: Final[dict[str, tuple[str, ...]]] = {
    "a ratio": ("-",),
    "a share": ("%",),
    "a share by mass": ("wt%",),
    "a share by volume": ("vol%",),
    "a trace by mass": ("g/t", "mg/kg"),
    "parts per million": ("ppm",),
    "a mass per tonne": ("kg/t",),
    "a mass": ("t", "kg", "g"),
    "a mass rate": ("t/h", "kg/h", "kg/s", "t/d"),
    "a yearly mass": ("t/a", "kt/a"),
    "a normal gas volume": ("Nm3",),
    "a gas flow": ("Nm3/h", "Nm3/min", "Nm3/s"),
    "a gas volume per mass": ("Nm3/t", "Nm3/kg"),
    "a mass per gas volume": ("mg/Nm3", "g/Nm3"),
    "an amount": ("mol", "kmol"),
    "an amount rate": ("mol/s", "kmol/h"),
    "a temperature": ("degC", "K", "degF"),
    "a pressure": ("kPa", "Pa", "MPa", "bar", "mbar", "atm"),
    "a power": ("MW", "kW", "W", "GJ/h", "MJ/h"),
    "an energy": ("GJ", "MJ", "kJ", "J", "MWh", "kWh"),
    "an energy per mass": ("MJ/t", "MJ/kg", "kJ/kg", "GJ/t", "kWh/t", "MWh/t"),
    "an energy per gas volume": ("MJ/Nm3", "kJ/Nm3"),
    "an energy per mole": ("kJ/mol", "J/mol"),
    "a molar heat capacity": ("J/mol/K",),
    "a time": ("h", "min", "s", "d"),
    "an operating time": ("h/a", "d/a"),
    "a frequency": ("1/h",),
    "a viscosity": ("Pa s",),
    "a density": ("kg/m3", "t/m3"),
    "a length": ("m", "mm"),
    "an area": ("m2",),
    "a volume": ("m3",),
    "a volume flow": ("m3/h", "m3/s"),
    "a velocity": ("m/s",),
    "a heat flux": ("kW/m2", "W/m2"),
    "a current": ("kA", "A"),
    "a voltage": ("V",),
    "a current density": ("A/m2",),
}

_KIND_OF: Final = {spelling: kind for kind, spellings in KINDS.items() for spelling in spellings}
SPELLINGS: Final = tuple(_KIND_OF)

# Kinds a field takes besides its own: a percent sign is plain enough where the field says of what.
_ALSO: Final[dict[str, tuple[str, ...]]] = {
    "a share by mass": ("a share", "a trace by mass", "parts per million"),
    "a share by volume": ("a share", "parts per million"),
    "parts per million": ("a share", "a share by volume"),
    "a trace by mass": ("a share", "a share by mass", "parts per million"),
}

# Spellings people bring along whose nearest listed neighbour by letters would mislead.
_INSTEAD: Final = {
    "C": "degC", "°C": "degC", "ºC": "degC", "℃": "degC", "celsius": "degC", "deg C": "degC", "oC": "degC",
    "F": "degF", "°F": "degF", "kelvin": "K", "°K": "K", "degK": "K",
    "ton": "t", "tonne": "t", "tonnes": "t", "tons": "t", "mt": "t", "lb": "kg", "oz": "g",
    "ton/h": "t/h", "tons/h": "t/h", "tonne/h": "t/h", "tonnes/h": "t/h", "tph": "t/h", "t/hr": "t/h",
    "mt/h": "t/h", "lb/h": "kg/h", "tpd": "t/d", "t/day": "t/d", "ton/d": "t/d", "t/24h": "t/d",
    "tpa": "t/a", "ktpa": "kt/a", "Mtpa": "kt/a", "Mt/a": "kt/a", "t/year": "t/a", "t/yr": "t/a",
    "t/y": "t/a", "kt/year": "kt/a", "kt/yr": "kt/a", "kt/y": "kt/a",
    "Nm³": "Nm3", "Nm^3": "Nm3", "Nm**3": "Nm3", "Nm": "Nm3", "Sm3": "Nm3", "scf": "Nm3", "NCM": "Nm3",
    "Nm³/h": "Nm3/h", "Nm^3/h": "Nm3/h", "Nm**3/h": "Nm3/h", "Nm3/hr": "Nm3/h", "Sm3/h": "Nm3/h",
    "scfm": "Nm3/h", "Ncm/h": "Nm3/h", "kNm3/h": "Nm3/h",
    "oz/t": "g/t", "gpt": "g/t", "ppb": "ppm", "ppmw": "ppm", "ppmv": "ppm",
    "pct": "%", "percent": "%", "per cent": "%", "w%": "wt%", "%wt": "wt%", "w/w": "wt%", "wt.%": "wt%",
    "wt %": "wt%", "mass%": "wt%", "mol%": "vol%", "v%": "vol%", "%vol": "vol%", "vol.%": "vol%",
    "vol %": "vol%", "v/v": "vol%",
    "psi": "kPa", "psia": "kPa", "barg": "kPa", "psig": "kPa", "bara": "bar", "mmHg": "kPa", "torr": "kPa",
    "mmH2O": "kPa", "mmWC": "kPa", "hPa": "mbar", "BTU/h": "kW", "Btu/h": "kW", "MMBtu/h": "MW",
    "kcal/h": "kW", "hp": "kW", "BTU/lb": "kJ/kg", "Btu/lb": "kJ/kg", "kcal/kg": "kJ/kg", "cal/g": "kJ/kg",
    "kWh/ton": "kWh/t", "hr": "h", "hrs": "h", "hour": "h", "hours": "h", "sec": "s", "day": "d",
    "h/y": "h/a", "h/yr": "h/a", "h/year": "h/a", "hours/year": "h/a",
    "cP": "Pa s", "P": "Pa s", "poise": "Pa s", "Pas": "Pa s", "Pa.s": "Pa s", "Pa*s": "Pa s", "Pa·s": "Pa s",
    "A/m^2": "A/m2", "A/m²": "A/m2", "m^3": "m3", "m³": "m3", "m^2": "m2", "m²": "m2",
}  # fmt: skip
# Why, where it is not plain, by a word of the spelling.
_BECAUSE: Final = {
    "C": "C is the coulomb", "F": "F is the farad", "oz": "the ounce of metal is the troy ounce",
    "ton": "ton may mean the short ton", "tons": "tons may mean short tons",
    "Sm3": "Sm3 has several reference temperatures", "scf": "scf has several reference temperatures",
    "scfm": "scfm has several reference temperatures",
    "barg": "pressures are absolute", "psig": "pressures are absolute",
}  # fmt: skip

_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


def parse(text: str, unit: str) -> float:
    """The number in ``text``, such as "1250 degC", in SI.

    unit : the unit of the field, which says what kinds of unit it takes
    Raises ValueError with a sentence for the person who wrote the text.
    """
    number, spelling = _split(text.strip(), unit)
    value = _finite(number)
    if not spelling and unit != "-":
        raise ValueError(f'"{text.strip()}" has no unit; write {_example(number, unit)}')
    if spelling and spelling not in _KIND_OF:
        raise ValueError(_unknown(spelling, spellings(unit)))
    found = kind(spelling or "-")
    if found not in _kinds(unit):
        raise ValueError(f'"{text.strip()}" is {found}; {_needed(unit)}')
    if kind(unit) == "a temperature" and unit == "K" and spelling != "K":
        raise ValueError(f'"{text.strip()}" is a temperature; a difference is needed, in K')
    return to_si(value, spelling or "-")


def finite(number: float, unit: str) -> float:
    """A bare number out of a case file. Raises ValueError where it needs a unit or is not finite."""
    try:
        value = float(number)
    except OverflowError:
        raise ValueError("the number is too large") from None
    if not math.isfinite(value):
        raise ValueError(f"{number} is not a finite number")
    if unit != "-":
        raise ValueError(f"{number:g} has no unit; write {_example(f'{number:g}', unit)}")
    return value


def kind(spelling: str) -> str:
    """What a unit measures. Raises ValueError naming the nearest spelling where it is not listed."""
    if spelling not in _KIND_OF:
        raise ValueError(_unknown(spelling, SPELLINGS))
    return _KIND_OF[spelling]


def to_si(value: T, unit: str) -> T:
    """Plant unit to SI; a number or an array of any shape. A temperature in K or degC becomes absolute K."""
    per_unit, _, zero = _factors(unit)
    return value * per_unit + zero if zero else value * per_unit


def display(value: T, unit: str) -> T:
    """SI to plant unit; a number or an array of any shape."""
    per_unit, per_si, zero = _factors(unit)
    return (value - zero) / per_unit if zero else value * per_si


def write(value: float, unit: str, digits: int = 6) -> str:
    """An SI number as a person writes it: "1250 degC", "55 t/h", "1.25"."""
    return f"{display(value, unit):.{digits}g}{behind(unit)}"


def behind(unit: str) -> str:
    """A unit as it stands behind a number, with its blank; nothing of a ratio."""
    return "" if unit in ("-", "") else f" {unit}"


def quantity(value: Any, unit: str) -> pint.Quantity[Any]:
    """A pint quantity holding ``value`` in the plant unit ``unit``. Raises ValueError for an unknown unit."""
    kind(unit)
    return _registry().Quantity(value, _expression(unit))


@cache
def _registry() -> pint.UnitRegistry[Any]:
    """The registry of this vocabulary alone: nothing is read from disk, nothing else can be spelled."""
    import pint

    registry: pint.UnitRegistry[Any] = pint.UnitRegistry(_DEFINITIONS.strip().splitlines())
    registry.formatter.default_format = "~P"  # "57.2 t/h", as the vocabulary spells it
    return registry


def _factors(unit: str) -> tuple[float, float, float]:
    kind(unit)
    return FACTORS[unit]


def asked_of_pint(unit: str) -> tuple[float, float, float]:
    """SI per unit, units per SI, which rounds by itself, and the SI of the unit's zero.

    ``factors`` holds what this says of every spelling, as pint takes a quarter of a second to start.
    """
    zero = float(quantity(0.0, unit).to_base_units().magnitude)
    difference = _registry().parse_units(f"delta_{_registry().get_name(unit)}") if zero else _expression(unit)
    one = _registry().Quantity(1.0, difference).to_base_units()
    back = _registry().Quantity(1.0, one.units).to(difference)
    return float(one.magnitude), float(back.magnitude), zero


def _expression(unit: str) -> Any:
    names = {"-": "dimensionless", "%": "percent", "wt%": "mass_percent", "vol%": "volume_percent"}
    return _registry().parse_units(names.get(unit, unit))


def _split(text: str, unit: str) -> tuple[str, str]:
    """Number and unit spelling, told apart by hand: a units parser drops commas and knows nan."""
    match = _NUMBER.match(text)
    if not text:
        raise ValueError(f"is empty; write {_example('1', unit)}")
    if "\N{MINUS SIGN}" in text or "\N{EN DASH}" in text:
        raise ValueError(f'"{text}" has a dash that is not a minus sign; write -')
    if match is None:
        raise ValueError(_no_number(text, unit))
    number, rest = match.group(), text[match.end() :]
    if re.match(r"\s*[,'’_]\s*[0-9]", rest):
        raise ValueError(
            f'"{text}" has a "{rest.strip()[0]}" in the number; write a decimal point and no thousands mark'
        )
    if re.match(r"\s+[0-9](?!/)", rest) or re.match(r"\.", rest):
        raise ValueError(f'"{text}" is not one number; write it without spaces and with one decimal point')
    return number, " ".join(rest.split())


def _no_number(text: str, unit: str) -> str:
    if re.match(r"[+-]?(nan|inf|infinity)\b", text, re.IGNORECASE):
        return f'"{text}" is not a finite number'
    return f'"{text}" does not begin with a number; write for example {_example("1", unit)}'


def _finite(number: str) -> float:
    value = float(number)
    if not math.isfinite(value):
        raise ValueError(f'"{number}" is too large a number')
    return value


def _kinds(unit: str) -> tuple[str, ...]:
    return (kind(unit), *_ALSO.get(kind(unit), ()))


def spellings(unit: str) -> tuple[str, ...]:
    """Every unit in which a person may write a field of ``unit``."""
    return tuple(spelling for k in _kinds(unit) for spelling in KINDS[k])


def _needed(unit: str) -> str:
    if unit == "-":
        return "a bare number is needed"
    return f"{kind(unit)} is needed, e.g. {' or '.join(spellings(unit)[:3])}"


def _example(number: str, unit: str) -> str:
    return number if unit == "-" else f'"{number} {unit}"'


def _unknown(spelling: str, allowed: tuple[str, ...]) -> str:
    because = [f" ({_BECAUSE[word]})" for word in spelling.split("/") if word in _BECAUSE]
    return f'unknown unit "{spelling}"{"".join(because)}; {_nearest(spelling, allowed)}'


def _nearest(spelling: str, allowed: tuple[str, ...]) -> str:
    if spelling in _INSTEAD:
        return f"write {_INSTEAD[spelling]}"
    return suggestion(spelling, (*allowed, *SPELLINGS), f"allowed here: {', '.join(allowed)}")
