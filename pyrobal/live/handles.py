"""The settings that matter most for a case: those that move its first figures the furthest."""

from __future__ import annotations

import re
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.case.blend import BLEND_RATE
from pyrobal.case.unused import without_effect
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.live.settings import Settings
from pyrobal.report.labels import label
from pyrobal.report.numbers import number
from pyrobal.report.result import Result
from pyrobal.studies.curves import in_turn, readings_of
from pyrobal.studies.measure import measured
from pyrobal.studies.variable import Variable

MOST: Final = 8  # numbers
# Tables that are what is given, not what is set in a shift: limits, states of upsets, how a solver goes.
_NOT_MOVED: Final = ("limit.", "upset.", "recycle.", "stack.", "site.", "fuel.")
# Which model it is and how far it is off, or how well a piece works: no such valve stands in the plant.
_NO_CONTROL: Final = re.compile(
    "over_equilibrium|entrained|efficiency|_minimum|escape|precision|_model|_activities"
)
_HEATS: Final = ("smelting.fuel_heat", "smelting.heat.surplus")
HEAT_TOTAL: Final = "smelting.heat.total"
_FIRST: Final = (
    "smelting.enrichment", "smelting.matte_grade", "smelting.oxygen_per_tonne", "acid_feed.flow",
    "acid_feed.so2", "acid_feed.o2",
)  # fmt: skip
_FED: Final = (".rate", ".share")
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


def handles(inputs: Inputs, ranked: Sequence[Reach]) -> list[dict[str, Any]]:
    """What the page shows of them: how rich the gas and the matte are, what is fed, then what matters most by
    sensitivity, then every choice that has an effect."""
    settings, unused = Settings(inputs), tuple(without_effect(inputs))
    described = {one["key"]: one for one in settings.described()}
    whys = {reach.key: reach.why for reach in ranked}
    there = [key for key in described if not key.startswith(unused) and described[key]["text"]]
    fed = [key for key in there if key.startswith(("charge.rate", "concentrate.")) and key.endswith(_FED)]
    first = [*(key for key in _FIRST if key in there), *fed][:MOST]
    numbers = dict.fromkeys((*first, *whys))
    choices = (key for key in settings.words if key in there and not _NO_CONTROL.search(key))
    chosen = [*list(numbers)[:MOST], *choices]
    return [{**described[key], "why": whys.get(key, "")} for key in chosen]


def _moved(inputs: Inputs) -> dict[Variable, FloatN]:
    """Each candidate with the place it is moved to, in SI: upwards, unless its range ends before."""
    settings, found = Settings(inputs), {}
    for variable in _candidates(settings):
        reach, value = settings.span(variable.key), settings.held(variable.key)
        if reach is not None and value is not None and reach.low < reach.high:
            size = _PART * (reach.high - reach.low)
            place = value + size if value + size <= reach.high else value - size
            found[variable] = np.array([round(place) if variable.count else place])
    return found


def _scales(readings: Sequence[str], values: FloatN) -> FloatN:
    """What a change of each reading is a share of: the reading, of a heat all heat of the furnace."""
    found = dict(zip(readings, np.abs(values), strict=True))
    return np.array([found[HEAT_TOTAL] if key in _HEATS else found[key] for key in readings])


def _candidates(settings: Settings) -> list[Variable]:
    """Numbers that are set while the plant runs, of those that have an effect."""
    unused, moved_already = tuple(without_effect(settings.inputs)), _twice(settings.inputs)
    return [
        variable
        for key, variable in settings.numbers.items()
        if settings.held(key) is not None
        and not (variable.bare or variable.count)
        and not key.startswith((*unused, *_NOT_MOVED, *moved_already))
        and not _NO_CONTROL.search(key)
    ]


def _twice(inputs: Inputs) -> tuple[str, ...]:
    """The rate of the whole blend where that of the charge is the same."""
    return () if inputs.charge.rate is None else (BLEND_RATE,)
