"""The answer to a state of the page: picture, readings, limits, messages; or what is wrong with the state."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from pyrobal.live.asked import Asked
from pyrobal.live.laid import named
from pyrobal.live.settings import Settings
from pyrobal.report.labels import capital, label
from pyrobal.report.numbers import number
from pyrobal.report.picture import HEAT, bands, offered, picture, quantities
from pyrobal.report.result import Line, Result
from pyrobal.report.tables import plain
from pyrobal.report.verdict import uses, verdict

_WAYS: Final = ("across", "down")


def answer(result: Result, asked: Asked, handles: Iterable[str]) -> dict[str, Any]:
    """What the page shows of a state. handles : settings to be told of in any case"""
    told = {line.key: line for line in result.told}
    keys = dict.fromkeys((*handles, *asked.changes, *(hold.by.partition("=")[0] for hold in asked.holds)))
    return {
        "status": result.status,
        "headline": verdict(result),
        "readings": {key: reading(told[key]) for key in asked.read if key in told},
        "settings": Settings(result.case.inputs).values(keys),
        "limits": limits(result, named(asked.limits)),
        "messages": [{"level": m.level, "key": m.key, "text": plain(m.text)} for m in result.messages],
        **(_drawn(result, asked) if asked.quantity else {}),
    }


def reading(line: Line) -> dict[str, Any]:
    """One reading as people read it; without a value the reason."""
    found = {"label": capital(label(line.key)), "unit": line.unit}
    if math.isnan(line.value):
        return {**found, "value": None, "text": "-", "reason": line.reason}
    return {**found, "value": line.value, "text": number(line.shown)}


def limits(result: Result, added: Mapping[str, str] | None = None) -> list[dict[str, Any]]:
    """Every limit of the case, the most used first. added : name -> words, of those the page has added"""
    added = added or {}
    return [
        {
            "name": use.name, "label": capital(label(use.line.key)), "reading": use.line.key,
            "value": _finite(use.line.value), "bound": use.bound, "unit": use.line.unit, "upper": use.upper,
            "use": _finite(use.share), "said": use.said, "broken": use.broken,
            **({"added": added[use.name]} if use.name in added else {}),
        }
        for use in uses(result)
    ]  # fmt: skip


def _drawn(result: Result, asked: Asked) -> dict[str, Any]:
    """The picture, and what its bands can be as wide as."""
    way = asked.way if asked.way in _WAYS else _WAYS[0]
    if asked.quantity == HEAT:
        return {"quantities": [*quantities(bands(result)), HEAT], "picture": picture(result, HEAT, way)}
    try:
        drawn = picture(result, asked.quantity, way)
    except ValueError:  # an element that this state has no more
        drawn = picture(result, way=way)
    return {"quantities": [*offered(drawn), HEAT], "picture": drawn}


def _finite(x: float) -> float | None:
    return float(x) if math.isfinite(x) else None


def known(result: Result) -> Sequence[dict[str, str]]:
    """Every reading of a case, to be searched."""
    return [
        {"key": line.key, "label": capital(label(line.key)), "unit": line.unit, "meaning": line.meaning}
        for line in result.told
    ]
