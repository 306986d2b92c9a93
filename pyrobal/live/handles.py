"""The settings that matter most for a case: those that move its first figures the furthest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.case.unused import without_effect
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.live.settings import as_written, span
from pyrobal.report.labels import label
from pyrobal.report.numbers import number
from pyrobal.studies.tangent import tangent
from pyrobal.studies.variable import BlendRate, Variable, blend_rate, variables

MOST: Final = 7  # numbers
_CHOICES: Final = ("smelting.close_heat_with", "smelting.fuel", "converting.close_heat_with")
# Tables that are what is given, not what is set in a shift: limits, states of upsets, how a solver goes.
_NOT_MOVED: Final = ("limit.", "upset.", "recycle.", "stack.", "site.", "fuel.")
_NO_CONTROL: Final = "over_equilibrium"  # how far a model is off; the plant has no such valve
_HEATS: Final = ("smelting.fuel_heat", "smelting.heat.surplus")
HEAT_TOTAL: Final = "smelting.heat.total"
_LEAST: Final = 1e-3  # of a reading; who moves none of them by that much is no handle


@dataclass(frozen=True)
class Reach:
    """How far a setting over its range moves the reading it moves most, as a share of that reading."""

    key: str
    share: float
    reading: str

    @property
    def why(self) -> str:
        """For people."""
        return f"over its range it moves {label(self.reading)} by about {number(100 * self.share, 2)} %"


def reaches(inputs: Inputs, readings: Sequence[str]) -> list[Reach]:
    """The settings by how far they move any of the readings, or the heat that the furnace lacks or has to
    spare, to first order, the furthest first."""
    moved = _candidates(inputs)
    readings = [*readings, *(() if inputs.acid_feed is not None else (*_HEATS, HEAT_TOTAL))]
    found = tangent(inputs, moved, readings)
    width = np.array([_width(inputs, v) for v in moved])
    with np.errstate(all="ignore"):
        shares: Floats = np.abs(found.slopes[0] * width[:, None] / _scales(readings, found.values[0]))
    shares = np.nan_to_num(shares, nan=0.0, posinf=0.0)
    best = shares.argmax(axis=1)
    ranked = sorted(range(len(moved)), key=lambda k: -shares[k, best[k]])
    return [
        Reach(moved[k].key, float(shares[k, best[k]]), readings[best[k]])
        for k in ranked
        if shares[k, best[k]] > _LEAST
    ]


def handles(inputs: Inputs, readings: Sequence[str]) -> list[dict[str, Any]]:
    """What the page shows of them: numbers first, then the choices that are asked for most."""
    written = as_written(inputs)
    numbers = [{**written[r.key], "why": r.why} for r in reaches(inputs, readings)[:MOST]]
    unused = without_effect(inputs)
    choices = [{**written[k], "why": ""} for k in _CHOICES if k in written and k not in unused]
    return [*numbers, *choices]


def _scales(readings: Sequence[str], values: FloatN) -> FloatN:
    """What a change of each reading is a share of: the reading, of a heat all heat of the furnace."""
    found = dict(zip(readings, np.abs(values), strict=True))
    return np.array([found[HEAT_TOTAL] if key in _HEATS else found[key] for key in readings])


def _width(inputs: Inputs, variable: Variable) -> float:
    """Half of what its slider spans, in SI."""
    reach = span(inputs, variable)
    return 0.0 if reach is None else 0.5 * (reach.high - reach.low)


def _candidates(inputs: Inputs) -> list[Variable]:
    """Numbers that are set while the plant runs, of those that have an effect."""
    unused, present = tuple(without_effect(inputs)), dict(inputs.arrays())
    found = [v for v in variables(inputs).values() if v.path in present and not v.key.startswith(unused)]
    found = [v for v in found if not v.key.startswith(_NOT_MOVED) and not v.bare]
    found = [v for v in found if _NO_CONTROL not in v.key]
    return [*_blend(inputs), *found]


def _blend(inputs: Inputs) -> list[BlendRate]:
    return [blend_rate(inputs)] if len(inputs.concentrate) > 1 else []
