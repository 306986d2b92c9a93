"""The blend as a problem of optimisation: rates of parcels in, goal and limits of the full balance out."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal import units
from pyrobal.arrays import FloatN, Floats, IntN
from pyrobal.case.load import Case
from pyrobal.constants import TONNE_PER_HOUR
from pyrobal.errors import CaseError, Fault, NotSolved, Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.plant.feed import assay_of
from pyrobal.studies.aim import Aim
from pyrobal.studies.limit import Goal, Limit
from pyrobal.studies.linear import maximise
from pyrobal.studies.measure import measured, per_unit, reading_units
from pyrobal.studies.search import FEASIBLE, Model
from pyrobal.studies.tangent import held, tangent
from pyrobal.studies.terms import Parcel, Terms, charge_of
from pyrobal.studies.variable import Variable, find

MARGIN, COPPER = "margin", "copper"
_COPPER_OF: Final = ("feed.dry_rate", "feed.assay.Cu", "recovery.Cu")  # t/h, wt%, %
_TRIALS: Final = 96  # blends drawn to begin from
_BROKEN: Final = (
    -1e12
)  # merit of a blend that breaks a limit by its own scale: below that of any that does not


@dataclass(frozen=True, eq=False)
class Blending:
    """The problem for ``search.climb``; x : (P,) [t/h] of each parcel.

    A x <= b : the charge, not above its most and not below its least
    """

    inputs: Inputs
    variables: tuple[Variable, ...]
    terms: Terms
    limits: tuple[Limit, ...]
    goal: str | Goal
    units: Mapping[str, str]
    costs: FloatN
    scales: FloatN
    low: FloatN
    high: FloatN
    A: Floats
    b: FloatN
    aim: Aim | None = None  # met by its setting in every blend
    only: int | None = None  # maximise the rate of one parcel instead
    looked: Callable[[float], object] = lambda _: (
        None
    )  # told the value of each point; -inf outside the limits

    @staticmethod
    def of(
        case: Case, terms: Terms, limits: tuple[Limit, ...], goal: str | Goal, aim: Aim | None
    ) -> Blending:
        if goal == MARGIN and terms.copper_price is None:
            raise CaseError([Fault("--terms", None, "copper_price", "is missing, and margin needs it")])
        inputs = _by_rate(case.inputs)
        variables = tuple(find(inputs, f"concentrate.{p.name}.rate") for p in terms.parcels)
        keys = [*(limit.key for limit in limits), *_COPPER_OF, *(terms.flows if goal == MARGIN else ())]
        keys += [goal.key] if isinstance(goal, Goal) else []
        own = charge_of(case)
        least, most = (own if x is None else x for x in (terms.least_charge, terms.most_charge))
        fixed = own - sum(float(held(inputs, v)[0]) for v in variables)
        n = len(terms.parcels)
        problem = Blending(
            inputs, variables, terms, limits, goal,
            reading_units(case, list(dict.fromkeys(keys)), "--limit"),
            np.array([_cost(inputs, p, terms) for p in terms.parcels]),
            np.array([limit.scale(np.zeros(1)) for limit in limits]),
            np.array([p.least for p in terms.parcels]) / TONNE_PER_HOUR,
            np.minimum([p.most for p in terms.parcels], most - fixed) / TONNE_PER_HOUR,
            np.stack([np.ones(n), -np.ones(n)]),
            np.array([most - fixed, fixed - least]) / TONNE_PER_HOUR,
            aim,
        )  # fmt: skip
        problem._check(least / TONNE_PER_HOUR, most / TONNE_PER_HOUR)
        return problem

    def _check(self, least: float, most: float) -> None:
        faults = []
        if least > most:
            faults.append(Fault("--terms", None, "least_charge", f"{least:g} t/h is more than {most:g} t/h"))
        elif (self.low > self.high).any() or maximise(
            0 * self.low, self.A, self.b, self.low, self.high
        ) is None:
            offered = (
                f"{self.low.sum():.4g} to {sum(p.most for p in self.terms.parcels) / TONNE_PER_HOUR:.4g} t/h"
            )
            text = f"{offered} of the parcels do not make up a charge of {least:.4g} to {most:.4g} t/h"
            faults.append(Fault("--terms", None, "charge", text))
        if faults:
            raise CaseError(faults)

    def model(self, x: FloatN) -> Model:
        """Value, rooms and slopes at x."""
        found = tangent(self._at(x[None, :]), self.variables, list(self.units), self.aim)
        values, slopes = {}, {}
        for i, (key, unit) in enumerate(self.units.items()):
            values[key] = float(units.display(found.values[0, i], unit))
            slopes[key] = found.slopes[0, :, i] * TONNE_PER_HOUR / per_unit(unit)
        value, gradient = self._goal(x, values, slopes)
        rooms = (
            np.array([float(limit.room(np.array(values[limit.key]))) for limit in self.limits]) / self.scales
        )
        falls = [limit.sense * slopes[limit.key] for limit in self.limits]
        good = self.only is None and bool((rooms >= -FEASIBLE).all())
        self.looked(self.value_of(x, values) if good else -np.inf)
        return Model(value, gradient, rooms, np.reshape(falls, (len(rooms), len(x))) / self.scales[:, None])

    def _goal(self, x: FloatN, r: Mapping[str, float], d: Mapping[str, FloatN]) -> tuple[float, FloatN]:
        """The value and its slopes, from readings and theirs."""
        if self.only is not None:
            return float(x[self.only]), np.eye(len(x))[self.only]
        if isinstance(self.goal, Goal):
            return self.goal.sense * r[self.goal.key], self.goal.sense * d[self.goal.key]
        rate, grade, recovery = (r[key] for key in _COPPER_OF)
        copper = rate * grade * recovery * 1e-4
        slope = sum(copper / r[key] * d[key] for key in _COPPER_OF)
        if self.goal == COPPER:
            return copper, np.asarray(slope)
        price = self.terms.copper_price or 0.0
        flows = self.terms.flows
        value = price * copper - float(self.costs @ x) + sum(p * r[key] for key, p in flows.items())
        return value, np.asarray(price * slope - self.costs + sum(p * d[key] for key, p in flows.items()))

    def _at(self, x: Floats) -> Inputs:
        """The inputs with rates x (N, P) [t/h]."""
        inputs = self.inputs
        for variable, column in zip(self.variables, x.T, strict=True):
            inputs = inputs.replace(variable.path, np.maximum(column, 0.0) * TONNE_PER_HOUR)
        return inputs

    def readings_at(self, x: Floats) -> tuple[Mapping[str, FloatN], IntN]:
        """Readings (N,) in plant units of blends x (N, P) [t/h], and the reasons (N,) of those without."""
        inputs, met = self._at(x), np.ones(len(x), dtype=bool)
        if self.aim is not None:
            settings, met = self.aim.solved(inputs)
            inputs = self.aim.put(inputs, settings)
        results = solve(inputs)
        reason = np.where(met, results.reason, Reason.AIM_OUT_OF_REACH)
        found = {key: units.display(measured(results, key), unit) for key, unit in self.units.items()}
        return found, np.asarray(reason)

    @property
    def sense(self) -> int:
        """-1 where the least of the goal is wanted."""
        return self.goal.sense if isinstance(self.goal, Goal) else 1

    def value_of(self, x: FloatN, readings: Mapping[str, float]) -> float:
        """What the goal is worth at x; of a reading, as it stands."""
        value = self._goal(x, readings, dict.fromkeys(self.units, np.zeros(len(x))))[0]
        return value if self.only is not None else self.sense * value

    def trials(self) -> tuple[Floats, FloatN]:
        """Blends (K, P) that make up the charge, and how good each is (K,): its value, or less the worse it
        breaks limits; nan without an answer. The case's own blend is the first where it is allowed."""
        rng = np.random.default_rng(0)
        n = len(self.low)
        corners = [maximise(c, self.A, self.b, self.low, self.high) for c in rng.normal(size=(4 * n, n))]
        weights = rng.dirichlet(np.full(len(corners), 0.3), _TRIALS)
        x = weights @ np.stack([corner.x for corner in corners if corner is not None])
        own = self._own()
        allowed = (
            (self.low <= own).all() and (own <= self.high).all() and (self.A @ own <= self.b + 1e-9).all()
        )
        x = np.concatenate([own[None, :], x]) if allowed else x
        readings, reason = self.readings_at(x)
        if not (reason == Reason.SOLVED).any():
            raise NotSolved(Reason(int(reason[0])), "of no blend of these parcels")
        rows = [{key: float(values[k]) for key, values in readings.items()} for k in range(len(x))]
        return x, np.array([self._merit(*pair) for pair in zip(x, rows, strict=True)])

    def _own(self) -> FloatN:
        """(P,) [t/h] of the case as it is."""
        return np.array([held(self.inputs, v)[0] for v in self.variables]) / TONNE_PER_HOUR

    def _merit(self, x: FloatN, readings: Mapping[str, float]) -> float:
        rooms = [float(limit.room(np.array(readings[limit.key]))) for limit in self.limits]
        broken = np.maximum(-np.array(rooms) / self.scales, 0.0).sum()
        value = self._goal(x, readings, dict.fromkeys(self.units, np.zeros(len(x))))[0]
        return float(_BROKEN * broken) if broken > 0.0 else value


def _by_rate(inputs: Inputs) -> Inputs:
    """The inputs with a rate for every concentrate instead of a share."""
    total = inputs.charge.rate
    concentrates = [
        dataclasses.replace(c, rate=c.share * total, share=None)
        if c.share is not None and total is not None
        else c
        for c in inputs.concentrate
    ]
    charge = dataclasses.replace(inputs.charge, rate=None)
    return dataclasses.replace(inputs, concentrate=tuple(concentrates), charge=charge)


def _cost(inputs: Inputs, parcel: Parcel, terms: Terms) -> float:
    (concentrate,) = (c for c in inputs.concentrate if c.name == parcel.name)
    assay = {name: float(x[0]) for name, x in assay_of(concentrate).items()}
    return parcel.cost_per_tonne(assay, terms.copper_price or 0.0)
