"""Gas on its way to the acid plant: the air it needs, and the most that is taken."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.streams.site import OXYGEN_IN_AIR


class AirNeed(NamedTuple):
    """so2_highest : (N,) [mol/mol] SO2 of the dry gas; o2_so2_lowest : (N,) [mol/mol]."""

    so2_highest: FloatN
    o2_so2_lowest: FloatN

    def flows(self, dry: Floats, so2: Floats, o2: Floats) -> Floats:
        """Dry flows [mol/s] the gas comes to by each of its needs, stacked on axis 1; the largest decides.

        dry, so2, o2 : (N, ...) [mol/s], the last two within the first. Undiluted; diluted to the SO2
        strength, SO2 / y; with air for the oxygen, dry + (r SO2 - O2) / 0.209. Each is linear in the gas, so
        a limit on the flow is a limit on each of them, and needs of several gases add up.
        """
        y, r = (x.reshape(-1, *(1,) * (dry.ndim - 1)) for x in self)
        flows = (dry, so2 / y, dry + (r * so2 - o2) / OXYGEN_IN_AIR)
        return np.stack(np.broadcast_arrays(*flows), axis=1)


class Limit(NamedTuple):
    """Most the acid plant takes, None where there is no limit.

    flow : (N,) [mol/s] dry gas with the air it needs; so2 : (N,) [mol/s]
    """

    flow: FloatN | None = None
    so2: FloatN | None = None

    @property
    def given(self) -> bool:
        """Whether there is a limit at all."""
        return self.flow is not None or self.so2 is not None
