"""The registry of readings: every quantity the engine can report, by dotted key.

A reading is one line: key, plant unit, meaning, and the function of the results that works it out in SI.
A key that ends in ``<X>`` is a family; its members (elements, oxides, minerals, streams) depend on the case.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from pyrobal.arrays import FloatN, IntN
from pyrobal.errors import Reason
from pyrobal.flowsheet.results import Results
from pyrobal.names import suggestion
from pyrobal.readings import (
    acid,
    anode,
    balance,
    converting,
    electrorefining,
    emissions,
    feed,
    gas,
    limits,
    load,
    slag_cleaning,
    smelting,
    upset,
)
from pyrobal.readings.reading import Reading

_SOLVED: Final = int(Reason.SOLVED)


@functools.cache
def readings() -> tuple[Reading, ...]:
    """Every reading, in the order a person reads a balance."""
    steps = (
        feed,
        smelting,
        slag_cleaning,
        converting,
        anode,
        electrorefining,
        gas,
        acid,
        load,
        emissions,
        upset,
        balance,
    )
    judged = limits.family(_measured, _present, _why_none)
    return (*(reading for step in steps for reading in step.READINGS), *judged)


@functools.cache
def _single() -> dict[str, Reading]:
    return {reading.key: reading for reading in readings() if reading.members is None}


@functools.cache
def _families() -> tuple[Reading, ...]:
    return tuple(reading for reading in readings() if reading.members is not None)


def find(key: str) -> tuple[Reading, str]:
    """The reading of a key and the member it names, "" where it is no family.

    Raises KeyError with the nearest known key.
    """
    if (found := _match(key)) is not None:
        return found
    near = suggestion(key, (r.key for r in readings()), otherwise="pyrobal readings lists them")
    raise KeyError(f"no reading is called {key}; {near}")


def known(key: str) -> bool:
    """Whether a key is that of a reading, of this case or another."""
    return _match(key) is not None


@functools.lru_cache(maxsize=4096)
def _match(key: str) -> tuple[Reading, str] | None:
    if key in _single():
        return _single()[key], ""
    members = ((reading, reading.member(key)) for reading in _families())
    return next(((reading, member) for reading, member in members if member), None)


def keys(results: Results) -> list[str]:
    """Every key that has a value in this case."""
    return [key for reading in readings() for key in reading.keys(results)]


def evaluate(results: Results, key: str) -> FloatN:
    """The values of one reading, (N,) in SI; nan where ``Reading.reason`` says why it has none.

    Raises KeyError for a key the case does not have.
    """
    reading, member = find(key)
    if key not in reading.keys(results):
        raise KeyError(f"{key} has no value in this case")
    return values(results, reading, member)


def evaluate_all(results: Results) -> Iterator[tuple[Reading, str, FloatN]]:
    """Every reading a case has: its line in the registry, its key, and its values as of ``evaluate``."""
    for reading in readings():
        for key in reading.keys(results):
            yield reading, key, values(results, reading, reading.member(key) or "")


def values(results: Results, reading: Reading, member: str = "") -> FloatN:
    """(N,) in SI, nan where there is no answer; the case need not hold the member of a family asked for."""
    with np.errstate(all="ignore"):
        value: Any = reading.compute(results, member) if member else reading.compute(results)
    found = np.where(reading.reason(results, member) == _SOLVED, value, np.nan)
    n = results.scenarios
    return found if found.shape == (n,) else np.broadcast_to(found, (n,))


def _measured(results: Results, key: str) -> FloatN:
    return values(results, *find(key))


def _present(results: Results, key: str) -> bool:
    return key in find(key)[0].keys(results)


def _why_none(results: Results, key: str) -> IntN:
    reading, member = find(key)
    return reading.reason(results, member)
