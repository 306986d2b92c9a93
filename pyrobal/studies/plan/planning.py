"""Plan: which parcels to take and what to feed in each period, with stocks between, for most margin.

A mixed-integer program on the derivatives of the full balance of every period's blend, repeated on the
balances of the blends it finds until both agree.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Final

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.case.load import Case
from pyrobal.constants import TONNE_PER_HOUR
from pyrobal.errors import CaseError, Fault
from pyrobal.studies.balances import Balances
from pyrobal.studies.blending import by_rate, cost, held_metals
from pyrobal.studies.limit import Limit, in_force
from pyrobal.studies.linear import Region, conflict, maximise
from pyrobal.studies.measure import reading_units
from pyrobal.studies.plan.blends import Blends
from pyrobal.studies.plan.periods import Plan
from pyrobal.studies.plan.prices import Step, curve
from pyrobal.studies.plan.program import Program
from pyrobal.studies.search import Climb, climb
from pyrobal.studies.setpoints import Count
from pyrobal.studies.tangent import held
from pyrobal.studies.terms import charge_of
from pyrobal.studies.variable import find
from pyrobal.studies.worth import Worth, worth

SHOWN: Final = (
    "feed.assay.Cu", "feed.assay.S", "feed.assay.As", "smelting.oxygen.industrial", "smelting.fuel_heat",
    "smelting.matte.rate", "smelting.slag.rate", "recovery.Cu",
)  # fmt: skip
_NOTHING: Final = 1e-6  # money; less is round-off
_TAKEN: Final = 1e-6  # share of a parcel: less is none


@dataclass(frozen=True)
class Late:
    """What it costs where a parcel comes a period late: money, nan where the plan then breaks; and why."""

    costs: float
    conflict: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Schedule:
    """A plan that was worked out.

    rates : (T, L) t/h of each lot; stocks : (T, L) t at the end of each period; taken : parcel -> t of it
    value : money of the whole plan; costs : parcel -> money per dry tonne
    readings : key -> (T,) in plant units, with ``units``
    limit_worth : (limit, period) -> money that one more unit of room brings
    bound_worth : what a stock or charge says -> money one more tonne, or t/h, of it brings
    enters : parcel -> money per tonne below which more of it is taken, or at all
    late : parcel -> what it costs where it is a period late
    curves : parcel -> how much of it is taken at which price
    kept : concentrates that keep their rates in the case
    conflict : what cannot be kept together, where there is no feasible plan
    gap : share of the value by which a better choice of whole parcels and bins is not ruled out
    """

    plan: Plan
    feasible: bool
    settled: bool
    value: float
    rates: Floats
    stocks: Floats
    taken: Mapping[str, float]
    costs: Mapping[str, float]
    readings: Mapping[str, FloatN]
    units: Mapping[str, str]
    limit_worth: Mapping[tuple[Limit, int], float] = field(default_factory=dict)
    bound_worth: Mapping[str, float] = field(default_factory=dict)
    enters: Mapping[str, float] = field(default_factory=dict)
    late: Mapping[str, Late] = field(default_factory=dict)
    curves: Mapping[str, tuple[Step, ...]] = field(default_factory=dict)
    kept: tuple[str, ...] = ()
    conflict: tuple[str, ...] = ()
    gap: float = 0.0
    error: float = 0.0


def plan(
    case: Case,
    wanted: Plan,
    advance: Callable[[int, float], object] | None = None,
    late: bool = True,
) -> Schedule:
    """Work out a plan.

    advance : told how many times all periods were solved and the best value so far
    late : also what each parcel costs where it comes a period late
    Raises CaseError for a plan that the case cannot make sense of.
    """
    problem, plant = _program(case, wanted)
    if advance is not None:
        problem = dataclasses.replace(problem, looked=Count(advance, 1))
    region, (_, _, said) = problem.region, problem.rows
    if region.empty:
        return _broken(problem, plant, tuple(said[row] for row in conflict(region, range(len(said)))))
    best = climb(problem, _start(problem))
    if not best.feasible:
        return _broken(problem, plant, _quarrel(problem, plant, best), best)
    value = worth(problem, best)
    found = _schedule(problem, plant, best)
    delays = _late(wanted, problem, plant, best) if late else {}
    T, L, P = problem.shape
    gains = (value.most - value.least)[T * L : T * L + P]
    enters = {
        d.name: found.costs[d.name] + float(gain) / d.tonnes
        for d, gain in zip(wanted.deliveries, gains, strict=True)
        if d.tonnes and not d.whole
    }
    return dataclasses.replace(
        found,
        limit_worth=_limit_worth(plant, value),
        bound_worth={text: float(w) for text, w in zip(said, value.bounds, strict=True) if w > _NOTHING},
        enters=enters,
        late=delays,
        curves={d.name: curve(problem, best, p) for p, d in enumerate(wanted.deliveries) if d.tonnes},
        error=value.error,
    )


def _program(case: Case, wanted: Plan) -> tuple[Program, Blends]:
    inputs = by_rate(case.inputs)
    if wanted.market.copper_price is None:
        raise CaseError([Fault("PLAN", None, "copper_price", "is missing, and margin needs it")])
    if not wanted.lots:
        raise CaseError([Fault("PLAN", None, "parcel", "nothing arrives and nothing is in stock")])
    lots = tuple(find(inputs, f"concentrate.{lot}.rate") for lot in wanted.lots)
    own = charge_of(case) / TONNE_PER_HOUR
    fixed = own - sum(float(held(inputs, v)[0]) for v in lots) / TONNE_PER_HOUR
    least, most = (own if x is None else x for x in (wanted.least_charge, wanted.most_charge))
    of_plan = [one.limit for one in wanted.limits if one.period is None]
    limits = in_force(case, of_plan)
    every = [(limit, t) for t in range(len(wanted.periods)) for limit in limits]
    every += [(one.limit, one.period) for one in wanted.limits if one.period is not None]
    brings = wanted.market.brings(held_metals(inputs))
    keys = list(dict.fromkeys([*brings, *(limit.key for limit, _ in every)]))
    known = {**reading_units(case, keys), **_shown(case)}
    plant = Blends(Balances(inputs, lots, known), brings, tuple(every))
    costs = np.array([cost(inputs, d.lot, d.contract, wanted.market) for d in wanted.deliveries])
    return Program(wanted, plant, costs, max(least - fixed, 0.0), most - fixed), plant


def _shown(case: Case) -> dict[str, str]:
    """Units of the figures that every plan shows, of those the case has."""
    found: dict[str, str] = {}
    for key in SHOWN:
        try:
            found |= reading_units(case, [key])
        except CaseError:
            continue  # the case has no such step, or no such element
    return found


def _start(problem: Program) -> FloatN:
    """A point in the middle of the region, whole numbers in parts."""
    rng = np.random.default_rng(0)
    parts = dataclasses.replace(problem.region, whole=np.zeros(len(problem.region.low), dtype=bool))
    corners = [maximise(rng.normal(size=len(parts.low)), parts) for _ in range(6)]
    return np.asarray(np.mean([corner.x for corner in corners if corner is not None], axis=0))


def _schedule(problem: Program, plant: Blends, best: Climb) -> Schedule:
    rates, shares = problem.parts(best.x)
    deliveries = problem.plan.deliveries
    taken = {d.name: float(d.tonnes * s * (s > _TAKEN)) for d, s in zip(deliveries, shares, strict=True)}
    others = [c for c in plant.balances.inputs.concentrate if c.name not in problem.plan.lots]
    kept = [c.name for c in others if c.rate is not None and c.rate[0] > 0.0]
    return Schedule(
        problem.plan, best.feasible, best.settled, best.model.value, rates,
        np.where(np.abs(problem.left(best.x)) < 1e-6, 0.0, problem.left(best.x)), taken,
        {d.name: float(c) for d, c in zip(deliveries, problem.costs, strict=True)},
        plant.balances.at(rates)[0], plant.balances.units, kept=tuple(kept), gap=best.gap,
    )  # fmt: skip


def _broken(
    problem: Program, plant: Blends, names: tuple[str, ...], nearest: Climb | None = None
) -> Schedule:
    """No plan keeps everything: what stands against what, and the nearest where there is one."""
    T, L, _ = problem.shape
    if nearest is not None:
        return dataclasses.replace(_schedule(problem, plant, nearest), conflict=names)
    nothing = np.full((T, L), math.nan)
    return Schedule(problem.plan, False, False, math.nan, nothing, nothing, {}, {}, {}, {}, conflict=names)


def _quarrel(problem: Program, plant: Blends, nearest: Climb) -> tuple[str, ...]:
    region = problem.region
    rows = Region.of(
        region.low, region.high,
        np.concatenate([-nearest.model.slopes, region.A]),
        np.concatenate([nearest.model.rooms - nearest.model.slopes @ nearest.x, region.b]),
        region.whole,
    )  # fmt: skip
    periods = problem.plan.periods
    said = [f"{periods[t].name}: {limit}" for limit, t in plant.held]
    names = [*said, *problem.rows[2]]
    return tuple(names[row] for row in conflict(rows, range(len(names))))


def _limit_worth(plant: Blends, value: Worth) -> dict[tuple[Limit, int], float]:
    pairs = zip(plant.held, value.rooms.tolist(), strict=True)
    return {one: w / one[0].scale(np.zeros(1)) for one, w in pairs if w > _NOTHING}


def _late(wanted: Plan, problem: Program, plant: Blends, best: Climb) -> dict[str, Late]:
    """Each parcel that is taken a period late, everything else chosen anew on the full balance."""
    _, shares = problem.parts(best.x)
    taken = [
        i
        for i, one in enumerate(wanted.deliveries)
        if shares[i] > _TAKEN and one.arrives + 1 < len(wanted.periods)
    ]
    found = plant.balances.side_by_side([partial(_one_late, problem, plant, best, i) for i in taken])
    return dict(zip((wanted.deliveries[i].name for i in taken), found, strict=True))


def _one_late(problem: Program, plant: Blends, best: Climb, i: int) -> Late:
    other = dataclasses.replace(problem, plan=problem.plan.later(i), looked=lambda _: None)
    said = other.rows[2]
    if other.region.empty:
        return Late(math.nan, tuple(said[row] for row in conflict(other.region, range(len(said)))))
    again = climb(other, best.x if other.region.holds(best.x) else _start(other))
    if again.feasible:
        return Late(best.model.value - again.model.value)
    return Late(math.nan, _quarrel(other, plant, again))
