"""One table of limits: how much of each bound that a case gives is taken up.

Those of [[limit]] stand under their names, and the figures of the permit and of the acid plant under the key
of their setting. A limit is broken above 100 %.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal.arrays import FloatN, IntN
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.results import Results
from pyrobal.readings.reading import Reading

_ROUNDING: Final = 1e-9  # of the bound; what a balance closes to
# Setting of a section -> the reading it is a bound on.
_MOST: Final = {
    "emissions.so2_stack_limit": "emissions.worst_stack_so2",
    "emissions.mist_limit": "emissions.worst_stack_mist",
    "emissions.so2_limit": "emissions.so2",
    "emissions.so2_per_t_cu_limit": "emissions.so2_per_t_cu",
    "emissions.so2_per_t_acid_limit": "emissions.so2_per_t_acid",
    "emissions.secondary_so2_limit": "emissions.stated.secondary.so2",
    "acid_plant.flow_limit": "acid.flow_offered",
    "acid_plant.so2_limit": "acid.so2_offered",
}
_LEAST: Final = {"emissions.capture_limit": "emissions.sulfur_capture"}


@dataclass(frozen=True, eq=False)
class Limit:
    """One bound on one reading.

    name : that of [[limit]], or the key of the setting
    upper : the reading is to stay at or below ``bound`` (N,) in SI, else at or above
    setting : key of the setting that holds the bound
    unit : in which the user wrote it; "" where that is the reading's own
    """

    name: str
    reading: str
    upper: bool
    bound: FloatN
    setting: str
    unit: str = ""

    @property
    def own(self) -> bool:
        """Whether the case has it as a [[limit]]."""
        return self.setting != self.name

    def room(self, value: FloatN) -> FloatN:
        """(N,) how far inside a value is, in SI; negative where it breaks the limit, round-off aside."""
        room = (self.bound - value) if self.upper else (value - self.bound)
        return np.where(np.abs(room) <= _ROUNDING * np.abs(self.bound), 0.0, room)

    def use(self, value: FloatN) -> FloatN:
        """(N,) share of the bound, above 1 where it is broken.

        Of an upper bound the value over it, of a lower one the bound over the value; of a bound below zero
        the other way round. nan where that is no share: a bound of nought, a value beyond nought.
        """
        direct = (self.bound.real > 0.0) == self.upper
        with np.errstate(all="ignore"):
            share = np.where(direct, value / self.bound, self.bound / value)
        there = (self.bound.real != 0.0) & (direct | (value.real * self.bound.real > 0.0))
        return np.where(there, share, np.nan)


def limits(inputs: Inputs) -> dict[str, Limit]:
    """Every limit a case gives, by name, its own first."""
    found = []
    for one in inputs.limit:
        setting = f"limit.{one.name}.{'most' if one.upper else 'least'}"
        found.append(Limit(one.name, one.reading, one.upper, one.bound, setting, one.unit))
    for upper, table in ((True, _MOST), (False, _LEAST)):
        for setting, reading in table.items():
            section, _, name = setting.partition(".")
            bound = getattr(getattr(inputs, section), name, None)
            if bound is not None:
                found.append(Limit(setting, reading, upper, bound, setting))
    return {limit.name: limit for limit in found}


def family(
    value: Callable[[Results, str], FloatN],
    has: Callable[[Results, str], bool],
    why: Callable[[Results, str], IntN],
) -> tuple[Reading, ...]:
    """Readings over readings: each limit asks for the one it judges.

    value : (N,) in SI of a key; has : whether the case has it; why : (N,) the reason it has no value
    """

    def members(r: Results) -> list[str]:
        return [name for name, limit in limits(r.inputs).items() if has(r, limit.reading)]

    def use(r: Results, name: str) -> FloatN:
        limit = limits(r.inputs)[name]
        return limit.use(value(r, limit.reading))

    meaning = "reading over its limit, of a least the limit over the reading; broken above 100"
    return (
        Reading(
            "limit.<X>.use", "%", meaning, use, members, needs="inputs",
            why=lambda r, name: why(r, limits(r.inputs)[name].reading),
        ),
    )  # fmt: skip
