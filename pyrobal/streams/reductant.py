"""A fuel put into a melt to take oxygen out of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNS
from pyrobal.streams.fuel import Fuel
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import Species, species

_O = ELEMENTS.index("O")
BATH_GAS = ("CO(g)", "CO2(g)", "H2(g)", "H2O(g)", "N2(g)", "S2(g)", "C")


def bath_gas() -> Species:
    """The S axis of what rises from a reduced bath; C is soot or coke that floats up unused."""
    return species(*BATH_GAS)


@dataclass(frozen=True, eq=False)
class Reductant:
    """One unit of a fuel as a reductant.

    oxygen : (N,) [mol per unit] O it takes from the bath
    gas : (N, 7) [mol per unit] on BATH_GAS, the oxygen taken included; ash stays behind
    """

    fuel: Fuel
    oxygen: FloatN
    gas: FloatNS


def reductant(fuel: Fuel, efficiency: FloatN, to_co: FloatN) -> Reductant:
    """What a unit of fuel does when a share ``efficiency`` (N,) of it reacts with the bath.

    Reacted: carbon to CO in the share ``to_co`` (N,) and else to CO2, hydrogen to water,
    O taken = C (2 - to_co) + H / 2 - O. Unreacted: cracked, its own oxygen bound to carbon first.
    """
    c, h, o, n, s = (fuel.count(e) for e in ("C", "H", "O", "N", "S"))
    idle = 1.0 - efficiency
    over_co, over_co2 = np.maximum(o - c, 0.0), np.maximum(o - 2 * c, 0.0)
    cracked_co2 = over_co - over_co2
    cracked_co = np.minimum(o, c) - cracked_co2
    cracked_water = np.minimum(over_co2, h / 2)
    amounts = (
        efficiency * c * to_co + idle * cracked_co,
        efficiency * c * (1.0 - to_co) + idle * cracked_co2,
        idle * (h / 2 - cracked_water),
        efficiency * h / 2 + idle * cracked_water,
        n / 2,
        s / 2,
        idle * (c - cracked_co - cracked_co2),
    )
    gas = np.stack(np.broadcast_arrays(*amounts), axis=1)
    taken = gas @ bath_gas().composition[:, _O] - o
    return Reductant(fuel, taken, gas)
