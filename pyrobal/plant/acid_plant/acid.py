"""The acid side: drying the gas, the water that absorbed SO3 needs, and the acid drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNS
from pyrobal.plant.acid_plant.bed import O2, SO2, SO3
from pyrobal.plant.acid_plant.converter import WATER
from pyrobal.plant.acid_plant.settings import AcidPlantSettings
from pyrobal.streams.ledger import Entry
from pyrobal.streams.stream import Stream
from pyrobal.thermo.acid_solution import M_WATER, mixing_heat, strength, water_per_acid
from pyrobal.thermo.properties import Species, species

ACID, LIQUID_WATER = "H2SO4(l)", "H2O(l)"
_VAPOUR, _MIST = "H2SO4(g)", "H2SO4(l)"  # acid that comes in with the gas
_CARRIED = (SO2, O2, "N2(g)", SO3, WATER)  # what the plant works on; other gases pass through


def acid_phase() -> Species:
    """The S axis of acid: H2SO4 and the water it is mixed with."""
    return species(ACID, LIQUID_WATER)


@dataclass(frozen=True, eq=False)
class Drying:
    """The drying tower.

    gas : dried
    water, trioxide, acid : (N,) [mol/s] H2O, SO3 and H2SO4 that came in with the gas, now in the acid
    """

    gas: Stream
    water: FloatN
    trioxide: FloatN
    acid: FloatN


def dry(gas: Stream, s: AcidPlantSettings) -> Drying:
    """Take water down to the limit of the tower, and what SO3 and acid the gas brings altogether.

    Gas drier than the limit passes as it is. SO2 dissolved in the acid is taken to be stripped back.
    """
    brought = {name: gas.amount(name) for name in (WATER, SO3, _VAPOUR, _MIST)}
    others = tuple(name for name in gas.phase.names if name not in (*_CARRIED, _VAPOUR, _MIST))
    dry_flow = gas.total() - sum(brought.values())
    left = np.minimum(brought[WATER], s.dried_moisture / M_WATER * dry_flow)
    amounts = {SO3: np.zeros_like(left), WATER: left}
    names = (*_CARRIED, *others)
    n = np.stack(np.broadcast_arrays(*(amounts.get(x, gas.amount(x)) for x in names)), axis=1)
    dried = Stream(species(*names), n, s.dried_temperature)
    return Drying(dried, brought[WATER] - left, brought[SO3], brought[_VAPOUR] + brought[_MIST])


@dataclass(frozen=True, eq=False)
class Acid:
    """What the acid circuits make.

    absorbed : (N,) [mol/s] SO3 turned to acid
    dilution : water to add; products : "absorption" and "drying", acid drawn from each
    mist : H2SO4 that leaves with the tail gas
    water_balance : (N,) [mol/s] water wanted; negative where the gas brings more than the strength allows
    water_room : (N,) [mol/s] most water the gas may bring, all of it taken up
    """

    absorbed: FloatN
    dilution: Stream
    products: dict[str, Stream]
    mist: Stream
    water_balance: FloatN
    water_room: FloatN

    def production(self) -> FloatN:
        """(N,) [mol/s] H2SO4 drawn, as 100 %."""
        return self.products["absorption"].amount(ACID) + self.products["drying"].amount(ACID)

    def strengths(self) -> dict[str, FloatN]:
        """(N,) [kg/kg] H2SO4 of each acid drawn."""
        return {name: strength(p.amount(ACID), p.amount(LIQUID_WATER)) for name, p in self.products.items()}


def make_acid(trioxide: FloatN, water: FloatN, acid: FloatN, mist: FloatN, s: AcidPlantSettings) -> Acid:
    """Acid from what the towers took up, at the strengths asked for, or weaker where the gas was too wet.

    trioxide, water, acid : (N,) [mol/s] taken up; mist : (N,) [mol/s] H2SO4 leaving with the tail gas

    SO3 + H2O = H2SO4: each mole binds one of water, and a mole of acid of strength w holds
    (M_A / M_W) (1 - w) / w more. Water beyond that goes with the acid, which is weaker for it.
    """
    made = trioxide + acid - mist
    share = s.drawn_from_drying
    amounts = {"absorption": (1.0 - share) * made, "drying": share * made}
    free = {"absorption": water_per_acid(s.strength), "drying": water_per_acid(s.drying_strength)}
    room = trioxide + sum(amounts[name] * free[name] for name in amounts)
    balance = room - water
    surplus = np.maximum(-balance, 0.0)
    split = {"absorption": 1.0 - share, "drying": share}
    products = {
        name: _liquid(amount, amount * free[name] + split[name] * surplus, s.acid_temperature)
        for name, amount in amounts.items()
    }
    zero = np.zeros(1)
    return Acid(
        absorbed=trioxide,
        dilution=_liquid(zero, np.maximum(balance, 0.0), s.water_temperature),
        products=products,
        mist=_liquid(mist, zero, s.absorber_outlet),
        water_balance=balance,
        water_room=room,
    )


def _liquid(acid: FloatN, water: FloatN, T: FloatN) -> Stream:
    n: FloatNS = np.stack(np.broadcast_arrays(acid, water), axis=1)
    return Stream(acid_phase(), n, T)


def acid_entry(stream: Stream) -> Entry:
    """The ledger entry of an acid.

    Its standard state is the mixture at 25 degC, so dilution counts as reaction; the heat capacity of the
    mixture is taken as that of acid and water apart.
    """
    pure, mixed = Entry.of(stream), mixing_heat(stream.amount(ACID), stream.amount(LIQUID_WATER))
    return Entry(pure.elements, pure.enthalpy + mixed, pure.formation + mixed)
