"""The converter: beds in a row with the gas cooled between them, and the heat its exchangers can spare."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pyrobal.arrays import Bools, FloatN, FloatNS, Floats, column, take, zeros
from pyrobal.plant.acid_plant.bed import O2, SO2, SO3, BedGas, Reacted, pass_bed, stoichiometry
from pyrobal.plant.acid_plant.settings import AcidPlantSettings
from pyrobal.streams.stream import Stream
from pyrobal.streams.time_steps import GasOverTime, TimeSteps
from pyrobal.thermo.content import content
from pyrobal.thermo.properties import Species, species

WATER = "H2O(g)"
_NONE = np.zeros(1)


@dataclass(frozen=True, eq=False)
class Bed:
    """A bed over a whole cycle: gas entering and leaving, each mixed; oxidised : (N,) [mol/s] SO2."""

    inlet: Stream
    outlet: Stream
    oxidised: FloatN


@dataclass(frozen=True, eq=False)
class Absorber:
    """Gas entering cooled and gas leaving, stripped of SO3 and its last water."""

    inlet: Stream
    outlet: Stream

    def taken(self, name: str) -> FloatN:
        """(N,) [mol/s] of a species taken up by the acid."""
        return self.inlet.amount(name) - self.outlet.amount(name)


@dataclass(frozen=True, eq=False)
class Course:
    """The converter over the moments of a cycle, quasi-steady: no heat is held by catalyst and exchangers.

    feed : gas to the first bed; tail : gas to the stack
    oxidised, outlet : (N, T, K) [mol/s] SO2 in each bed, [K] gas leaving it
    idle : (N, T, K) True where the gas entered at or beyond its equilibrium
    converged : (N, T)
    """

    feed: GasOverTime
    tail: GasOverTime
    oxidised: Floats
    outlet: Floats
    idle: Bools
    converged: Bools

    @property
    def conversion(self) -> Floats:
        """(N, T) share of the SO2 oxidised in all beds; nan at a moment without SO2."""
        fed, done = self.feed.so2, self.oxidised.sum(axis=2)
        return np.divide(done, fed, out=np.full_like(done, np.nan), where=fed.real > 0)


@dataclass(frozen=True, eq=False)
class Converter:
    """Gas from the blower to the stack, as the mean of the moments: of amounts and of heat.

    feed : dried gas from the blower
    beds : in order; absorbers : one, or two with the intermediate one first
    duties : (N,) [W] name -> heat the gas takes up outside beds and absorbers; negative where it is cooled
    loss : (N,) [W]
    course : the moments behind it
    """

    feed: Stream
    beds: tuple[Bed, ...]
    absorbers: tuple[Absorber, ...]
    duties: dict[str, FloatN]
    loss: FloatN
    course: Course

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


def convert(feed: Stream, over: Stream, s: AcidPlantSettings, moments: TimeSteps) -> Converter:
    """Lead dried gas through beds and absorbers, moment by moment.

    feed : (N, S) gas from the blower, SO2, O2, SO3 and H2O among its species
    over : (N T, S) the same at every moment, equally warm at all moments of a scenario

    The mean follows from what each bed oxidises on the mean: the amounts are linear in it, and so is heat, as
    every bed is adiabatic and entered at a set temperature.
    """
    course = _course(over, moments.spread(s), moments)
    beds: list[Bed] = []
    absorbers: list[Absorber] = []
    duties: dict[str, FloatN] = {}
    gas = feed
    for k, (inlet, oxidised) in enumerate(zip(s.inlets(), _mean_oxidised(course), strict=True), start=1):
        warm = gas if s.bypassed(k) else Stream(gas.phase, gas.n, inlet)
        duties[f"to_bed_{k}"] = warm.enthalpy() - gas.enthalpy()
        beds.append(_bed(warm, oxidised, course.outlet[:, :, k - 1].mean(axis=1)))
        gas = beds[-1].outlet
        if k == s.interpass or k == s.count:
            absorbers.append(absorb(gas, s))
            duties["to_interpass" if k == s.interpass else "to_final"] = (
                absorbers[-1].inlet.enthalpy() - gas.enthalpy()
            )
            gas = absorbers[-1].outlet
    loss = s.heat_loss * (Stream(feed.phase, feed.n, s.first_inlet).enthalpy() - feed.enthalpy())
    return Converter(feed, tuple(beds), tuple(absorbers), duties, loss, course)


def _mean_oxidised(course: Course) -> Floats:
    """(K, N) [mol/s]."""
    mean: Floats = course.oxidised.mean(axis=1).T
    return mean


def _bed(inlet: Stream, oxidised: FloatN, guess: FloatN) -> Bed:
    """The gas of all moments mixed behind a bed: it holds the heat it brought."""
    n = inlet.n + column(oxidised) * stoichiometry(inlet.phase)
    T = content(inlet.phase, n).temperature(inlet.enthalpy(), guess)
    return Bed(inlet, Stream(inlet.phase, n, T), oxidised)


def _course(feed: Stream, s: AcidPlantSettings, moments: TimeSteps) -> Course:
    """The few amounts that matter to the beds, at every moment; s : settings spread over the moments.

    Vessels that take turns make the same gas many times in a cycle; its beds are worked out once.
    """
    first, of = moments.distinct(feed.n)
    met, s = take((feed, s), first)
    gas, T, water = BedGas.of(met), met.T, met.amount(WATER)
    passed: list[Reacted] = []
    for k, (inlet, approach) in enumerate(zip(s.inlets(), s.approaches(), strict=True), start=1):
        entering, lit = (T, _NONE) if s.bypassed(k) else (inlet, s.lit(k))
        passed.append(pass_bed(gas, entering, s.pressure, approach, lit))
        gas, T = gas.oxidised(passed[-1].oxidised), passed[-1].T
        if k == s.interpass or k == s.count:
            taken = np.stack([gas.so3 * s.absorption, water], axis=1)
            gas, T = gas.without(Stream(species(SO3, WATER), taken, T)), s.absorber_outlet
            water = np.zeros_like(water)
    oxidised, outlet, idle = (
        moments.series(np.stack([getattr(p, x) for p in passed], axis=1)[of])
        for x in ("oxidised", "T", "idle")
    )
    tail = GasOverTime(*(moments.series(x[of]) for x in (gas.total, gas.so2, gas.o2)))
    converged = moments.series(np.all([p.converged for p in passed], axis=0)[of])
    return Course(GasOverTime.of(feed, moments), tail, oxidised, outlet, idle, converged)


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
    phase, fed, first = c.feed.phase, n[:, c.feed.phase.index(SO2)], s.first_inlet
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
