"""Limits on readings, and what is wanted most of one."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import FloatN, Floats
from pyrobal.case.load import Case
from pyrobal.errors import CaseError, Fault
from pyrobal.readings.limits import limits as of_inputs
from pyrobal.studies.measure import reading_units, reading_value

_LIMIT: Final = re.compile(r"\s*(?P<key>\S+?)\s*(?P<sense><=|>=|=<|=>|<|>)\s*(?P<bound>.+?)\s*")
_ROUNDING: Final = 1e-9  # of its scale; what a balance closes to


@dataclass(frozen=True)
class Limit:
    """``key`` must stay at or above (sense +1) or at or below (sense -1) ``bound``, in its plant unit.

    name : what the case calls it; setting : the key that holds its bound; "" of one on the command line
    """

    key: str
    sense: int
    bound: float
    unit: str
    name: str = ""
    setting: str = ""

    def room(self, values: Floats) -> Floats:
        """How far values of the reading, in its plant unit, are inside; negative where they break it.

        Round-off breaks nothing: heat that is closed to 1e-16 MW keeps a limit of nought.
        """
        room = self.sense * (values - self.bound)
        return np.where(np.abs(room) <= _ROUNDING * self.scale(values), 0.0, room)

    def scale(self, values: Floats) -> float:
        """What makes the room of different limits comparable: the bound, or the spread where it is 0."""
        finite = values[np.isfinite(values)]
        spread = float(np.ptp(finite)) if finite.size else 0.0
        return abs(self.bound) or spread or 1.0

    def of_use(self) -> Limit:
        """The same where the bound is no number but moves: its use is at most 100 %."""
        return replace(self, key=f"limit.{self.name}.use", sense=-1, bound=100.0, unit="%")

    def __str__(self) -> str:
        bound = f"{self.key} {'>=' if self.sense > 0 else '<='} {self.bound:g}{units.behind(self.unit)}"
        return f"{self.name}: {bound}" if self.name else bound


@dataclass(frozen=True)
class Goal:
    """As much (sense +1) or as little (sense -1) of a reading as the limits allow."""

    key: str
    sense: int
    unit: str

    @property
    def keys(self) -> tuple[str, ...]:
        """The reading."""
        return (self.key,)

    def at(self, x: FloatN, r: Mapping[str, float], d: Mapping[str, FloatN]) -> tuple[float, FloatN]:
        """``sense`` times the reading and its slopes: see ``setpoints.Objective``."""
        return self.sense * r[self.key], self.sense * d[self.key]

    def __str__(self) -> str:
        return f"{'most' if self.sense > 0 else 'least'} {self.key}"


def limits(case: Case, texts: Sequence[str], option: str = "--limit") -> tuple[Limit, ...]:
    """Each "READING <= VALUE" or "READING >= VALUE". Raises CaseError with every fault."""
    found, faults = [], []
    for text in texts:
        try:
            found.append(_limit(case, text))
        except ValueError as error:
            faults.append(Fault(option, None, "", str(error)))
        except CaseError as error:
            faults += [Fault(option, None, fault.key, fault.text) for fault in error.faults]
    faults += _contradictions(found, option)
    if faults:
        raise CaseError(faults)
    return tuple(found)


def in_force(case: Case, given: Sequence[Limit], varied: Collection[str] = ()) -> tuple[Limit, ...]:
    """The limits of the case and those given to a study, which replace one of the case on the same side of
    the same reading; with any of them, what the plant needs to work at all.

    varied : settings the study moves; where the bound itself is among them, its use is held to 100 %
    Raises CaseError where no value can meet two of them, or the case has no such reading.
    """
    said = {(limit.key, limit.sense) for limit in given}
    kept, faults = _of_case(case)
    kept = [limit for limit in kept if (limit.key, limit.sense) not in said]
    found = [limit.of_use() if limit.setting in varied else limit for limit in kept]
    found += given
    found += _implied(case) if found else []
    faults += _contradictions(found, "--limit")
    if faults:
        raise CaseError(faults)
    return tuple(found)


def _implied(case: Case) -> list[Limit]:
    """What a plant needs to work at all, beside the limits it is asked to keep: beds that are alight."""
    if case.inputs.acid_plant is None:
        return []
    return [Limit("acid.lighting_margin", 1, 0.0, "K", "catalyst alight")]


def _contradictions(found: Sequence[Limit], option: str) -> Iterator[Fault]:
    for high in (limit for limit in found if limit.sense < 0):
        for low in (limit for limit in found if limit.sense > 0 and limit.key == high.key):
            if low.bound > high.bound:
                yield Fault(option, None, high.key, f"no value is both: {low} and {high}")


def _of_case(case: Case) -> tuple[list[Limit], list[Fault]]:
    """The limits a case gives, and those it has no reading for."""
    found, faults = [], []
    for limit in of_inputs(case.inputs).values():
        try:
            unit = reading_units(case, [limit.reading])[limit.reading]
        except CaseError as error:
            faults += [Fault(case.file, None, limit.setting, fault.text) for fault in error.faults]
            continue
        bound = float(units.display(float(limit.bound[0]), unit))
        found.append(Limit(limit.reading, -1 if limit.upper else 1, bound, unit, limit.name, limit.setting))
    return found, faults


def parted(text: str) -> tuple[str, bool, str]:
    """Reading, whether its bound is an upper one, and the bound, of "READING <= VALUE".

    Raises ValueError for anything else.
    """
    match = _LIMIT.fullmatch(text)
    if match is None:
        raise ValueError(f'"{text}" is not READING <= VALUE or READING >= VALUE')
    return match["key"], "<" in match["sense"], match["bound"]


def _limit(case: Case, text: str) -> Limit:
    key, upper, written = parted(text)
    unit = reading_units(case, [key])[key]
    try:
        bound = units.display(reading_value(written, unit), unit)
    except ValueError as error:
        raise ValueError(f"{key}: {error}") from None
    return Limit(key, -1 if upper else 1, float(bound), unit)


def goal(case: Case, text: str, option: str = "--best") -> Goal:
    """What "max:READING" or "min:READING" asks for. Raises CaseError."""
    word, _, key = (part.strip() for part in text.partition(":"))
    if word not in ("max", "min"):
        raise CaseError([Fault(option, None, "", f'"{text}" is not max:READING or min:READING')])
    return Goal(key, 1 if word == "max" else -1, reading_units(case, [key], option)[key])
