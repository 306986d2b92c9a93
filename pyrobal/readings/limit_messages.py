"""Cautions about the limits that a case gives in [[limit]]; the steps speak of those in their settings."""

from __future__ import annotations

from collections.abc import Iterator

from pyrobal.flowsheet.results import Results
from pyrobal.readings.limits import limits
from pyrobal.readings.message import Message
from pyrobal.readings.registry import find, values


def limit_messages(r: Results, i: int) -> Iterator[Message]:
    """Those that scenario i breaks, and those that judge nothing in this case."""
    for name, limit in limits(r.inputs).items():
        if not limit.own:
            continue
        key, (reading, member) = f"limit.{name}", find(limit.reading)
        if limit.reading not in reading.keys(r):
            yield Message("caution", key, f"judges nothing: this case has no {limit.reading}")
        elif limit.unit != reading.unit_for(r):
            text = f"judges nothing: {limit.reading} is in {reading.unit_for(r)} here, not in {limit.unit}"
            yield Message("caution", key, text)
        elif limit.room(values(r, reading, member))[i] < 0.0:
            side = "above the most" if limit.upper else "below the least"
            yield Message("caution", key, f"broken: {limit.reading} is {side} that is allowed")
