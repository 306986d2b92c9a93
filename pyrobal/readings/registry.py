"""The registry of readings: every quantity the engine can report, by dotted key.

A reading is one line: key, plant unit, meaning, and the function of the results that works it out in SI.
A key that ends in ``<X>`` is a family; its members (elements, oxides, minerals, streams) depend on the case.
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from typing import Any

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.flowsheet.results import Results
from pyrobal.readings import (
    acid,
    anode,
    balance,
    converting,
    electrorefining,
    emissions,
    feed,
    gas,
    load,
    slag_cleaning,
    smelting,
)
from pyrobal.readings.reading import Reading


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
        balance,
    )
    return tuple(reading for step in steps for reading in step.READINGS)


def find(key: str) -> tuple[Reading, str]:
    """The reading of a key and the member it names.

    Raises KeyError with the nearest known key.
    """
    for reading in sorted(readings(), key=lambda r: r.members is not None):  # whole keys before families
        member = reading.member(key)
        if member is not None:
            return reading, member
    near = difflib.get_close_matches(key, [r.key for r in readings()], n=1, cutoff=0.5)
    hint = f"; the nearest is {near[0]}" if near else ""
    raise KeyError(f"no reading is called {key}{hint}")


def keys(results: Results) -> list[str]:
    """Every key that has a value in this case."""
    return [key for reading in readings() for key in reading.keys(results)]


def evaluate(results: Results, key: str) -> FloatN:
    """The values of one reading, (N,) in SI; nan where the scenario has no answer (see ``results.reason``).

    Raises KeyError for a key the case does not have.
    """
    reading, member = find(key)
    if not reading.present(results) or (member and member not in _members(reading, results)):
        raise KeyError(f"{key} has no value in this case")
    with np.errstate(all="ignore"):
        value: Any = reading.compute(results, member) if member else reading.compute(results)
    value = np.broadcast_to(np.asarray(value, dtype=float), (results.scenarios,))
    fed = key.startswith(("feed.", "dryer."))  # known whatever becomes of the furnace
    return np.where(results.fed if fed else results.solved, value, np.nan)


def _members(reading: Reading, results: Results) -> Sequence[str]:
    return reading.members(results) if reading.members else ()
