"""Every setting of a case as the page shows it: what it holds, its unit, what is allowed, a useful range."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from pyrobal import units
from pyrobal.case.blend import BLEND_RATE
from pyrobal.case.schema import tables as tables_of
from pyrobal.case.schema import written_in
from pyrobal.fields import Choice, Quantity, Text
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.report.labels import capital, label
from pyrobal.report.numbers import number
from pyrobal.studies.sensitivity import step
from pyrobal.studies.variable import Variable, blend_rate, variables

SHARES: Final = ("%", "wt%", "vol%")
_KELVINS: Final = 100.0  # to either side of a temperature
_SHARE: Final = 0.5  # of the value to either side of any other
_DIGITS: Final = 6
_ENDS: Final = 3  # digits of the ends of a slider


@dataclass(frozen=True)
class Span:
    """Where a slider goes: low to high by step, in SI."""

    low: float
    high: float
    step: float


def as_written(inputs: Inputs) -> dict[str, dict[str, Any]]:
    """Each setting that a case has or could have in its tables, by key, as the page shows it.

    Lines of an assay and shares of a table are there only where the case has them.
    """
    present, all_declared = dict(inputs.arrays()), _declared(inputs)
    found = {}
    for variable in _numbers(inputs):
        declared = all_declared.get(variable.key)
        if isinstance(declared, Quantity) or variable.path in present or variable.key == BLEND_RATE:
            word = declared.word if isinstance(declared, Quantity) else None
            found[variable.key] = _number(inputs, variable, declared, word)
    for key, (declared, value) in _words(inputs).items():
        found[key] = _word(inputs, key, declared, value)
    return found


def values_of(inputs: Inputs, keys: Iterable[str]) -> dict[str, dict[str, Any]]:
    """What settings hold: value and text in their unit; one the case has not is left out."""
    words, numbers, declared = _words(inputs), {v.key: v for v in _numbers(inputs)}, _declared(inputs)
    found = {}
    for key in keys:
        if key in words:
            found[key] = {"value": None, "text": words[key][1], "unit": ""}
        elif key in numbers:
            found[key] = _held(inputs, numbers[key], declared.get(key))
    return found


def span(inputs: Inputs, variable: Variable, usual: tuple[float, float] | None = None) -> Span | None:
    """A useful range around what the case has, within what is allowed; None where it has no number.

    usual : the range met in works, which it keeps to where the present value does
    """
    held = variable.value(inputs)
    if held is None:
        return None
    value = float(held[0])
    size = abs(step(variable, value))
    reach = _reach(variable, value, size)
    low, high = value - reach, value + reach
    if usual is not None and usual[0] <= value <= usual[1]:
        low, high = max(low, usual[0]), min(high, usual[1])
    low, high = _rounded(variable, low, math.floor), _rounded(variable, high, math.ceil)
    low = low if variable.low is None else max(low, variable.low)
    high = high if variable.high is None else min(high, variable.high)
    return Span(min(low, value), max(high, value), size if variable.count else 0.1 * size)


def usual_of(inputs: Inputs, key: str) -> tuple[float, float] | None:
    """The range of a setting that is met in works, where one is declared."""
    declared = _declared(inputs).get(key)
    return declared.usual if isinstance(declared, Quantity) else None


def _reach(variable: Variable, value: float, size: float) -> float:
    """How far a slider goes to either side; a share that is nearly all, half of what it lacks."""
    if variable.unit == "degC":
        return _KELVINS
    if variable.unit in SHARES and 0.5 < value < 1.0:
        return max(_SHARE * (1.0 - value), size)
    return max(_SHARE * abs(value), 5.0 * size)


def _rounded(variable: Variable, si: float, side: Any) -> float:
    """To few digits in the plant unit, outwards."""
    shown = float(variable.shown(si))
    if shown == 0.0:
        return si
    places = _ENDS - 1 - math.floor(math.log10(abs(shown)))
    return float(units.to_si(side(round(shown * 10.0**places, 6)) / 10.0**places, variable.unit))


def _numbers(inputs: Inputs) -> Iterator[Variable]:
    if len(inputs.concentrate) > 1:
        yield blend_rate(inputs)
    yield from variables(inputs).values()


def _declared(inputs: Inputs) -> dict[str, Any]:
    return {f"{key}.{name}": d for key, node in tables_of(inputs) for name, d in written_in(node).items()}


def _words(inputs: Inputs) -> dict[str, tuple[Choice | Text, str]]:
    """Settings that hold a word: of a list, or the name of a fuel."""
    return {
        f"{key}.{name}": (declared, getattr(node, name) or "")
        for key, node in tables_of(inputs)
        for name, declared in written_in(node).items()
        if isinstance(declared, Choice | Text) and name != "name"
    }


def _number(inputs: Inputs, variable: Variable, declared: Any, word: str | None) -> dict[str, Any]:
    least, most = (
        None if x is None else _tidy(float(variable.shown(x))) for x in (variable.low, variable.high)
    )
    found = {
        "key": variable.key,
        "label": _label(variable.key),
        "meaning": variable.meaning,
        "kind": "number",
        "units": list(units.spellings(variable.unit)),
        "least": least,
        "most": most,
        "choices": [word] if word else [],
        **_held(inputs, variable, declared),
    }
    reach = span(inputs, variable, usual_of(inputs, variable.key))
    if reach is not None:
        found |= {
            "low": _tidy(float(variable.shown(reach.low))), "high": _tidy(float(variable.shown(reach.high))),
            "step": _tidy(float(reach.step if variable.unit == "degC" else variable.shown(reach.step))),
        }  # fmt: skip
    return found


def _held(inputs: Inputs, variable: Variable, declared: Any) -> dict[str, Any]:
    value = variable.value(inputs)
    if value is None:
        word = declared.word if isinstance(declared, Quantity) and declared.word else ""
        return {"value": None, "text": word, "unit": variable.unit}
    shown = _tidy(float(variable.shown(float(value[0]))))
    return {"value": shown, "text": number(shown, _DIGITS), "unit": variable.unit}


def _tidy(x: float) -> float:
    """Without what only came of converting it."""
    return float(f"{x:.12g}")


def _word(inputs: Inputs, key: str, declared: Choice | Text, value: str) -> dict[str, Any]:
    choices = list(declared.options) if isinstance(declared, Choice) else sorted({*inputs.fuel, value})
    return {
        "key": key, "label": _label(key), "meaning": declared.meaning, "kind": "choice", "unit": "",
        "units": [], "value": None, "text": value, "choices": choices,
    }  # fmt: skip


def _label(key: str) -> str:
    if key == BLEND_RATE:
        return "All concentrates"
    return capital(label(key))
