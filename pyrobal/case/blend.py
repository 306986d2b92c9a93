"""``concentrate.*.rate``: the rates of all concentrates of a case, in proportion."""

from __future__ import annotations

import re
from typing import Any, Final

from pyrobal import units
from pyrobal.case.lines import Path

BLEND_RATE: Final = "concentrate.*.rate"
_UNIT: Final = "t/h"
_SHARE: Final = re.compile(r"\s*(?P<share>[+-]\s*\d+(?:\.\d+)?(?:[eE][+-]?\d+)?)\s*%\s*")


def signed_share(raw: Any) -> float | None:
    """A change as a fraction: "+15 %" is 0.15; None of anything else."""
    match = _SHARE.fullmatch(raw) if isinstance(raw, str) else None
    return None if match is None else float(match["share"].replace(" ", "")) / 100.0


def set_blend_rate(values: dict[str, Any], raw: Any) -> set[Path]:
    """Lay a total or a signed share over the rates of a document; in one with shares, over the charge.

    Returns the paths that were set. Raises ValueError where the rates cannot be told.
    """
    concentrates = values.get("concentrate")
    items = [c for c in concentrates if isinstance(c, dict)] if isinstance(concentrates, list) else []
    if any("share" in c for c in items):
        charge = values.setdefault("charge", {})
        if not isinstance(charge, dict):
            raise ValueError("[charge] is no table")
        charge["rate"] = _moved(charge.get("rate"), raw)
        return {("charge", "rate")}
    rates = [_rate(c.get("rate")) for c in items]
    total = sum(rates)
    if not total > 0.0:
        raise ValueError("needs rates of concentrates to keep in proportion")
    factor = _rate(_moved(units.write(total, _UNIT, digits=17), raw)) / total
    for item, rate in zip(items, rates, strict=True):
        item["rate"] = units.write(factor * rate, _UNIT, digits=17)
    return {("concentrate", i, "rate") for i, c in enumerate(concentrates or []) if isinstance(c, dict)}


def _moved(present: Any, raw: Any) -> Any:
    """The value asked for, or the present one changed by a signed share."""
    share = signed_share(raw)
    if share is None:
        return raw
    return units.write(_rate(present) * (1.0 + share), _UNIT, digits=17)


def _rate(raw: Any) -> float:
    if not isinstance(raw, str):
        raise ValueError("needs a rate with its unit in every concentrate to keep in proportion")
    return units.parse(raw, _UNIT)
