"""The registry of readings: every quantity the engine can report, by dotted key.

A reading is one line: key, plant unit, meaning, and the function of the results that works it out in SI.
A key that ends in ``<X>`` is a family; its members (elements, oxides, minerals, streams) depend on the case.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.flowsheet.results import Results


@dataclass(frozen=True)
class Reading:
    """One quantity the engine works out.

    unit : plant unit shown to people; a function of the results where it depends on the case
    compute : results (and the member, for a family) -> (N,) SI
    members : results -> names that stand in for <X>; None for a single reading
    needs : steps of the plant it takes, attributes of Results with + between them
    """

    key: str
    unit: str | Callable[[Results], str]
    meaning: str
    compute: Callable[..., FloatN]
    members: Callable[[Results], Sequence[str]] | None = None
    needs: str = "feed"

    @property
    def unit_text(self) -> str:
        """The unit where it is always the same, else the choice."""
        return self.unit if isinstance(self.unit, str) else "Nm3/h or t/h"

    def unit_for(self, results: Results) -> str:
        """The plant unit in this case."""
        return self.unit if isinstance(self.unit, str) else self.unit(results)

    def present(self, results: Results) -> bool:
        """True where the case has the step this reading belongs to."""
        return all(getattr(results, step) is not None for step in self.needs.split("+"))

    def keys(self, results: Results) -> list[str]:
        """The keys this reading stands for in a case."""
        if not self.present(results):
            return []
        if self.members is None:
            return [self.key]
        return [self.key.replace("<X>", member) for member in self.members(results)]

    def member(self, key: str) -> str | None:
        """What stands for <X> in ``key``; None where the key is not of this reading."""
        if self.members is None:
            return "" if key == self.key else None
        head, tail = self.key.split("<X>")
        if key.startswith(head) and key.endswith(tail) and len(key) > len(head) + len(tail):
            return key[len(head) : len(key) - len(tail)]
        return None


def readings() -> tuple[Reading, ...]:
    """Every reading, in the order a person reads a balance."""
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
