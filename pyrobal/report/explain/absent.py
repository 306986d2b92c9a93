"""Why a case has no reading of some name: its step is missing, or the name is not quite right."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Final

from pyrobal.readings import registry
from pyrobal.readings.reading import Reading
from pyrobal.report.explain import setting
from pyrobal.report.result import Result

_CLOSE: Final = 0.65  # likeness of two names behind the same section
_ALIKE: Final = 0.85  # of two whole keys


def why_not(result: Result, key: str) -> str:
    """A sentence for the person who asked for ``key``."""
    try:
        reading, member = registry.find(key)
    except KeyError:
        near = _nearest(key, [*result, *(r.key for r in registry.readings()), *setting.known()])
        section = key.partition(".")[0]
        known = any(r.key.startswith(f"{section}.") for r in registry.readings())
        otherwise = f"pyrobal readings{f' {section}' if known else ''} lists those there are"
        return f"there is no reading or setting {key!r}; " + (
            f"did you mean {near!r}?" if near else otherwise
        )
    return f"{key!r} has no value in this case: {_missing(result, reading, member)}"


def _missing(result: Result, reading: Reading, member: str) -> str:
    steps = [step for step in reading.needs.split("+") if getattr(result.results, step) is None]
    if steps:
        return f"it takes [{'] and ['.join(steps)}], which the case does not have"
    if not reading.present(result.results):
        return f"it belongs to another kind of {reading.key.partition('.')[0]}"
    there = list(reading.members(result.results)) if reading.members is not None else []
    return f"{member!r} is none of {', '.join(there)}" if there else "there is nothing of it"


def _nearest(key: str, known: Iterable[str]) -> str | None:
    """The key most like ``key``; a shared section alone is no likeness."""
    section, _, rest = key.partition(".")
    best, likeness = None, 0.0
    for other in dict.fromkeys(known):
        same, _, behind = other.partition(".")
        limit, pair = (_CLOSE, (rest, behind)) if same == section else (_ALIKE, (key, other))
        found = difflib.SequenceMatcher(None, *pair).ratio()
        if found >= limit and found > likeness:
            best, likeness = other, found
    return best
