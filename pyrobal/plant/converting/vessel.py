"""A converter and what is in it: the nouns of the march through a cycle."""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS, Floats, column, zeros
from pyrobal.plant.converting.blast import Blast
from pyrobal.plant.converting.deportment import (
    CU,
    OXYGEN,
    SULFUR,
    Settled,
    Shares,
    phases,
    settle,
    settle_charged,
    settle_nothing,
)
from pyrobal.plant.converting.heat import curve
from pyrobal.plant.converting.melts import M_CU, M_O, M_S, Matte, Slag, copper_species
from pyrobal.plant.converting.settings import ConvertingSettings
from pyrobal.plant.converting.sums import standing
from pyrobal.streams.ledger import Entry
from pyrobal.thermo.curve import Curve
from pyrobal.thermo.elements import ELEMENTS


@dataclass(frozen=True, eq=False)
class Flux:
    """One kilogram of dry flux, its moisture included.

    elements : (N, E) [mol/kg]; enthalpy : (N,) [J/kg]
    """

    settled: Settled
    elements: FloatNE
    enthalpy: FloatN


@dataclass(frozen=True, eq=False)
class Addition:
    """What is put into the bath, ladles of matte or a kilogram of cold charge, and what it stands as there.

    metals : (N, E) [mol]; melt : (N, S) [mol] on the bath axis
    sulfur, oxygen : (N,) [mol] it brings, beyond or short of those in ``melt`` too; enthalpy : (N,) [J]
    leaving : what of it and of its reverts settles in the step after
    reverts : elements and enthalpy of the reverts that go in with it, in the step after
    """

    metals: FloatNE
    melt: FloatNS
    sulfur: FloatN
    oxygen: FloatN
    enthalpy: FloatN
    leaving: Settled
    reverts: Entry

    @functools.cached_property
    def molten(self) -> Curve:
        """Enthalpy [J] over temperature of it in the bath."""
        return curve("bath", self.melt)

    @functools.cached_property
    def standing(self) -> Floats:
        """(15, N) sums of it in the vessel."""
        return standing(self.melt, self.enthalpy)

    def uptake(self, T: FloatN) -> FloatN:
        """(N,) [J] that it takes up to be molten at T."""
        return self.molten.enthalpy(T) - self.enthalpy

    def entry(self, kg: FloatN) -> Entry:
        """``kg`` (N,) of it at 25 degC."""
        elements = column(kg) * self.metals
        elements[:, SULFUR], elements[:, OXYGEN] = kg * self.sulfur, kg * self.oxygen
        return Entry(elements, kg * self.enthalpy, kg * self.enthalpy)


def ladles(matte: Entry, rule: Matte) -> Addition:
    """Liquid matte; what leaves of it settles evenly over the blow, with the feed."""
    metals = matte.elements.copy()
    metals[:, [SULFUR, OXYGEN]] = 0.0
    sulfur, oxygen = matte.elements[:, SULFUR], matte.elements[:, OXYGEN]
    melt = rule.species(metals)
    return Addition(metals, melt, sulfur, oxygen, matte.enthalpy, settle_nothing(), no_entry())


def cold_matte(matte: Entry, reverts: Entry, mass: FloatN, rule: Matte, to: Shares) -> Addition:
    """Own matte that has frozen: ``matte`` of ``mass`` (N,) [kg] at 25 degC, and its reverts."""
    one, with_it = matte.scaled(1.0 / mass), reverts.scaled(1.0 / mass)
    leaving = settle_charged(one.elements, to).plus(settle(with_it.elements, to), np.ones(1))
    return replace(ladles(one, rule), enthalpy=one.formation, leaving=leaving, reverts=with_it)


def cold_copper(s: ConvertingSettings) -> Addition:
    """Own copper with the sulfur and oxygen of the blister, or scrap as pure copper.

    Minor elements of own copper are taken not to go round with it.
    """
    own = s.copper_coolant == "own_copper"
    sulfur, oxygen = (x if own else np.zeros(1) for x in (s.blister_sulfur, s.blister_oxygen))
    metals = zeros((max(len(sulfur), len(oxygen)), len(ELEMENTS)), sulfur, oxygen)
    metals[:, CU] = (1.0 - sulfur - oxygen) / M_CU
    melt = copper_species(metals, sulfur, oxygen)
    cold = melt @ phases()["bath"].reference_enthalpy
    return Addition(metals, melt, sulfur / M_S, oxygen / M_O, cold, settle_nothing(), no_entry())


def no_entry() -> Entry:
    """Nothing."""
    return Entry(np.zeros((1, len(ELEMENTS))), np.zeros(1), np.zeros(1))


@dataclass(frozen=True, eq=False)
class Vessel:
    """What does not change during a cycle.

    to : shares of what is fed; rule : composition of its matte; flux : silica, None where the case has none
    hold : True where cold charge keeps the bath at its temperature
    """

    s: ConvertingSettings
    to: Shares
    rule: Matte
    flux: Flux | None
    hold: bool

    @functools.cached_property
    def dust_enthalpy(self) -> FloatNS:
        """(N, S) [J/mol] of dust as it leaves."""
        return phases()["dust"].enthalpy(self.s.bath_temperature)


@dataclass(frozen=True, eq=False)
class Blow:
    """What does not change during a blow.

    makes_copper : False where it makes slag of the iron
    slag : assay the slag is made to; rate : (N,) [mol/s] dry blast; efficiency : (N,) [-] of its oxygen
    sulfur, oxygen : (N,) [kg/kg] held by the copper
    """

    makes_copper: bool
    slag: Slag
    blast: Blast
    rate: FloatN
    efficiency: FloatN
    sulfur: FloatN
    oxygen: FloatN
