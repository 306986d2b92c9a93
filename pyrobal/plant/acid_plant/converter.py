"""The converter: beds in a row with the gas cooled between them, and the heat its exchangers can spare."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pyrobal.arrays import FloatN, FloatNS, Floats, column, zeros
from pyrobal.plant.acid_plant.bed import O2, SO2, SO3, Bed, pass_bed, stoichiometry
from pyrobal.plant.acid_plant.settings import AcidPlantSettings
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import Species

WATER = "H2O(g)"


@dataclass(frozen=True, eq=False)
class Absorber:
    """Gas entering cooled and gas leaving, stripped of SO3 and its last water."""

    inlet: Stream
    outlet: Stream

    def taken(self, name: str) -> FloatN:
        """(N,) [mol/s] of a species taken up by the acid."""
        return self.inlet.amount(name) - self.outlet.amount(name)


@dataclass(frozen=True, eq=False)
class Converter:
    """Gas from the blower to the stack.

    feed : dried gas from the blower
    beds : in order; absorbers : one, or two with the intermediate one first
    duties : (N,) [W] name -> heat the gas takes up outside beds and absorbers; negative where it is cooled
    loss : (N,) [W]
    """

    feed: Stream
    beds: tuple[Bed, ...]
    absorbers: tuple[Absorber, ...]
    duties: dict[str, FloatN]
    loss: FloatN

    @property
    def tail(self) -> Stream:
        """Gas to the stack."""
        return self.absorbers[-1].outlet

    def conversion(self) -> Floats:
        """(N, K) share of the SO2 oxidised up to and including each bed."""
        fed = self.feed.amount(SO2)
        done = np.cumsum(np.stack([bed.oxidised for bed in self.beds], axis=1), axis=1)
        return np.divide(done, column(fed), out=np.full_like(done, np.nan), where=column(fed) > 0)

    def surplus(self) -> FloatN:
        """(N,) [W] the exchangers can spare; negative where they lack heat to warm the gas to every bed."""
        return -sum(self.duties.values(), start=self.loss)


def convert(feed: Stream, s: AcidPlantSettings) -> Converter:
    """Lead dried gas through beds and absorbers.

    feed : gas from the blower, SO2, O2, SO3 and H2O among its species
    """
    beds: list[Bed] = []
    absorbers: list[Absorber] = []
    duties: dict[str, FloatN] = {}
    gas = feed
    for k, (inlet, approach) in enumerate(zip(s.inlets(), s.approaches(), strict=True), start=1):
        warm = Stream(gas.phase, gas.n, inlet)
        duties[f"to_bed_{k}"] = warm.enthalpy() - gas.enthalpy()
        beds.append(pass_bed(warm, s.pressure, approach))
        gas = beds[-1].outlet
        if k == s.interpass or k == s.count:
            absorbers.append(absorb(gas, s))
            duties["to_interpass" if k == s.interpass else "to_final"] = (
                absorbers[-1].inlet.enthalpy() - gas.enthalpy()
            )
            gas = absorbers[-1].outlet
    return Converter(feed, tuple(beds), tuple(absorbers), duties, s.heat_loss * duties["to_bed_1"])


def absorb(gas: Stream, s: AcidPlantSettings) -> Absorber:
    """Take up SO3 at the efficiency of the tower, and all water, in strong acid.

    Water over 98.5 % acid is far below 1 ppm (its minimum of vapour pressure), so none is left in the gas.
    """
    kept = 1.0 + zeros((len(s.absorption), len(gas.phase)), s.absorption)
    kept[:, gas.phase.index(SO3)] = 1.0 - s.absorption
    kept[:, gas.phase.index(WATER)] = 0.0
    return Absorber(
        Stream(gas.phase, gas.n, s.absorber_inlet), Stream(gas.phase, gas.n * kept, s.absorber_outlet)
    )


class Autothermal(NamedTuple):
    """strength : (N,) [mol/mol] SO2 in the dried gas at which the exchangers just suffice.

    surplus_inert, surplus_reacting : (N,) [J/mol] spared by nitrogen, and by SO2 with its oxygen
    """

    strength: FloatN
    surplus_inert: FloatN
    surplus_reacting: FloatN


def autothermal(c: Converter, s: AcidPlantSettings) -> Autothermal:
    """SO2 strength at which the surplus is nil, at this O2/SO2 and these conversions, nitrogen for the rest.

    Beds are adiabatic, so the surplus is the enthalpy from blower to absorbers less the loss: linear in the
    composition of the gas. With i the inert part and r the SO2 with rho O2,
    y r + (1 - y (1 + rho)) i = 0. Zero where inert gas alone brings heat enough.
    """
    phase, fed = c.feed.phase, c.feed.amount(SO2)
    rho = c.feed.amount(O2) / fed
    inert, reacting = zeros((2, len(fed), len(phase)), rho)
    inert[:, phase.index("N2(g)")] = 1.0
    reacting[:, phase.index(SO2)], reacting[:, phase.index(O2)] = 1.0, rho
    i, r = spared(c, inert, s), spared(c, reacting, s)
    strength = np.where(i >= 0, 0.0, -i / (r - (1.0 + rho) * i))
    return Autothermal(strength, i, r)


def spared(c: Converter, n: FloatNS, s: AcidPlantSettings) -> FloatN:
    """Surplus (N,) [W] of a gas n (N, S) [mol/s] without SO3 at the temperatures and conversions of ``c``."""
    phase, fed, first = c.feed.phase, n[:, c.feed.phase.index(SO2)], c.beds[0].inlet.T
    done = c.conversion()
    heat = _heat(phase, n, c.feed.T)
    loss = s.heat_loss * (_heat(phase, n, first) - heat)
    gas, so_far = n, np.zeros_like(fed)
    for absorber, beds in zip(c.absorbers, _bed_groups(s), strict=True):
        share = done[:, beds - 1]
        gas = gas + column((share - so_far) * fed) * stoichiometry(phase)
        heat = heat - _heat(phase, gas, absorber.inlet.T)
        so_far = share
        if absorber is not c.absorbers[-1]:
            left = absorb(Stream(phase, gas, absorber.inlet.T), s).outlet
            gas, heat = left.n, heat + left.enthalpy()
    return heat - loss


def _bed_groups(s: AcidPlantSettings) -> tuple[int, ...]:
    """Beds passed before each absorber."""
    return (s.count,) if s.interpass is None else (s.interpass, s.count)


def _heat(phase: Species, n: FloatNS, T: FloatN) -> FloatN:
    return Stream(phase, n, T).enthalpy()
