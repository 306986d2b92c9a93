"""What the heading of a column measures, and what its cells mean in SI."""

from __future__ import annotations

import datetime
import functools
import re
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import FloatN
from pyrobal.case.load import Case
from pyrobal.case.sheet import Cell
from pyrobal.case.unused import without_effect
from pyrobal.fields import Deviation
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.results import Results
from pyrobal.names import nearest
from pyrobal.readings import registry
from pyrobal.studies.measure import solved
from pyrobal.studies.variable import Variable, find, variables

_STOCK: Final = re.compile(r"stock\.(?P<name>[^.]+)(?:\.assay\.(?P<X>\w+))?")


@dataclass(frozen=True)
class Head:
    """A heading understood: what it measures and in which unit."""

    key: str
    unit: str
    place: Cell
    variable: Variable | None
    natural: str  # the unit of what is measured

    def si(self, cell: Cell) -> float:
        """One value in SI. Raises ValueError with a sentence for its author."""
        value = cell.value
        if isinstance(value, datetime.date | datetime.datetime | datetime.time):
            raise ValueError("is a date or time; the cell was formatted as one, write the number again")
        if isinstance(value, bool):
            raise ValueError(f"is {str(value).lower()}; a number is needed")
        si = units.parse(
            f"{value!r} {self.unit}" if not isinstance(value, str) else _with(value, self.unit), self.natural
        )
        if self.variable is not None and not self.variable.allows(np.array([si])).all():
            self.variable.si(units.write(si, self.variable.unit, digits=12))  # says what is allowed
        if si < 0.0 and self.variable is None and not self.key.startswith("stock.") and _counts(self.unit):
            raise ValueError(f"{cell.text} is negative")
        return si

    def deviation(self, text: str, at: FloatN) -> FloatN:
        """Standard deviations (T,) in SI of values (T,). Raises ValueError."""
        found = self._stated(text)
        if not found.size > 0.0:
            raise ValueError(f"{text} is no deviation; it is above zero")
        return deviations(found, at)

    def _stated(self, text: str) -> Deviation:
        if text.endswith("rel"):
            share = text.removesuffix("rel").strip().removesuffix("%").strip()
            try:
                return Deviation(float(share) / 100.0, relative=True)
            except ValueError:
                raise ValueError(f'"{text}" is not a percentage of the value, e.g. 2 % rel') from None
        unit = "K" if units.kind(self.natural) == "a temperature" else self.unit
        natural = "K" if unit == "K" else self.natural
        return Deviation(units.parse(_with(text, unit), natural))


def _with(text: str, unit: str) -> str:
    """A number with the unit of its column; text that names a unit of its own stands as it is."""
    return f"{text} {unit}" if re.fullmatch(r"[\s+\-.,'0-9eE]*", text) else text


def _counts(unit: str) -> bool:
    """Whether a quantity in this unit cannot be below zero."""
    return units.kind(unit) not in ("a temperature", "a power", "a ratio")


def deviations(deviation: Deviation, at: FloatN) -> FloatN:
    """(T,) of a column: a share is of its mean size, so that a small reading is not trusted for being
    small."""
    size = float(np.nanmean(np.abs(at))) if np.isfinite(at).any() else 0.0
    return np.full(at.shape, deviation.at(size))


class Heads:
    """Understands headings of one case."""

    def __init__(self, case: Case) -> None:
        self.inputs: Inputs = case.inputs
        self.results: Results = solved(case.inputs)
        self.settings = variables(case.inputs)
        self.unused = without_effect(case.inputs)

    def head(self, key: str, unit: str, place: Cell) -> Head:
        """What a heading means. Raises ValueError."""
        if match := _STOCK.fullmatch(key):
            return _checked(Head(key, unit, place, None, "wt%" if match["X"] else "t"))
        reading = key in self._readings
        variable = find(self.inputs, key) if "*" in key else self.settings.get(key)
        if variable is not None and not (reading and key in self.unused):
            if key in self.unused:
                raise ValueError(f"is not free in this case: {self.unused[key]}")
            if variable.value(self.inputs) is None and not variable.bare:
                raise ValueError(
                    "holds no number in this case, which works it out; measure its reading instead"
                )
            return _checked(Head(key, unit, place, variable, variable.unit))
        if reading:
            return _checked(Head(key, unit, place, None, registry.find(key)[0].unit_for(self.results)))
        return self._unknown(key)

    @functools.cached_property
    def _readings(self) -> frozenset[str]:
        return frozenset(registry.keys(self.results))

    def _unknown(self, key: str) -> Head:
        near = nearest(key, [*self.settings, *self._readings])
        if registry.known(key):
            raise ValueError("has no value in this case")
        if near is None:
            find(self.inputs, key)  # says what is wrong with it
        raise ValueError(f'is neither a setting nor a reading of this case; did you mean "{near}"?')


def _checked(head: Head) -> Head:
    """With its unit, which must fit what is measured."""
    if not head.unit:
        if head.natural != "-":
            raise ValueError(f'has no unit; write "{head.key} [{head.natural}]"')
        return replace(head, unit="-")
    if head.unit != "-" or head.natural != "-":
        units.parse(f"1 {head.unit}", head.natural)
    return head
