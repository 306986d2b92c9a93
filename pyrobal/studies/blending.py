"""The blend as a problem of optimisation: rates of parcels, what they cost and what their metals bring."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.case.load import Case
from pyrobal.constants import TONNE_PER_HOUR
from pyrobal.errors import CaseError, Fault
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.plant.feed import assay_of
from pyrobal.studies.aim import Aim
from pyrobal.studies.contract import Contract, Market
from pyrobal.studies.limit import Goal, Limit
from pyrobal.studies.linear import Region
from pyrobal.studies.setpoints import Objective, Setpoints
from pyrobal.studies.tangent import held
from pyrobal.studies.terms import Terms, charge_of
from pyrobal.studies.variable import find

MARGIN, COPPER = "margin", "copper"
_RECOVERED: Final = "recovered.Cu"  # kg/h


@dataclass(frozen=True)
class Copper:
    """As much copper as can be recovered, t/h."""

    sense: int = 1
    keys: tuple[str, ...] = (_RECOVERED,)

    def at(self, x: FloatN, r: Mapping[str, float], d: Mapping[str, FloatN]) -> tuple[float, FloatN]:
        """It, and its slopes to the rates."""
        return 1e-3 * r[_RECOVERED], 1e-3 * d[_RECOVERED]


@dataclass(frozen=True, eq=False)
class Margin:
    """As much money an hour as can be made.

    brings : reading -> money an hour for one plant unit of it
    costs : (n,) money per tonne of each parcel
    """

    brings: Mapping[str, float]
    costs: FloatN
    sense: int = 1

    @property
    def keys(self) -> tuple[str, ...]:
        """What brings money, or takes it."""
        return tuple(self.brings)

    def at(self, x: FloatN, r: Mapping[str, float], d: Mapping[str, FloatN]) -> tuple[float, FloatN]:
        """It, and its slopes to the rates x (n,) [t/h]."""
        value = sum(price * r[key] for key, price in self.brings.items()) - float(self.costs @ x)
        slope = sum((price * d[key] for key, price in self.brings.items()), -self.costs)
        return value, np.asarray(slope)


def blending(
    case: Case, terms: Terms, limits: Sequence[Limit], goal: str | Goal, aim: Aim | None
) -> Setpoints:
    """Rates of the parcels that make up the charge. Raises CaseError where they cannot."""
    if goal == MARGIN and terms.market.copper_price is None:
        raise CaseError([Fault("--terms", None, "copper_price", "is missing, and margin needs it")])
    inputs = by_rate(case.inputs)
    variables = tuple(find(inputs, f"concentrate.{p.name}.rate") for p in terms.parcels)
    own = charge_of(case)
    least, most = (own if x is None else x for x in (terms.least_charge, terms.most_charge))
    fixed = own - sum(float(held(inputs, v)[0]) for v in variables)
    whole = np.array([p.whole for p in terms.parcels])
    offered = np.array([p.most for p in terms.parcels]) / TONNE_PER_HOUR
    size = np.where(whole, offered, 1.0)
    high = np.where(whole, 1.0, np.minimum(offered, (most - fixed) / TONNE_PER_HOUR))
    low = np.where(whole, 0.0, np.array([p.least for p in terms.parcels]) / TONNE_PER_HOUR)
    region = Region.of(
        low, high, np.stack([size, -size]), np.array([most - fixed, fixed - least]) / TONNE_PER_HOUR, whole
    )
    _check(region, terms, least / TONNE_PER_HOUR, most / TONNE_PER_HOUR, fixed / TONNE_PER_HOUR)
    problem = Setpoints.of(
        case, inputs, variables, _objective(inputs, terms, goal), limits, region, aim, size
    )
    return dataclasses.replace(problem, called="blend of these parcels")


def _objective(inputs: Inputs, terms: Terms, goal: str | Goal) -> Objective:
    if isinstance(goal, Goal):
        return goal
    if goal == COPPER:
        return Copper()
    costs = np.array([cost(inputs, p.name, p.contract, terms.market) for p in terms.parcels])
    return Margin(terms.market.brings(held_metals(inputs)), costs)


def _check(region: Region, terms: Terms, least: float, most: float, fixed: float) -> None:
    """Raises CaseError where no blend makes up the charge."""
    faults = []
    if least > most:
        faults.append(Fault("--terms", None, "least_charge", f"{least:g} t/h is more than {most:g} t/h"))
    elif region.empty:
        forced, offered = (
            sum(getattr(p, end) for p in terms.parcels) / TONNE_PER_HOUR for end in ("least", "most")
        )
        text = f"{forced + fixed:.4g} to {offered + fixed:.4g} t/h of the parcels do not make up a charge of "
        faults.append(Fault("--terms", None, "charge", f"{text}{least:.4g} to {most:.4g} t/h"))
    if faults:
        raise CaseError(faults)


def by_rate(inputs: Inputs) -> Inputs:
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


def held_metals(inputs: Inputs) -> tuple[str, ...]:
    """Gold and silver, where a concentrate holds any."""
    assays = [assay_of(c) for c in inputs.concentrate]
    return tuple(metal for metal in ("Au", "Ag") if any(metal in assay for assay in assays))


def cost(inputs: Inputs, name: str, contract: Contract, market: Market) -> float:
    """Money per dry tonne of a concentrate of the case."""
    (concentrate,) = (c for c in inputs.concentrate if c.name == name)
    assay = {line: float(x[0]) for line, x in assay_of(concentrate).items()}
    return contract.cost_per_tonne(assay, market)
