"""A number of the case that a study varies, by the key it has in the case file."""

from __future__ import annotations

import functools
import math
import operator
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Final, TypeVar

import numpy as np

from pyrobal import units
from pyrobal.arrays import BoolN, FloatN, Floats
from pyrobal.case import schema, values
from pyrobal.case.blend import BLEND_RATE, signed_share
from pyrobal.fields import Assay, Choice, Declaration, Quantity, Table, Text
from pyrobal.flowsheet.inputs import SECTIONS, Inputs
from pyrobal.names import suggestion
from pyrobal.streams.fuel import FuelSettings

T = TypeVar("T", float, Floats)
_BLEND: Final = "dry rate of all concentrates, which keep their proportions"
_ROUNDING: Final = 1e-9  # relative; a bound written in plant units is met in spite of its conversion


@dataclass(frozen=True)
class Variable:
    """A setting that holds a number.

    key : as in the case file; path : where ``Inputs`` holds it
    unit : plant unit; bare : a number without one is right, as in an assay
    low, high : allowed range, SI; None where open
    count : it counts things, which come and go whole
    """

    key: str
    path: str
    unit: str
    meaning: str
    low: float | None
    high: float | None
    bare: bool = False
    count: bool = False

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
        return inputs.at(self.path)

    def put(self, inputs: Inputs, value: Floats) -> Inputs:
        """The inputs with another value (N,) in SI."""
        return inputs.replace(self.path, value)


@dataclass(frozen=True)
class BlendRate(Variable):
    """The dry rate of all concentrates, which keep their proportions.

    present : that of the case, kg/s; a signed share is one of it
    """

    present: float = math.nan

    def si(self, raw: Any) -> float:
        """The sum in SI, also from a signed share of the present one: "+15 %"."""
        share = signed_share(raw)
        return super().si(raw) if share is None else self.present * (1.0 + share)

    def value(self, inputs: Inputs) -> FloatN:
        """The sum of the rates, (N,); in a case with shares that of the charge."""
        rates = [c.rate for c in inputs.concentrate if c.rate is not None]
        return functools.reduce(operator.add, rates) if inputs.charge.rate is None else inputs.charge.rate

    def put(self, inputs: Inputs, value: Floats) -> Inputs:
        """The inputs with every rate in proportion."""
        if inputs.charge.rate is not None:
            return inputs.replace("charge.rate", value)
        factor = value / self.value(inputs)
        for c in inputs.concentrate:
            if c.rate is not None:
                inputs = inputs.replace(f"concentrate.{c.name}.rate", factor * c.rate)
        return inputs


def variables(inputs: Inputs) -> dict[str, Variable]:
    """Every number a case has or could have in its tables, by key."""
    return {v.key: v for key, node in schema.tables(inputs) for v in _of_table(key, node)}


def find(inputs: Inputs, key: str) -> Variable:
    """The variable of a key. Raises ValueError that says what is wrong with it, and the nearest."""
    if key == BLEND_RATE:
        return blend_rate(inputs)
    known = variables(inputs)
    if key in known:
        return known[key]
    if is_word(inputs, key):
        raise ValueError("is a word; sweep takes a list of words, any other study one for each, with --set")
    if ".deportment." in key:
        raise ValueError("write all shares of this element in the case first; one alone would be all of it")
    if ".distribution." in key:
        raise ValueError(
            'write it in the case first, or by --set, e.g. "smelting.distribution.Pb.slag_matte=0.3"'
        )
    section = key.partition(".")[0]
    if section in SECTIONS and not any(name.startswith(f"{section}.") for name in known):
        raise ValueError(f"the case has no [{section}]")
    near = suggestion(key, known, otherwise="pyrobal settings lists them")
    raise ValueError(f"no setting has this key; {near}")


def blend_rate(inputs: Inputs) -> BlendRate:
    """The rate of the whole blend of a case."""
    if not inputs.concentrate:
        raise ValueError("the case has no concentrates")
    like = next(v for v in _of_table("charge", inputs.charge) if v.key == "charge.rate")
    blend = BlendRate(BLEND_RATE, BLEND_RATE, like.unit, _BLEND, like.low, like.high)
    return replace(blend, present=float(blend.value(inputs)[0]))


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
        case Quantity(unit=unit, meaning=meaning, low=low, high=high, count=count):
            yield Variable(key, key, unit, meaning, low, high, count=count)
        case Assay(meaning=meaning, allowed=allowed):
            for name in schema.ALLOWED[allowed]:
                yield _share(f"{key}.{name}", f"{key}.{name}", "wt%", meaning)
        case Table(meaning=meaning):
            columns = schema.columns(key.partition(".")[0], declared)[1]
            for element, name in ((e, name) for e, row in value.items() for name in row):
                one, path = columns[name], f"{key}.{element}.{name}"
                bare = one.unit == "%"
                yield Variable(path, path, one.unit, meaning, one.low, one.high, bare=bare)


def _share(key: str, path: str, unit: str, meaning: str) -> Variable:
    return Variable(key, path, unit, meaning, 0.0, 1.0, bare=True)
