"""How a number is written for people: enough digits for the trade, no digit before the point left out."""

from __future__ import annotations

import math
from typing import Final

from pyrobal.units import behind

DIGITS: Final = 4
SMALLEST: Final = 1e-4  # below this a power of ten reads better than zeros


def number(value: float, digits: int = DIGITS) -> str:
    """``value`` to so many significant digits: 23836, 64, 7.721, 0.00045, 1.7e-16, 99.9995; "-" for nan.

    Digits before the decimal point are never rounded away, and trailing zeros say nothing, so both differ
    from a plain ``%g``.
    """
    if not math.isfinite(value):
        return "-"
    if value == 0.0:
        return "0"
    if abs(value) < SMALLEST:
        return f"{value:.{max(digits - 2, 1)}g}"
    if 99.0 < value < 100.0:  # a share that is nearly all: the digits that say it is not
        digits = max(digits, 2 - math.floor(math.log10(100.0 - value)))
    places = max(digits - 1 - math.floor(math.log10(abs(value))), 0)
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def quantity(value: float, unit: str, digits: int = DIGITS) -> str:
    """The same with its unit, which a ratio has none of."""
    text = number(value, digits)
    return text if text == "-" else f"{text}{behind(unit)}"
