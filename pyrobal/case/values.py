"""One value of a case file to SI, as its declaration wants it.

Every function raises ValueError with a sentence that says what was found and what is allowed.
"""

from __future__ import annotations

import re
from typing import Any, Final

from pyrobal import units
from pyrobal.arrays import FloatN, as_n
from pyrobal.fields import Choice, Deviation, Quantity
from pyrobal.names import shortened, suggestion, unfit

_BARE_LIMIT: Final = re.compile(r"\s*<\s*[-+\d.eE]+\s*")
_ROUNDING: Final = 1e-9  # relative; a bound written in plant units is met in spite of its conversion


def number(declared: Quantity, raw: Any) -> FloatN | None:
    """A quantity with its unit, (1,) in SI; None for the word that may stand in its place."""
    if declared.word is not None and raw == declared.word:
        return None
    try:
        si = _si(raw, declared.unit)
    except ValueError as error:
        also = f', or "{declared.word}"' if declared.word else ""
        raise ValueError(f"{error}{also}") from None
    _check_range(si, declared.unit, declared.low, declared.high, raw)
    return as_n(si)


def fraction(raw: Any, unit: str) -> FloatN:
    """A share of a whole, (1,): a bare number is in ``unit``, a string names its own."""
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        si = units.to_si(units.finite(raw, "-"), unit)
    else:
        si = _si(raw, unit)
    _check_range(si, unit, 0.0, 1.0, raw)
    return as_n(si)


def assay_line(raw: Any) -> FloatN:
    """A line of an assay, (1,): wt% where bare; below detection, "<0.01", half the limit."""
    if not below_detection(raw):
        return fraction(raw, "wt%")
    return 0.5 * fraction(with_unit(raw, "wt%").strip()[1:].strip(), "wt%")


def with_unit(text: str, unit: str) -> str:
    """A detection limit that is a bare number, in ``unit``; another text as it stands."""
    return f"{text} {unit}" if _BARE_LIMIT.fullmatch(text) else text


def below_detection(raw: Any) -> bool:
    """Whether a line of an assay says no more than that there is less than so much."""
    return isinstance(raw, str) and raw.lstrip().startswith("<")


def deviation(raw: Any) -> Deviation:
    """A standard deviation of a share: wt% where bare, "0.2 %" of the whole, or "2 % rel" of the value."""
    relative = isinstance(raw, str) and raw.rstrip().endswith("rel")
    written = raw.rstrip().removesuffix("rel").strip() if relative else raw
    try:
        size = float(fraction(written, "%" if relative else "wt%")[0])
    except ValueError as error:
        raise ValueError(f'{error}; a deviation is 0.2 (wt%) or "2 % rel" (of the value)') from None
    if size == 0.0:
        raise ValueError("is zero; a deviation is above zero")
    return Deviation(size, relative)


def word(declared: Choice, raw: Any) -> str:
    """One of the words on offer; a count among them may be a bare number."""
    if isinstance(raw, int) and not isinstance(raw, bool):
        raw = str(raw)
    if isinstance(raw, str) and raw in declared.options:
        return raw
    said = shortened(raw) if isinstance(raw, str) else called(raw)
    guess = suggestion(raw, declared.options) if isinstance(raw, str) else ""
    allowed = f"allowed: {', '.join(declared.options)}"
    raise ValueError(f"is {said}; {allowed}" if guess in ("", allowed) else f"is {said}; {guess} {allowed}")


def name(raw: Any) -> str:
    """A name that may become part of a dotted key."""
    if not isinstance(raw, str):
        raise ValueError(f"is {called(raw)}; a name in quotes is needed")
    if (why := unfit(raw)) is not None:
        raise ValueError(why)
    return raw


def line(raw: Any) -> str:
    """A text on one line."""
    if not isinstance(raw, str):
        raise ValueError(f"is {called(raw)}; a text in quotes is needed")
    return " ".join(raw.split())


def called(raw: Any) -> str:
    """What a value of the wrong type is called in a message."""
    if isinstance(raw, bool):
        return str(raw).lower()
    if isinstance(raw, str):
        return f"the text {shortened(raw)}"
    if isinstance(raw, int | float):
        return f"the number {raw:g}"
    if isinstance(raw, list):
        return "a list"
    return "a table" if isinstance(raw, dict) else "a date or time"


def _si(raw: Any, unit: str) -> float:
    if isinstance(raw, str):
        return units.parse(raw, unit)
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        return units.finite(raw, unit)
    raise ValueError(f"is {called(raw)}; one number {f'in {unit} ' if unit != '-' else ''}is needed")


def _check_range(si: float, unit: str, low: float | None, high: float | None, raw: Any) -> None:
    slack = _ROUNDING * abs(si)
    below, above = low is not None and si < low - slack, high is not None and si > high + slack
    if not (below or above):
        return
    shown = units.write(si, unit)
    said = f"{raw} ({shown})" if isinstance(raw, str) and raw.strip() != shown else shown
    if below and low == 0.0:
        raise ValueError(f"{said} is negative")
    raise ValueError(f"{said} is too {'low' if below else 'high'}; allowed: {bounds(low, high, unit)}")


def bounds(low: float | None, high: float | None, unit: str) -> str:
    """An allowed range as people write it: "1050 to 1500 degC", "0 t/h or more"."""
    if low is not None and high is not None:
        return f"{units.display(low, unit):.6g} to {units.write(high, unit)}"
    if low is not None:
        return f"{units.write(low, unit)} or more"
    return "any" if high is None else f"{units.write(high, unit)} or less"
