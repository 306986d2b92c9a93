"""A number of the case that a study varies, by the key it has in the case file."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final, TypeVar

import numpy as np

from pyrobal import units
from pyrobal.arrays import BoolN, FloatN, Floats
from pyrobal.case import schema, values
from pyrobal.fields import Assay, Choice, Declaration, Quantity, Table, Text
from pyrobal.flowsheet.inputs import SECTIONS, Inputs
from pyrobal.names import suggestion
from pyrobal.streams.fuel import FuelSettings

T = TypeVar("T", float, Floats)
_ROUNDING: Final = 1e-9  # relative; a bound written in plant units is met in spite of its conversion


@dataclass(frozen=True)
class Variable:
    """A setting that holds a number.

    key : as in the case file; path : where ``Inputs`` holds it
    unit : plant unit; bare : a number without one is right, as in an assay
    low, high : allowed range, SI; None where open
    """

    key: str
    path: str
    unit: str
    meaning: str
    low: float | None
    high: float | None
    bare: bool = False

    def si(self, raw: Any) -> float:
        """One value, written as in a case, in SI. Raises ValueError with a sentence for its author."""
        if self.bare:
            return float(values.fraction(raw, self.unit)[0])
        value = values.number(Quantity(self.unit, self.meaning, self.low, self.high), raw)
        assert value is not None  # there is no word for it
        return float(value[0])

    def allows(self, si: FloatN) -> BoolN:
        """(N,) True where a value (N,) in SI is finite and within the allowed range."""
        low = -np.inf if self.low is None else self.low - _ROUNDING * abs(self.low)
        high = np.inf if self.high is None else self.high + _ROUNDING * abs(self.high)
        return np.isfinite(si) & (low <= si) & (si <= high)

    def shown(self, si: T) -> T:
        """SI values in the plant unit."""
        return units.display(si, self.unit)

    def text(self, si: float, digits: int = 17) -> str:
        """One value as a case file has it, to the last digit unless said otherwise."""
        return units.write(si, self.unit, digits=digits)

    def spread(self, raw: str) -> float:
        """A difference of two values in SI: of temperatures in K, else in the unit of the setting."""
        unit = "K" if self.unit == "degC" else self.unit
        try:
            bare = self.bare and math.isfinite(float(raw))
        except ValueError:
            bare = False
        return abs(units.parse(f"{raw} {unit}" if bare else raw, unit))

    def value(self, inputs: Inputs) -> FloatN | None:
        """What the case has, (N,) in SI; None where it has a word or nothing."""
        return dict(inputs.arrays()).get(self.path)


def variables(inputs: Inputs) -> dict[str, Variable]:
    """Every number a case has or could have in its tables, by key."""
    return {v.key: v for key, node in schema.tables(inputs) for v in _of_table(key, node)}


def find(inputs: Inputs, key: str) -> Variable:
    """The variable of a key. Raises ValueError that says what is wrong with it, and the nearest."""
    known = variables(inputs)
    if key in known:
        return known[key]
    if is_word(inputs, key):
        raise ValueError("is a word; sweep takes a list of words, any other study one for each, with --set")
    if ".deportment." in key:
        raise ValueError("write all shares of this element in the case first; one alone would be all of it")
    section = key.partition(".")[0]
    if section in SECTIONS and not any(name.startswith(f"{section}.") for name in known):
        raise ValueError(f"the case has no [{section}]")
    near = suggestion(key, known, otherwise="pyrobal settings lists them")
    raise ValueError(f"no setting has this key; {near}")


def is_word(inputs: Inputs, key: str) -> bool:
    """True for a setting that holds a word of a list, or a name."""
    return any(f"{t}.{name}" == key for t, name, d in _declared(inputs) if isinstance(d, Choice | Text))


def _declared(inputs: Inputs) -> Iterator[tuple[str, str, Declaration]]:
    for key, node in schema.tables(inputs):
        yield from ((key, name, declared) for name, declared in schema.written_in(node).items())


def _of_table(key: str, node: Any) -> Iterator[Variable]:
    for name, declared in schema.written_in(node).items():
        yield from _of_field(f"{key}.{name}", declared, getattr(node, name))
    if isinstance(node, FuelSettings):
        unit = "vol%" if node.kind == "gas" else "wt%"
        for name in node.composition:
            yield _share(f"{key}.{name}", f"{key}.composition.{name}", unit, "share of the fuel")


def _of_field(key: str, declared: Declaration, value: Any) -> Iterator[Variable]:
    match declared:
        case Quantity(unit=unit, meaning=meaning, low=low, high=high):
            yield Variable(key, key, unit, meaning, low, high)
        case Assay(meaning=meaning, allowed=allowed):
            for name in schema.ALLOWED[allowed]:
                yield _share(f"{key}.{name}", f"{key}.{name}", "wt%", meaning)
        case Table(meaning=meaning):
            for element, outlet in ((e, o) for e, shares in value.items() for o in shares):
                yield _share(f"{key}.{element}.{outlet}", f"{key}.{element}.{outlet}", "%", meaning)


def _share(key: str, path: str, unit: str, meaning: str) -> Variable:
    return Variable(key, path, unit, meaning, 0.0, 1.0, bare=True)
