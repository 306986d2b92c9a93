"""The answer to a state of the page: picture, readings, limits, messages; or what is wrong with the state."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from pyrobal.live.asked import Asked
from pyrobal.live.laid import named
from pyrobal.live.settings import Settings
from pyrobal.live.source import Opened
from pyrobal.report.labels import capital, label
from pyrobal.report.numbers import number
from pyrobal.report.picture import HEAT, bands, offered, picture, quantities
from pyrobal.report.result import Line, Result
from pyrobal.report.tables import plain
from pyrobal.report.verdict import uses, verdict

_WAYS: Final = ("across", "down")


@dataclass(frozen=True)
class Known:
    """What a page knows of the case as the file has it: keys of its handles, of all settings, of those that
    are numbers, and of readings."""

    handles: tuple[str, ...]
    settings: frozenset[str]
    numbers: frozenset[str]
    readings: frozenset[str]

    @classmethod
    def of(cls, described: Mapping[str, Any]) -> Known:
        """That of a description."""
        keys = {name: [one["key"] for one in described[name]] for name in ("handles", "settings", "readings")}
        numbers = frozenset(one["key"] for one in described["settings"] if one["kind"] == "number")
        settings, readings = frozenset(keys["settings"]), frozenset(keys["readings"])
        return cls(tuple(keys["handles"]), settings, numbers, readings)


def answer(opened: Opened, result: Result, asked: Asked, known: Known) -> dict[str, Any]:
    """What the page shows of a state. known : what it knows already"""
    read = {key: line for key in asked.read if (line := result.by_key.get(key)) is not None}
    laid = dict.fromkeys((*asked.changes, *(hold.by.partition("=")[0] for hold in asked.holds)))
    settings = Settings(result.case.inputs, result.case.given)
    like = known.numbers.issuperset(laid)  # only numbers differ, so there is nothing else in it
    more = () if like else [key for key in settings.keys if key not in known.settings]
    others = () if like and not asked.limits else [key for key in result if key not in known.readings]
    return {
        "status": result.status,
        "headline": verdict(result),
        "readings": {key: reading(line.told) for key, line in read.items()},
        "settings": settings.values(dict.fromkeys((*known.handles, *asked.keys, *laid, *more))),
        "more_settings": settings.described(more),
        "more_readings": offered_readings(result.by_key[key].told for key in others),
        "limits": limits(result, named(opened, asked.limits)),
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


def offered_readings(lines: Iterable[Line]) -> list[dict[str, str]]:
    """Readings of a case, to be searched."""
    return [
        {"key": line.key, "label": capital(label(line.key)), "unit": line.unit, "meaning": line.meaning}
        for line in lines
    ]
