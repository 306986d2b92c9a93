"""Results: what every step found, for all scenarios, as one frozen tree."""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace

import numpy as np

from pyrobal.arrays import BoolN, IntN
from pyrobal.errors import Reason
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.plant import smelting as furnace
from pyrobal.plant.dryer import DryerResult
from pyrobal.plant.feed import FeedResult
from pyrobal.streams.fuel import Fuel


@dataclass(frozen=True, eq=False)
class Results:
    """A solved plant; steps the case does not have are None.

    charge, smelting_fuel : what the furnace was given
    reason : (N,) errors.Reason of the first step that failed
    """

    inputs: Inputs
    feed: FeedResult
    dryer: DryerResult | None
    charge: furnace.Charge
    smelting_fuel: Fuel
    smelting: furnace.SmeltingResult
    reason: IntN

    @property
    def scenarios(self) -> int:
        """N."""
        return len(self.reason)

    @property
    def solved(self) -> BoolN:
        """(N,) True where every step has an answer."""
        return np.asarray(self.reason == Reason.SOLVED)

    @functools.cached_property
    def autogenous(self) -> furnace.SmeltingResult:
        """The same furnace with no fuel and no coolant, its enrichment closing the heat.

        Solved when first asked for; its ``reason`` says where no such enrichment exists.
        """
        s = replace(self.inputs.smelting, close_heat_with="enrichment", fuel_minimum=np.zeros(1))
        return furnace.solve(self.charge, self.inputs.site, s, self.smelting_fuel)
