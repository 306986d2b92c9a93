"""The plant of a plan: the full balance of the blend of every period, with its derivatives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import Floats
from pyrobal.studies.balances import Balances
from pyrobal.studies.limit import Limit
from pyrobal.studies.plan.program import Fed


@dataclass(frozen=True, eq=False)
class Blends:
    """The case with another blend in each period.

    balances : at rates of the lots (L,); brings : reading -> money an hour for one plant unit
    held : the limits of the periods
    """

    balances: Balances
    brings: Mapping[str, float]
    held: tuple[tuple[Limit, int], ...]

    def at(self, rates: Floats) -> Fed:
        """Money, rooms and slopes of blends (T, L)."""
        values, slopes = self.balances.at(rates)
        money = sum((price * values[key] for key, price in self.brings.items()), np.zeros(len(rates)))
        per = sum((price * slopes[key] for key, price in self.brings.items()), np.zeros(rates.shape))
        scales = np.array([limit.scale(np.zeros(1)) for limit, _ in self.held])
        rooms = np.array([float(limit.room(values[limit.key][t])) for limit, t in self.held])
        falls = np.reshape(
            [limit.sense * slopes[limit.key][t] for limit, t in self.held], (-1, rates.shape[1])
        )
        return Fed(money, per, rooms / scales, falls / scales[:, None], [t for _, t in self.held])
