"""A named point of the gas train: what flows there, and where acid would condense."""

from __future__ import annotations

from dataclasses import dataclass

from pyrobal.arrays import FloatN
from pyrobal.constants import R
from pyrobal.plant.gas_train.offgas import Offgas
from pyrobal.thermo.dew_point import DewPoint, acid_dew_point


@dataclass(frozen=True, eq=False)
class Point:
    """Off-gas at a point.

    pressure : (N,) [Pa]; dew_point : band, with what SO3 there is counted as acid
    wall : (N,) [K] coldest metal there; None where the walls are made for wet acid
    """

    offgas: Offgas
    pressure: FloatN
    dew_point: DewPoint
    wall: FloatN | None

    @staticmethod
    def at(offgas: Offgas, pressure: FloatN, wall: FloatN | None = None) -> Point:
        """The point with its dew point worked out."""
        gas = offgas.gas
        per_mole = pressure / gas.total()
        so3 = gas.amount("SO3(g)") + gas.amount("H2SO4(g)")
        return Point(offgas, pressure, acid_dew_point(gas.amount("H2O(g)") * per_mole, so3 * per_mole), wall)

    @property
    def flow_wet(self) -> FloatN:
        """(N,) [mol/s]."""
        return self.offgas.gas.total()

    @property
    def flow_dry(self) -> FloatN:
        """(N,) [mol/s] without water vapour."""
        return self.flow_wet - self.offgas.gas.amount("H2O(g)")

    @property
    def flow_actual(self) -> FloatN:
        """(N,) [m3/s] wet gas as it is there: n R T / p."""
        return self.flow_wet * R * self.offgas.T / self.pressure

    @property
    def water(self) -> FloatN:
        """(N,) [Pa] partial pressure of water vapour."""
        return self.pressure * self.offgas.gas.amount("H2O(g)") / self.flow_wet

    @property
    def so3(self) -> FloatN:
        """(N,) [Pa] partial pressure of SO3, with what is hydrated."""
        gas = self.offgas.gas
        return self.pressure * (gas.amount("SO3(g)") + gas.amount("H2SO4(g)")) / self.flow_wet

    @property
    def margin(self) -> FloatN | None:
        """(N,) [K] of the wall above the upper dew point; None where no wall is watched."""
        return None if self.wall is None else self.wall - self.dew_point.high
