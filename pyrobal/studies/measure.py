"""Readings of solved scenarios, for studies: any key, whichever of its members a chunk happens to have."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from typing import Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import FloatN
from pyrobal.case.load import Case
from pyrobal.errors import CaseError, Fault
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.readings import registry

_NOISE: Final = 1e-11  # of the largest reading of its unit


def measured(results: Results, key: str) -> FloatN:
    """One reading, (N,) in SI; nan where the step it is read off has no answer.

    An element that no scenario of the chunk holds reads zero here, where ``registry.evaluate`` refuses it.
    """
    return registry.values(results, *registry.find(key))


@functools.lru_cache(maxsize=1)  # what is asked of a study is looked up in it again and again
def solved(inputs: Inputs) -> Results:
    """The balance of a case as it stands."""
    return solve(inputs)


def reading_units(case: Case, keys: Sequence[str], option: str = "--read") -> dict[str, str]:
    """The plant unit of each reading. Raises CaseError for every key the case has no reading of."""
    results = solved(case.inputs)
    found: dict[str, str] = {}
    faults = []
    for key in keys:
        try:
            if results.solved.all():
                registry.evaluate(results, key)
            found[key] = registry.find(key)[0].unit_for(results)
        except KeyError as error:
            faults.append(Fault(option, None, key, str(error.args[0])))
    if not keys:
        faults.append(Fault(option, None, "", "no reading is asked for; pyrobal readings lists them"))
    if faults:
        raise CaseError(faults)
    return found


def largest(base: Results) -> dict[str, float]:
    """The largest reading of each plant unit, in SI: beside it the round-off of a balance is nothing."""
    found: dict[str, float] = {}
    for reading, _, value in registry.evaluate_all(base):
        if np.isfinite(value[0]):
            unit = reading.unit_for(base)
            found[unit] = max(found.get(unit, 0.0), abs(float(value[0])))
    return found


def noise(case: Case, key: str) -> float:
    """What of a reading may be round-off, in SI."""
    results = solved(case.inputs)
    return _NOISE * largest(results).get(registry.find(key)[0].unit_for(results), 0.0)


def per_unit(unit: str) -> float:
    """SI per plant unit of a difference: 1 for degC."""
    return float(units.to_si(1.0, "K" if unit == "degC" else unit))


def reading_value(text: str, unit: str) -> float:
    """A value of a reading as a person writes it, in SI; a bare number is in its plant unit.

    Raises ValueError with a sentence for its author.
    """
    try:
        number = float(text)
    except ValueError:
        return units.parse(text, unit)
    return float(units.to_si(units.finite(number, "-"), unit))
