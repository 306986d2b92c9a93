"""Time steps of a period, evenly spaced, laid along the scenario axis: those of one scenario side by side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pyrobal.arrays import Floats, IntN, each_array, ratio
from pyrobal.streams.stream import Stream


@dataclass(frozen=True)
class TimeSteps:
    """T moments that last alike; a steady gas has one.

    An array of all moments is (N T, ...), one of the scenarios (N, ...); where scenarios share one value it
    stays (1, ...) either way.
    """

    count: int = 1

    def spread(self, node: Any) -> Any:
        """A tree of arrays with every value repeated for each moment of its scenario."""
        return each_array(node, lambda x: x if len(x) == 1 else np.repeat(x, self.count, axis=0))

    def mean(self, node: Any) -> Any:
        """The mean of every array over the moments: right for amounts, and for what does not vary."""
        return each_array(node, lambda x: x if len(x) == 1 else self.series(x).mean(axis=1))

    def series(self, x: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """(N T, ...) as (N, T, ...)."""
        return x.reshape(-1, self.count, *x.shape[1:])

    def distinct(self, x: Floats) -> tuple[IntN, IntN]:
        """Of x (N T, S): moments that differ from all others of their scenario, and of every moment of all to
        which of these it is equal."""
        rows = np.ascontiguousarray(np.column_stack([np.arange(len(x)) // self.count, np.asarray(x)]))
        bytes_of = rows.view(np.dtype((np.void, rows.itemsize * rows.shape[1])))[:, 0]
        _, first, of = np.unique(bytes_of, return_index=True, return_inverse=True)
        return first, of


STEADY = TimeSteps()


@dataclass(frozen=True, eq=False)
class GasOverTime:
    """A gas over the moments of a period.

    flow : (N, T) [mol/s] dry; so2, o2 : (N, T) [mol/s] in it
    """

    flow: Floats
    so2: Floats
    o2: Floats

    @staticmethod
    def of(gas: Stream, moments: TimeSteps) -> GasOverTime:
        """Of a gas (N T, S) at every moment."""
        dry = gas.total() - gas.amount("H2O(g)")
        return GasOverTime(*(moments.series(x) for x in (dry, gas.amount("SO2(g)"), gas.amount("O2(g)"))))

    @property
    def so2_share(self) -> Floats:
        """(N, T) [mol/mol] SO2 in the dry gas; zero where none flows."""
        return ratio(self.so2, self.flow)
