"""The plant of a plan: the full balance of the blend of every period, with its derivatives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal import units
from pyrobal.arrays import Floats
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.studies.limit import Limit
from pyrobal.studies.measure import per_unit
from pyrobal.studies.plan.program import Fed
from pyrobal.studies.tangent import tangent
from pyrobal.studies.variable import Variable


@dataclass(frozen=True, eq=False)
class Balances:
    """The case with another blend in each period.

    lots : (L,) their rates; brings : reading -> money an hour for one plant unit
    held : the limits of the periods; units : of every reading that is looked at
    """

    inputs: Inputs
    lots: tuple[Variable, ...]
    brings: Mapping[str, float]
    held: tuple[tuple[Limit, int], ...]
    units: Mapping[str, str]

    def seen(self, rates: Floats) -> tuple[dict[str, Floats], dict[str, Floats]]:
        """Readings (T,) in plant units of blends (T, L) [t/h], and their slopes (T, L)."""
        inputs = self.inputs
        for variable, column in zip(self.lots, rates.T, strict=True):
            inputs = variable.put(inputs, units.to_si(np.ascontiguousarray(column), variable.unit))
        found = tangent(inputs, self.lots, list(self.units))
        T, rate = len(rates), per_unit("t/h")
        values, slopes = {}, {}
        for i, (key, unit) in enumerate(self.units.items()):
            values[key] = np.broadcast_to(units.display(found.values[:, i], unit), (T,))
            slopes[key] = np.broadcast_to(found.slopes[:, :, i], rates.shape) * rate / per_unit(unit)
        return values, slopes

    def at(self, rates: Floats) -> Fed:
        """Money, rooms and slopes of blends (T, L)."""
        values, slopes = self.seen(rates)
        money = sum((price * values[key] for key, price in self.brings.items()), np.zeros(len(rates)))
        per = sum((price * slopes[key] for key, price in self.brings.items()), np.zeros(rates.shape))
        scales = np.array([limit.scale(np.zeros(1)) for limit, _ in self.held])
        rooms = np.array([float(limit.room(values[limit.key][t])) for limit, t in self.held])
        falls = np.reshape(
            [limit.sense * slopes[limit.key][t] for limit, t in self.held], (-1, rates.shape[1])
        )
        return Fed(money, per, rooms / scales, falls / scales[:, None], [t for _, t in self.held])
