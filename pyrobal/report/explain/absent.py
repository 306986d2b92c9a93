"""Why a case has no reading of some name: its step is missing, or the name is not quite right."""

from __future__ import annotations

from pyrobal.names import suggestion
from pyrobal.readings import registry
from pyrobal.readings.reading import Reading
from pyrobal.report.explain import setting
from pyrobal.report.result import Result


def why_not(result: Result, key: str) -> str:
    """A sentence for the person who asked for ``key``."""
    try:
        reading, member = registry.find(key)
    except KeyError:
        section = key.partition(".")[0]
        there = any(r.key.startswith(f"{section}.") for r in registry.readings())
        otherwise = f"pyrobal readings{f' {section}' if there else ''} lists those there are"
        known = [*result, *(r.key for r in registry.readings()), *setting.known()]
        return f'there is no reading or setting "{key}"; {suggestion(key, known, otherwise)}'
    return f"{key!r} has no value in this case: {_missing(result, reading, member)}"


def _missing(result: Result, reading: Reading, member: str) -> str:
    steps = [step for step in reading.needs.split("+") if getattr(result.results, step) is None]
    if steps:
        return f"it takes [{'] and ['.join(steps)}], which the case does not have"
    if not reading.present(result.results):
        return f"it belongs to another kind of {reading.key.partition('.')[0]}"
    there = list(reading.members(result.results)) if reading.members is not None else []
    return f"{member!r} is none of {', '.join(there)}" if there else "there is nothing of it"
