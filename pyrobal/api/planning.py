"""Where to run and what to buy, as functions of the words of their commands: see ``commands``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pyrobal.api.commands import CaseLike, Words, _case, _several, _study
from pyrobal.api.study import Study

if TYPE_CHECKING:
    from pyrobal.studies.optimise import Best
    from pyrobal.studies.plan.planning import Schedule


def optimise(case: CaseLike, best: str, by: Words, *, limit: Words = (), set: Words = ()) -> Study[Best]:
    """Choose settings for the most or least of a reading within limits.

    best : "max:READING" or "min:READING"; by : "KEY=LOW:HIGH" each; limit : beside those of the case

    >>> import pyrobal
    >>> case, by, keep = "cases/skerry_point.toml", "smelting.enrichment=50 %:70 %", "smelting.fuel >= 100"
    >>> found = pyrobal.optimise(case, "min:smelting.fuel_heat", by, limit=keep)
    >>> found.found.best.feasible
    True
    """
    from pyrobal.studies.limit import goal, limits
    from pyrobal.studies.optimise import optimise as work_out

    one = _case(case, set)
    found = work_out(one, _several(by), goal(one, best), limits(one, _several(limit)))
    return _study(one, found, "optimise")


def plan(case: CaseLike, plan: str | Path, *, late: bool = True, set: Words = ()) -> Study[Schedule]:
    """Plan which parcels to take and what to feed in each period, with stocks between, for most margin.

    plan : file of periods, parcels and stocks; late : also what each parcel costs a period late

    >>> import pyrobal
    >>> case, quarter = "cases/skerry_point.toml", "cases/plans/skerry_point_quarter.toml"
    >>> found = pyrobal.plan(case, quarter, late=False)
    >>> found.found.feasible
    True
    """
    from pyrobal.studies.plan.periods import load_plan
    from pyrobal.studies.plan.planning import plan as work_out

    one = _case(case, set)
    return _study(one, work_out(one, load_plan(one, str(plan)), late=late), "plan")
