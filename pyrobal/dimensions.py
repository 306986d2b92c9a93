"""Units as powers of the base units, worked out by rule; and constants that know theirs.

A unit here is SI: what a number inside the engine is measured in. How people write it is ``units``' affair.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

BASE: Final = ("kg", "m", "s", "mol", "K", "A")
_DERIVED: Final = {
    "N": "kg m/s2", "Pa": "kg/(m s2)", "J": "kg m2/s2", "W": "kg m2/s3", "C": "A s", "V": "kg m2/(A s3)",
}  # fmt: skip
# A unit is shown as the first of these whose remainder is short.
_SHOWN: Final = (
    "W", "J", "J/mol", "J/(mol K)", "J/kg", "J/(kg K)", "J/K", "W/K", "W/m2", "W/(m2 K)", "Pa", "Pa s", "V",
    "C", "C/mol", "A", "A/m2", "J/mol2", "J/(mol K2)", "J/(mol K3)", "J K/mol", "J K", "J/K2", "J/K3", "W K",
    "W/K2", "W/K3", "1/Pa", "mol/Pa", "mol/(m3 Pa)", "Pa m3/mol", "W s2/kg",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Unit:
    """Powers of ``BASE``; there is one object for each unit, and ``code`` numbers them."""

    powers: tuple[Fraction, ...]
    code: int

    def __mul__(self, other: Unit) -> Unit:
        return _unit(tuple(a + b for a, b in zip(self.powers, other.powers, strict=True)))

    def __truediv__(self, other: Unit) -> Unit:
        return _unit(tuple(a - b for a, b in zip(self.powers, other.powers, strict=True)))

    def __pow__(self, power: float | Fraction) -> Unit:
        exact = Fraction(power).limit_denominator(60)
        return _unit(tuple(a * exact for a in self.powers))

    def __str__(self) -> str:
        return _written(self)

    def __reduce__(self) -> Any:
        return _unit, (self.powers,)


UNITS: Final[list[Unit]] = []  # by code
_known: dict[tuple[Fraction, ...], Unit] = {}


def _unit(powers: tuple[Fraction, ...]) -> Unit:
    if (found := _known.get(powers)) is None:
        found = _known[powers] = Unit(powers, len(UNITS))
        UNITS.append(found)
    return found


ONE: Final = _unit((Fraction(0),) * len(BASE))  # a plain number


@functools.cache
def unit(text: str) -> Unit:
    """The unit as documentation writes it: "J/(mol K)", "m2", "1/s"; "" and "-" are a plain number.

    Raises ValueError for a sign that is none of ``BASE`` or of those derived from them.
    """
    above, *below = text.replace("(", "").replace(")", "").split("/")
    found = _product(above)
    for part in below:
        found = found / _product(part)
    return found


def _product(text: str) -> Unit:
    found = ONE
    for sign in text.replace("-", " ").split():
        match = re.fullmatch(r"([A-Za-z]+|1)(\d?)", sign)
        if match is None:
            raise ValueError(f"{sign!r} is no unit")
        found = found * _sign(match[1]) ** int(match[2] or 1)
    return found


def _sign(name: str) -> Unit:
    if name == "1":
        return ONE
    if name in _DERIVED:
        return unit(_DERIVED[name])
    if name not in BASE:
        raise ValueError(f"{name!r} is no unit; those there are: {', '.join((*BASE, *_DERIVED))}")
    return _unit(tuple(Fraction(int(name == base)) for base in BASE))


@functools.cache
def _written(found: Unit) -> str:
    for text in _SHOWN:
        if unit(text) is found:
            return text
    above, below = (
        [
            f"{b}{'' if abs(p) == 1 else abs(p)}"
            for b, p in zip(BASE, found.powers, strict=True)
            if sign * p > 0
        ]
        for sign in (1, -1)
    )
    if not below:
        return " ".join(above)
    under = " ".join(below)
    return f"{' '.join(above) or '1'}/{under if len(below) == 1 else f'({under})'}"


class Constant(float):
    """A number with a unit and a source; products, powers and sums of such are such again.

    made : the sign and the operands of one that is worked out from others
    """

    __slots__ = ("_unit", "made", "source")
    _unit: Unit | None
    source: str
    made: tuple[str, Any, Any] | None

    @property
    def unit(self) -> Unit:
        """Worked out when first asked for: only a trace asks."""
        if self._unit is None:
            assert self.made is not None
            sign, a, b = self.made
            self._unit = _RULES[sign](a, b)
        return self._unit

    def __neg__(self) -> Any:
        return self * -1.0

    def __reduce__(self) -> Any:
        return _constant, (float(self), self.unit, self.source)


def constant(value: float, of: str, source: str = "") -> Constant:
    """A number in the unit ``of``."""
    return _constant(value, unit(of), source)


def _constant(value: float, of: Unit, source: str) -> Constant:
    found = Constant(value)
    found._unit, found.source, found.made = of, source, None
    return found


def unit_of(number: float) -> Unit:
    """Of a constant its own; any other number is a plain one."""
    return number.unit if isinstance(number, Constant) else ONE


def _same(a: float, b: float) -> Unit:
    """Of a sum; one of two units is a plain number, which a trace complains of where it is used."""
    if 0.0 in (a, b):
        return unit_of(b if a == 0.0 else a)
    return unit_of(a) if unit_of(a) is unit_of(b) else ONE


_RULES: Final[dict[str, Callable[[float, float], Unit]]] = {
    "×": lambda a, b: unit_of(a) * unit_of(b),
    "/": lambda a, b: unit_of(a) / unit_of(b),
    "^": lambda a, b: unit_of(a) ** b,
    "+": _same,
    "-": _same,
}
_SIGNS: Final = {"mul": "×", "truediv": "/", "pow": "^", "add": "+", "sub": "-"}


def _method(name: str, turned: bool) -> Callable[[Constant, Any], Any]:
    sign, plain = _SIGNS[name], getattr(float, f"__{'r' if turned else ''}{name}__")

    def worked_out(self: Constant, other: Any) -> Any:
        value = plain(self, other)
        if value is NotImplemented:  # an array takes it from here
            return value
        found = Constant(value)
        found._unit, found.source, found.made = (
            None,
            "",
            (sign, other, self) if turned else (sign, self, other),
        )
        return found

    return worked_out


for _name in _SIGNS:
    setattr(Constant, f"__{_name}__", _method(_name, turned=False))
    setattr(Constant, f"__r{_name}__", _method(_name, turned=True))
