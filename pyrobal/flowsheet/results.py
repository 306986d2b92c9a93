"""Results: what every step found, for all scenarios, as one frozen tree."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from pyrobal.arrays import BoolN, IntN
from pyrobal.errors import Reason
from pyrobal.flowsheet.boundary import alone_ledger, plant_ledger, step_ledgers
from pyrobal.flowsheet.circuit import Circuit, Feeds
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.offgas import GasSide
from pyrobal.flowsheet.unsolved import Unsolved
from pyrobal.numerics.recycle import FixedPoint
from pyrobal.plant import smelting as furnace
from pyrobal.plant.acid_plant import AcidPlantResult
from pyrobal.plant.anode_furnace import AnodeFurnaceResult
from pyrobal.plant.converting import ConvertingResult
from pyrobal.plant.dryer import DryerResult
from pyrobal.plant.electrorefining import ElectrorefiningResult
from pyrobal.plant.emissions import EmissionsResult
from pyrobal.plant.feed import FeedResult
from pyrobal.plant.gas_train import GasTrainResult
from pyrobal.plant.gas_train.wet import Bypass
from pyrobal.plant.load import LoadResult
from pyrobal.plant.slag_cleaning import SlagCleaningResult
from pyrobal.streams.fuel import Fuel
from pyrobal.streams.ledger import Ledger


@dataclass(frozen=True, eq=False)
class Results:
    """A solved plant; steps the case does not have are None.

    With the acid plant alone ([acid_feed]) feed, feeds, circuit and smelting are None too: whoever reads them
    has asked ``Reading.present`` first.

    circuit, gas_side : the steps, also reached by their own names below
    recycle : how the recycles converged; None where nothing goes back
    unsolved : the reason of every step that failed, and which others it takes the answer from
    solve_upsets : how its upsets are found, when first asked for
    """

    inputs: Inputs
    feed: FeedResult
    dryer: DryerResult | None
    feeds: Feeds
    circuit: Circuit
    gas_side: GasSide
    recycle: FixedPoint | None
    unsolved: Unsolved
    solve_upsets: Callable[[Results], Mapping[str, Results]] = lambda _: {}

    @property
    def scenarios(self) -> int:
        """N."""
        return len(self.reason)

    @functools.cached_property
    def reason(self) -> IntN:
        """(N,) errors.Reason; SOLVED where every step has an answer."""
        return self.unsolved.reason

    @property
    def solved(self) -> BoolN:
        """(N,) True where every step has an answer."""
        return np.asarray(self.reason == Reason.SOLVED)

    @property
    def charge(self) -> furnace.Charge:
        """What the smelting furnace was given, returned materials included."""
        return self.circuit.smelting.charge

    @property
    def smelting_fuel(self) -> Fuel:
        """The fuel of the smelting furnace."""
        return self.feeds.fuels[self.inputs.smelting.fuel]

    @property
    def smelting(self) -> furnace.SmeltingResult:
        """The smelting furnace."""
        return self.circuit.smelting if self.circuit is not None else None

    @property
    def slag_cleaning(self) -> SlagCleaningResult | None:
        """Slag cleaning."""
        return self.circuit.slag_cleaning if self.circuit is not None else None

    @property
    def converting(self) -> ConvertingResult | None:
        """Converting."""
        return self.circuit.converting if self.circuit is not None else None

    @property
    def anode_furnace(self) -> AnodeFurnaceResult | None:
        """The anode furnace."""
        return self.circuit.anode_furnace if self.circuit is not None else None

    @property
    def electrorefining(self) -> ElectrorefiningResult | None:
        """The tank house."""
        return self.circuit.electrorefining if self.circuit is not None else None

    @property
    def gas_train(self) -> GasTrainResult | None:
        """The gas train."""
        return self.gas_side.gas_train

    @property
    def bypass(self) -> Bypass | None:
        """What goes by the acid plant, where the case limits what it takes."""
        cleaning = self.gas_train.cleaning if self.gas_train is not None else None
        return cleaning.bypass if cleaning is not None else None

    @property
    def acid_plant(self) -> AcidPlantResult | None:
        """The acid plant."""
        return self.gas_side.acid_plant

    @property
    def load(self) -> LoadResult | None:
        """Load on the acid plant over time."""
        return self.gas_side.load

    @property
    def emissions(self) -> EmissionsResult | None:
        """Emissions."""
        return self.gas_side.emissions

    @functools.cached_property
    def upsets(self) -> Mapping[str, Results]:
        """The plant in the state of each upset of the case, by name."""
        return self.solve_upsets(self)

    @functools.cached_property
    def ledger(self) -> Ledger:
        """Everything that crosses the plant boundary."""
        if self.circuit is None:
            return alone_ledger(self.gas_side)
        return plant_ledger(self.inputs, self.feed, self.dryer, self.circuit, self.gas_side)

    def ledgers(self) -> dict[str, Ledger]:
        """The ledger of every step the case has, in plant order."""
        return step_ledgers(self.dryer, self.circuit, self.gas_side)

    @functools.cached_property
    def autogenous(self) -> furnace.SmeltingResult:
        """The same furnace with no fuel and no coolant, its enrichment closing the heat.

        Solved when first asked for; its ``reason`` says where no such enrichment exists.
        """
        if self.smelting is None:
            return None
        s = replace(self.smelting.settings, close_heat_with="enrichment", fuel_minimum=np.zeros(1))
        return furnace.solve(self.charge, self.inputs.site, s, self.smelting_fuel)
