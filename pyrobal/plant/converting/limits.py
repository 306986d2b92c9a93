"""Why a scenario of converting has no answer."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import BoolN, FloatN, IntN
from pyrobal.constants import celsius
from pyrobal.errors import Reason
from pyrobal.plant.converting import schedule
from pyrobal.plant.converting.blast import out_of_reach
from pyrobal.plant.converting.cycle import Course
from pyrobal.plant.converting.deportment import FE
from pyrobal.plant.converting.feed import Charge
from pyrobal.plant.converting.melts import M_FE
from pyrobal.plant.converting.result import Cycle
from pyrobal.plant.converting.settings import ConvertingSettings
from pyrobal.streams.stream import Stream

HOTTEST = celsius(1600)
_ROUNDING = 1e-9


def batch_reasons(
    c: Charge,
    s: ConvertingSettings,
    course: Course,
    cycle: Cycle,
    backwards: BoolN,
    cold: FloatN,
    blister: Stream,
    slag: Stream,
) -> IntN:
    """(N,) the first limit in the list that is broken."""
    coldest, hottest = course.T.min(axis=1), course.T.max(axis=1)
    own_time = course.end[:, -1]
    checks: list[tuple[BoolN, Reason]] = [
        (out_of_reach(s.slag_blow_enrichment, s), Reason.BLAST_OUT_OF_REACH),
        (out_of_reach(s.copper_blow_enrichment, s), Reason.BLAST_OUT_OF_REACH),
        (_iron(c) <= s.white_metal_iron, Reason.NO_IRON_FOR_SLAG_BLOW),
        (_overlap(s, course), Reason.STAGES_OVERLAP),
        (_impossible(slag), Reason.CONVERTER_SLAG_IMPOSSIBLE),
        (_no_solubility(s), Reason.CONVERTER_SLAG_IMPOSSIBLE),
        (backwards, Reason.BLOW_RUNS_BACKWARDS),
        (coldest < s.coldest_bath, Reason.BATH_FREEZES),
        (hottest > HOTTEST, Reason.BATH_OVERHEATS),
        (own_time > cycle.time * (1 + _ROUNDING), Reason.BLOWS_LONGER_THAN_CYCLE),
        (_more_than_made(s, cold, blister), Reason.OWN_COPPER_SHORT),
        (np.asarray(~np.isfinite(course.T).all(axis=1)), Reason.NOT_CONVERGED),
    ]
    if s.vessels is not None:
        checks.append((cycle.vessels > s.vessels * (1 + _ROUNDING), Reason.BLOWS_LONGER_THAN_CYCLE))
    return first_reason(c, own_time, checks)


def _iron(c: Charge) -> FloatN:
    """(N,) [kg/kg] iron in the matte."""
    return c.matte.elements()[:, FE] * M_FE / c.matte.mass()


def _overlap(s: ConvertingSettings, course: Course) -> BoolN:
    """(N,) True where a stated charging time leaves no time to blow, or no iron before it comes."""
    found = np.zeros(len(course.T), dtype=bool)
    for cut in schedule.cuts(s):
        timed = np.isfinite(cut.time)
        end = int(np.flatnonzero(course.columns(f"slag blow {cut.number + 1}"))[-1])
        found = found | (timed & ((cut.time <= 0.0) | (course.iron[:, end] < s.white_metal_iron)))
    return found


def _more_than_made(s: ConvertingSettings, cold: FloatN, blister: Stream) -> BoolN:
    """(N,) True where own cold copper (N,) [kg/s] is more than the blister that is left."""
    own = s.copper_coolant == "own_copper"
    return np.asarray((cold > blister.mass()) & own)


def _no_solubility(s: ConvertingSettings) -> BoolN:
    """(N,) True where the copper a slag would dissolve beside white metal has no value."""
    return np.asarray(~np.isfinite(schedule.slag_assay(s, s.white_metal_iron).oxidic_copper))


def _impossible(slag: Stream) -> BoolN:
    """(N,) True where a component of the slag would be negative."""
    return np.asarray(slag.n.min(axis=1) < -_ROUNDING * np.abs(slag.n).sum(axis=1))


def first_reason(c: Charge, like: FloatN, checks: list[tuple[BoolN, Reason]]) -> IntN:
    """(N,) the first reason whose check is True; ``like`` has the length of the scenario axis."""
    reason = np.where(c.finite(), Reason.SOLVED, Reason.INPUT_NOT_FINITE) + np.zeros(
        len(like), dtype=np.int64
    )
    for broken, why in checks:
        reason = np.where((reason == Reason.SOLVED) & broken, why, reason)
    return reason.astype(np.int64)


def continuous_reasons(
    c: Charge, s: ConvertingSettings, enrichment: FloatN, backwards: BoolN, converged: BoolN, slag: Stream
) -> IntN:
    """(N,) the first limit in the list that is broken."""
    checks = [
        (out_of_reach(enrichment, s), Reason.BLAST_OUT_OF_REACH),
        (_impossible(slag), Reason.CONVERTER_SLAG_IMPOSSIBLE),
        (backwards, Reason.BLOW_RUNS_BACKWARDS),
        (~converged, Reason.NOT_CONVERGED),
    ]
    return first_reason(c, enrichment, checks)
