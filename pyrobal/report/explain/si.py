"""Units of products and quotients, from the units that documentation states."""

from __future__ import annotations

import re
from collections import Counter
from functools import cache
from typing import Final

Unit = str | None  # "" of a plain number, None where it is not known

_PLAIN: Final = ("", "-", "1")
_POWER: Final = re.compile(r"([A-Za-z]+)(?:\^|\*\*)?(-?\d+)?")
# What plant units are made of -> SI.
_PLANT: Final = {
    "Nm3": "mol", "kmol": "mol", "t": "kg", "kt": "kg", "g": "kg", "mg": "kg", "h": "s", "min": "s", "d": "s",
    "a": "s", "degC": "K", "MW": "W", "kW": "W", "GJ": "J", "MJ": "J", "kJ": "J", "kWh": "J", "MWh": "J",
    "kPa": "Pa", "MPa": "Pa", "bar": "Pa", "mbar": "Pa", "mm": "m", "kA": "A",
}  # fmt: skip
_BASE: Final = ("kg", "mol", "s", "K", "J", "Pa", "m", "A", "C", "V", "unit")  # a unit of fuel: mol or kg
_RATES: Final = ("kg/s", "mol/s", "unit/s", "s")
_SHARES: Final = ("%", "wt%", "vol%", "ppm")


def of_plant(unit: str) -> Unit:
    """The SI unit behind a plant unit: "mol/s" of "Nm3/h", "" of a share."""
    if unit in _SHARES:
        return ""
    return product(re.sub(r"[A-Za-z]+3?", lambda m: _PLANT.get(m[0], m[0]), unit))


def product(first: Unit, second: Unit = "", power: int = 1) -> Unit:
    """Of a product, or of a quotient where ``power`` is -1."""
    if first is None or second is None:
        return None
    left, right = _factors(first), _factors(second)
    if left is None or right is None:
        return None
    whole = Counter(left)
    for name, n in right.items():
        whole[name] += power * n
    mixed = whole["unit"] and (whole["mol"] or whole["kg"])  # which of them it is, is not known here
    return None if mixed else _written(whole)


def settled(stated: Unit, worked_out: Unit) -> Unit:
    """The unit that documentation states, or the one of the equation where that is of a single unit of it.

    A stream of a flux or a fuel is at first that of one kilogram or mole of it: mol/kg, not mol/s.
    What takes amounts of a step of a batch takes amounts per second where it goes on.
    """
    if stated is None or worked_out is None:
        return worked_out if stated is None else stated
    return worked_out if product(stated, worked_out, -1) in _RATES else stated


def power(unit: Unit, n: int) -> Unit:
    """Of a whole power."""
    return product("", unit, n)


def common(units: list[Unit]) -> Unit:
    """Of a sum: the unit of its terms, where those that are known agree."""
    known = {product(u) for u in units if u is not None} - {None}
    return known.pop() if len(known) == 1 and units else None


@cache
def _factors(unit: str) -> dict[str, int] | None:
    """Powers of the SI units in "J/(mol K)" or "kg/s"; None of what cannot be read."""
    if unit in _PLAIN:
        return {}
    found: Counter[str] = Counter()
    for i, part in enumerate(re.sub(" per ", "/", re.sub("[()]", "", unit)).split("/")):
        sign = 1 if i == 0 else -1
        for j, word in enumerate(part.split()):
            match = _POWER.fullmatch(word)
            if match is not None and match[1] == "W":
                found.update({"J": sign, "s": -sign})
            elif match is not None and match[1] in _BASE:
                found[match[1]] += int(match[2] or 1) * sign
            elif word != "1" and not (j and part.split()[0] in ("mol", "kg")):  # "mol O2", "kg slag"
                return None
    return {name: n for name, n in found.items() if n}


def _written(factors: Counter[str]) -> str:
    if factors["J"] == 1 and factors["s"] == -1:
        factors = Counter({**{k: n for k, n in factors.items() if k not in ("J", "s")}, "W": 1})
    above = [_power(name, n) for name, n in factors.items() if n > 0]
    below = [_power(name, -n) for name, n in factors.items() if n < 0]
    if not above and not below:
        return ""
    over = " ".join(below)
    return " ".join(above or ["1"]) + (f"/({over})" if len(below) > 1 else f"/{over}" if below else "")


def _power(name: str, n: int) -> str:
    return name if n == 1 else f"{name}{n}"
