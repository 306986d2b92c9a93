"""One stack: its gas and dust, and the concentrations a permit asks for."""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, Floats, ratio, total
from pyrobal.constants import T_NORMAL
from pyrobal.plant.emissions.settings import StackSettings
from pyrobal.streams.site import OXYGEN_IN_AIR
from pyrobal.streams.stream import Stream
from pyrobal.thermo.acid_solution import M_ACID, M_SO2
from pyrobal.thermo.elements import ATOMIC_MASS_OF, ELEMENTS
from pyrobal.thermo.properties import Species, species

METALS = ("As", "Pb", "Cd", "Hg")
KINDS = ("so2", "mist", "dust", *METALS)  # what a stack is held to account for
SO2, O2, WATER = "SO2(g)", "O2(g)", "H2O(g)"
_ACID = ("SO3(g)", "H2SO4(g)", "H2SO4(l)")  # counted as H2SO4
_NO_DUST = ("H2SO4(l)", "HCl(aq)", "HF(aq)", "H2O(l)", "Hg")  # mist, moisture and vapour that gas carries
# All other vapours are dust there.
_GAS_AT_THE_STACK = ("H", "C", "N", "O", "S", "Ar", "Cl", "F", "Hg", "Rest")


@dataclass(frozen=True, eq=False)
class Stack:
    """Gas of one stack and what it carries, scrubbed and filtered.

    scrubbed : (N,) [mol/s] SO2 washed out before it; conditions : at which the permit states it
    """

    gas: Stream
    carried: Stream
    scrubbed: FloatN
    conditions: StackSettings

    @property
    def flow(self) -> FloatN:
        """(N,) [mol/s] dry, without mist."""
        return self.gas.total() - self.gas.amount(WATER) - self.gas.amount("H2SO4(l)")

    @property
    def moisture(self) -> FloatN:
        """(N,) [mol/mol] water vapour of the wet gas."""
        return ratio(self.gas.amount(WATER), self.flow + self.gas.amount(WATER))

    @property
    def oxygen(self) -> FloatN:
        """(N,) [mol/mol] dry."""
        return ratio(self.gas.amount(O2), self.flow)

    @property
    def so2(self) -> FloatN:
        """(N,) [mol/s]."""
        return self.gas.amount(SO2)

    @property
    def acid(self) -> FloatN:
        """(N,) [mol/s] SO3 and acid as H2SO4."""
        return total(x.amount(name) for x in (self.gas, self.carried) for name in _ACID)

    @property
    def dust(self) -> FloatN:
        """(N,) [kg/s] solids, and vapours that are solid when the gas is cold; no acid mist."""
        solids = total(x for name, x in _by_species(self.carried) if name not in _NO_DUST)
        return solids + self.gas.n @ (self.gas.phase.molar_mass * condensing(self.gas.phase))

    def rate(self, kind: str) -> FloatN:
        """(N,) [kg/s] of one of ``KINDS``; a metal in all its forms."""
        if kind == "so2":
            return self.so2 * M_SO2
        if kind == "mist":
            return self.acid * M_ACID
        if kind == "dust":
            return self.dust
        held = self.gas.element(kind) + self.carried.element(kind)
        return held * ATOMIC_MASS_OF[kind]

    @property
    def so2_share(self) -> FloatN:
        """(N,) [mol/mol] dry, oxygen as measured; zero where nothing flows."""
        return ratio(self.so2, self.flow)

    def measured(self, kind: str) -> FloatN:
        """(N,) [kg/mol of dry gas], oxygen as measured; zero where nothing flows."""
        return ratio(self.rate(kind), self.flow)

    def concentration(self, kind: str) -> FloatN:
        """(N,) [kg/mol] as a permit states it: at the reference oxygen, moisture and temperature.

        The volume is that of a mole at 0 degC, which holds less gas where the reference is warmer.
        """
        return self.measured(kind) * at_reference(self.oxygen, self.conditions)


def at_reference(oxygen: Floats, s: StackSettings) -> Floats:
    """What a concentration, dry and as measured, is multiplied by to be at the reference of its stack.

    (x_air - x_reference) / (x_air - x_measured) is the usual form of permits, with the oxygen of dry air at
    20.95 %; nan where the gas holds as much oxygen as air.
    """
    factor = (1.0 - s.reference_moisture) * T_NORMAL / s.reference_temperature
    if s.reference_oxygen is None:
        return factor
    spare = OXYGEN_IN_AIR - oxygen
    kept = np.where(spare > 0, (OXYGEN_IN_AIR - s.reference_oxygen) / np.where(spare > 0, spare, 1.0), np.nan)
    return factor * kept


def _by_species(stream: Stream) -> Iterable[tuple[str, FloatN]]:
    return zip(stream.phase.names, stream.species_mass().T, strict=True)


@functools.lru_cache(maxsize=64)
def _solid_share(names: tuple[str, ...]) -> tuple[float, ...]:
    phase = species(*names)
    gases = [ELEMENTS.index(e) for e in _GAS_AT_THE_STACK]
    other = phase.composition.copy()
    other[:, gases] = 0.0
    return tuple(float(row.any()) for row in other)


def condensing(phase: Species) -> Floats:
    """(S,) one for vapours that are solid when the gas is cold: of metals, but not of mercury."""
    return np.array(_solid_share(phase.names))
