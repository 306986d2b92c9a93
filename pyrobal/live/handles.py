"""The settings that matter most for a case: those that move its first figures the furthest."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.case.blend import BLEND_RATE
from pyrobal.case.unused import without_effect
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.live.settings import as_written, span, usual_of
from pyrobal.report.labels import label
from pyrobal.report.numbers import number
from pyrobal.report.result import Result
from pyrobal.studies.curves import in_turn, readings_of
from pyrobal.studies.measure import measured
from pyrobal.studies.tangent import held
from pyrobal.studies.variable import Variable, blend_rate, variables

MOST: Final = 7  # numbers
_CHOICES: Final = ("smelting.close_heat_with", "smelting.fuel", "converting.close_heat_with")
# Tables that are what is given, not what is set in a shift: limits, states of upsets, how a solver goes.
_NOT_MOVED: Final = ("limit.", "upset.", "recycle.", "stack.", "site.", "fuel.")
_NO_CONTROL: Final = "over_equilibrium"  # how far a model is off; the plant has no such valve
_HEATS: Final = ("smelting.fuel_heat", "smelting.heat.surplus")
HEAT_TOTAL: Final = "smelting.heat.total"
_OFTEN: Final = (
    BLEND_RATE, "charge.rate", "smelting.matte_grade", "smelting.enrichment", "smelting.fe_sio2",
    "smelting.heat_loss", "acid_feed.flow", "acid_feed.so2",
)  # fmt: skip
_PART: Final = 0.25  # of its slider by which a setting is moved to see what it does
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


def reaches(result: Result, readings: Sequence[str], executor: Executor | None = None) -> list[Reach]:
    """The settings by how far they move any of the readings, or the heat that the furnace lacks or has to
    spare, the furthest first. Each is moved by a quarter of its slider, all in one batched solve."""
    inputs = result.case.inputs
    moved = _moved(inputs)
    readings = [*readings, *(() if inputs.acid_feed is not None else (*_HEATS, HEAT_TOTAL))]
    block = readings_of(in_turn(inputs, moved), readings, executor=executor)
    here = np.array([measured(result.results, key)[0] for key in readings])
    with np.errstate(all="ignore"):
        shares: Floats = np.abs(block.readings - here) / _scales(readings, here) / _PART
    shares = np.nan_to_num(shares, nan=0.0, posinf=0.0)
    best = shares.argmax(axis=1)
    found = [Reach(v.key, float(shares[k, best[k]]), readings[best[k]]) for k, v in enumerate(moved)]
    return sorted((reach for reach in found if reach.share > _LEAST), key=lambda reach: -reach.share)


def handles(
    result: Result, readings: Sequence[str], executor: Executor | None = None
) -> list[dict[str, Any]]:
    """What the page shows of them: numbers first, then the choices that are asked for most.

    Of a case without an answer, where nothing can be compared, those that most often bring one.
    """
    inputs = result.case.inputs
    written, unused = as_written(inputs), without_effect(inputs)
    whys = {reach.key: reach.why for reach in reaches(result, readings, executor)[:MOST]}
    if not whys:
        whys = {key: "" for key in _OFTEN if key in written and key not in unused}
    whys |= {key: "" for key in _CHOICES if key in written and key not in unused}
    return [{**written[key], "why": why} for key, why in whys.items()]


def _moved(inputs: Inputs) -> dict[Variable, FloatN]:
    """Each candidate with the place it is moved to, in SI: upwards, unless its range ends before."""
    found = {}
    for variable in _candidates(inputs):
        reach, value = span(inputs, variable, usual_of(inputs, variable.key)), held(inputs, variable)[0]
        if reach is not None and reach.low < reach.high:
            size = _PART * (reach.high - reach.low)
            place = value + size if value + size <= reach.high else value - size
            found[variable] = np.array([round(place) if variable.count else place])
    return found


def _scales(readings: Sequence[str], values: FloatN) -> FloatN:
    """What a change of each reading is a share of: the reading, of a heat all heat of the furnace."""
    found = dict(zip(readings, np.abs(values), strict=True))
    return np.array([found[HEAT_TOTAL] if key in _HEATS else found[key] for key in readings])


def _candidates(inputs: Inputs) -> list[Variable]:
    """Numbers that are set while the plant runs, of those that have an effect."""
    unused, present = tuple(without_effect(inputs)), dict(inputs.arrays())
    found = [v for v in variables(inputs).values() if v.path in present and not v.key.startswith(unused)]
    found = [v for v in found if not v.key.startswith(_NOT_MOVED) and not v.bare]
    found = [v for v in found if _NO_CONTROL not in v.key]
    blend = [blend_rate(inputs)] if len(inputs.concentrate) > 1 and inputs.charge.rate is None else []
    return [*blend, *found]
