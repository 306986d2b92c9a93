"""Numbers that are allowed and yet seldom met: a unit mistaken, more often than a plant like no other."""

from __future__ import annotations

from pyrobal import units
from pyrobal.case.schema import tables, written_in
from pyrobal.case.values import bounds
from pyrobal.fields import Quantity
from pyrobal.flowsheet.inputs import Inputs


def unusual(inputs: Inputs) -> dict[str, str]:
    """Settings outside the range usual in works, by key, each with a sentence; zero is none of them."""
    return {
        f"{key}.{name}": why
        for key, node in tables(inputs)
        for name, declared in written_in(node).items()
        if isinstance(declared, Quantity) and (why := _why(declared, getattr(node, name)))
    }


def _why(declared: Quantity, value: object) -> str:
    if declared.usual is None or value is None:
        return ""
    low, high = declared.usual
    si = float(value[0])  # type: ignore[index]
    if si == 0.0 or low <= si <= high:
        return ""
    shown, usual = units.write(si, declared.unit), bounds(low, high, declared.unit)
    return f"{shown} is outside what is usual, {usual}; is the unit right?"
