"""Every setting of a case as the page shows it: what it holds, its unit, what is allowed, a useful range."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

from pyrobal import units
from pyrobal.arrays import FloatN
from pyrobal.case.blend import BLEND_RATE
from pyrobal.case.schema import tables as tables_of
from pyrobal.case.schema import written_in
from pyrobal.fields import Choice, Declaration, Quantity, Text
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.report.labels import capital, label
from pyrobal.report.numbers import number
from pyrobal.studies.sensitivity import step
from pyrobal.studies.variable import Variable, blend_rate, variables

_SHARES: Final = ("%", "wt%", "vol%")
_KELVINS: Final = 100.0  # to either side of a temperature
_SHARE: Final = 0.5  # of the value to either side of any other
_DIGITS: Final = 6


@dataclass(frozen=True)
class Span:
    """Where a slider goes: from low to high in SI, by a step in the unit of the setting."""

    low: float
    high: float
    step: float


@dataclass(frozen=True, eq=False)
class Settings:
    """The settings of one case.

    given : keys that were written, where only settings that can be laid over the case are to be described
    """

    inputs: Inputs
    given: frozenset[str] | None = None

    @cached_property
    def numbers(self) -> Mapping[str, Variable]:
        """Every number the case has or could have in its tables, that of the whole blend first."""
        whole = [blend_rate(self.inputs)] if len(self.inputs.concentrate) > 1 else []
        return {v.key: v for v in (*whole, *variables(self.inputs).values())}

    @cached_property
    def words(self) -> Mapping[str, tuple[Choice | Text, str]]:
        """Settings that hold a word of a list or the name of a fuel, with the word."""
        return {
            f"{key}.{name}": (declared, getattr(node, name) or "")
            for key, node in tables_of(self.inputs)
            for name, declared in written_in(node).items()
            if isinstance(declared, Choice | Text) and name != "name"
        }

    @cached_property
    def _declared(self) -> Mapping[str, Declaration]:
        return {
            f"{key}.{name}": declared
            for key, node in tables_of(self.inputs)
            for name, declared in written_in(node).items()
        }

    @cached_property
    def _arrays(self) -> Mapping[str, FloatN]:
        return dict(self.inputs.arrays())

    def held(self, key: str) -> float | None:
        """The number that a setting holds, in SI; None where it has a word or nothing."""
        variable = self.numbers[key]
        found = variable.value(self.inputs) if key == BLEND_RATE else self._arrays.get(variable.path)
        return None if found is None else float(found[0])

    def span(self, key: str, around: float | None = None) -> Span | None:
        """A useful range around what the case has, within what is allowed and, where the value is, what is
        usual in works; None where it has no number.

        around : a value in SI that it has to hold too
        """
        value, variable = self.held(key), self.numbers[key]
        if value is None:
            return None
        size = abs(step(variable, value))
        reach = _reach(variable, value, size)
        low, high = value - reach, value + reach
        usual = self._usual(key)
        if usual is not None and usual[0] <= value <= usual[1]:
            low, high = max(low, usual[0]), min(high, usual[1])
        small = lower(float(variable.shown(size)) if variable.unit != "degC" else size)
        low, high = _multiple(variable, low, small, math.floor), _multiple(variable, high, small, math.ceil)
        low = low if variable.low is None else max(low, variable.low)
        high = high if variable.high is None else min(high, variable.high)
        every = (value, value if around is None else around)
        return Span(min(low, *every), max(high, *every), small if variable.count else _tidy(0.1 * small))

    def _usual(self, key: str) -> tuple[float, float] | None:
        declared = self._declared.get(key)
        return declared.usual if isinstance(declared, Quantity) else None

    def _word_for(self, key: str) -> str:
        """The word that may stand in place of a number; "" where none may."""
        declared = self._declared.get(key)
        return (isinstance(declared, Quantity) and declared.word) or ""

    def values(self, keys: Iterable[str]) -> dict[str, dict[str, Any]]:
        """What settings hold: value and text in their unit; one the case has not is left out."""
        return {key: self._value(key) for key in keys if key in self.words or key in self.numbers}

    def _value(self, key: str) -> dict[str, Any]:
        if key in self.words:
            return {"value": None, "text": self.words[key][1], "unit": ""}
        variable, value = self.numbers[key], self.held(key)
        if value is None:
            return {"value": None, "text": self._word_for(key), "unit": variable.unit}
        shown = _tidy(float(variable.shown(value)))
        return {"value": shown, "text": number(shown, _DIGITS), "unit": variable.unit}

    @cached_property
    def keys(self) -> tuple[str, ...]:
        """Those that are described. Lines of an assay and shares of a table are there only where the case has
        them; a fuel of the house not at all."""
        numbers = (
            key
            for key in self.numbers
            if isinstance(self._declared.get(key), Quantity) or self.held(key) is not None
        )
        return tuple(key for key in (*numbers, *self.words) if not key.startswith(self._of_house))

    def described(self, keys: Iterable[str] | None = None) -> list[dict[str, Any]]:
        """Each setting, or those of some keys."""
        return [
            self._word(key) if key in self.words else self._number(key)
            for key in (self.keys if keys is None else keys)
        ]

    @cached_property
    def _of_house(self) -> tuple[str, ...]:
        """What the keys of fuels begin with that the file does not describe."""
        fuels = [f"fuel.{name}." for name in self.inputs.fuel]
        given = self.given
        return tuple(f for f in fuels if given is not None and not any(key.startswith(f) for key in given))

    def _number(self, key: str) -> dict[str, Any]:
        variable, word = self.numbers[key], self._word_for(key)
        least, most = (None if x is None else _shown(variable, x) for x in (variable.low, variable.high))
        found = {
            "key": key, "label": _label(key), "meaning": variable.meaning, "kind": "number",
            "units": list(units.spellings(variable.unit)), "least": least, "most": most,
            "choices": [word] if word else [], **self._value(key),
        }  # fmt: skip
        reach = self.span(key)
        if reach is not None:
            low, high = _shown(variable, reach.low), _shown(variable, reach.high)
            found |= {"low": low, "high": high, "step": reach.step}
        return found

    def _word(self, key: str) -> dict[str, Any]:
        declared, value = self.words[key]
        fuels = sorted({*self.inputs.fuel, value})
        return {
            "key": key, "label": _label(key), "meaning": declared.meaning, "kind": "choice", "units": [],
            "choices": list(declared.options) if isinstance(declared, Choice) else fuels, **self._value(key),
        }  # fmt: skip


def _reach(variable: Variable, value: float, size: float) -> float:
    """How far a slider goes to either side; a share that is nearly all, half of what it lacks."""
    if variable.unit == "degC":
        return _KELVINS
    if variable.unit in _SHARES and 0.5 < value < 1.0:
        return max(_SHARE * (1.0 - value), size)
    return max(_SHARE * abs(value), 5.0 * size)


def lower(size: float) -> float:
    """The next lower of 1, 2 or 5 times a power of ten."""
    ten = 10.0 ** math.floor(math.log10(size) + 1e-9)
    return _tidy(max(n for n in (1.0, 2.0, 5.0) if n * ten <= size * (1.0 + 1e-9)) * ten)


def _multiple(variable: Variable, si: float, size: float, side: Callable[[float], float]) -> float:
    """The multiple of a size in the plant unit on one side of a value in SI."""
    shown = round(float(variable.shown(si)) / size, 6)
    return float(units.to_si(_tidy(side(shown) * size), variable.unit))


def _shown(variable: Variable, si: float) -> float:
    return _tidy(float(variable.shown(si)))


def _tidy(x: float) -> float:
    """Without what only came of converting it."""
    return float(f"{x:.12g}")


def _label(key: str) -> str:
    return "All concentrates" if key == BLEND_RATE else capital(label(key))
