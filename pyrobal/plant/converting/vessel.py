"""A converter and what is in it: the nouns of the march through a cycle."""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS, column, zeros
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
from pyrobal.plant.converting.heat import curve, temperature, together
from pyrobal.plant.converting.melts import M_CU, M_O, M_S, Matte, Slag, copper_species
from pyrobal.plant.converting.settings import ConvertingSettings
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
class Coolant:
    """One kilogram of cold charge at 25 degC, and what it stands as in the bath.

    white, copper : (N, E) [mol/kg] metals it adds to matte and copper
    melt : (N, S) [mol/kg] on the bath axis
    sulfur, oxygen : (N,) [mol/kg]; enthalpy : (N,) [J/kg] cold
    leaving : what of it and of its reverts settles in the step after
    reverts : elements and enthalpy of the reverts that go in with it, in the step after
    """

    white: FloatNE
    copper: FloatNE
    melt: FloatNS
    sulfur: FloatN
    oxygen: FloatN
    enthalpy: FloatN
    leaving: Settled
    reverts: Entry

    @functools.cached_property
    def molten(self) -> Curve:
        """Enthalpy [J/kg] over temperature of it in the bath."""
        return curve("bath", self.melt)

    def uptake(self, T: FloatN) -> FloatN:
        """(N,) [J/kg] that it takes up to be molten at T."""
        return self.molten.enthalpy(T) - self.enthalpy

    def entry(self, kg: FloatN) -> Entry:
        """``kg`` (N,) of it at 25 degC."""
        elements = column(kg) * (self.white + self.copper)
        elements[:, SULFUR], elements[:, OXYGEN] = kg * self.sulfur, kg * self.oxygen
        return Entry(elements, kg * self.enthalpy, kg * self.enthalpy)


def cold_matte(matte: Entry, reverts: Entry, mass: FloatN, rule: Matte, to: Shares) -> Coolant:
    """Own matte that has frozen: ``matte`` of ``mass`` (N,) [kg] at 25 degC, and its reverts."""
    one, with_it = matte.scaled(1.0 / mass), reverts.scaled(1.0 / mass)
    metals = one.elements.copy()
    metals[:, [SULFUR, OXYGEN]] = 0.0
    leaving = settle_charged(one.elements, to).plus(settle(with_it.elements, to), np.ones(1))
    return Coolant(
        metals, np.zeros_like(metals), rule.species(metals), one.elements[:, SULFUR], one.elements[:, OXYGEN],
        one.formation, leaving, with_it,
    )  # fmt: skip


def cold_copper(s: ConvertingSettings) -> Coolant:
    """Own copper with the sulfur and oxygen of the blister, or scrap as pure copper.

    Minor elements of own copper are taken not to go round with it.
    """
    own = s.copper_coolant == "own_copper"
    sulfur, oxygen = (x if own else np.zeros(1) for x in (s.blister_sulfur, s.blister_oxygen))
    metals = zeros((max(len(sulfur), len(oxygen)), len(ELEMENTS)), sulfur, oxygen)
    metals[:, CU] = (1.0 - sulfur - oxygen) / M_CU
    melt = copper_species(metals, sulfur, oxygen)
    none, zero = np.zeros((1, len(ELEMENTS))), np.zeros(1)
    return Coolant(
        none, metals, melt, sulfur / M_S, oxygen / M_O, melt @ phases()["bath"].reference_enthalpy,
        settle_nothing(), Entry(none, zero, zero),
    )  # fmt: skip


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


@dataclass(frozen=True, eq=False)
class Blow:
    """One blow, divided into equal steps.

    feed, feed_elements, feed_enthalpy : what each step brings besides flux and blast: reverts, and the minor
        elements of the matte charged that leave it
    slag : assay the slag is made to; rate : (N,) [mol/s] dry blast; efficiency : (N,) [-] of its oxygen
    sulfur, oxygen : (N,) [kg/kg] held by the copper
    coolant : what holds the temperature
    """

    label: str
    steps: int
    feed: Settled
    feed_elements: FloatNE
    feed_enthalpy: FloatN
    slag: Slag
    blast: Blast
    rate: FloatN
    efficiency: FloatN
    sulfur: FloatN
    oxygen: FloatN
    coolant: Coolant

    def after_cooling(self, cold: FloatN) -> Blow:
        """The blow whose next step also deals with what came with the coolant (N,) [kg] just charged."""
        return replace(
            self,
            feed=self.feed.plus(self.coolant.leaving, cold),
            feed_elements=self.feed_elements + column(cold) * self.coolant.reverts.elements,
            feed_enthalpy=self.feed_enthalpy + cold * self.coolant.reverts.enthalpy,
        )


@dataclass(frozen=True, eq=False)
class Bath:
    """What is in the vessel.

    white, copper : (N, E) [mol] metals of the matte and of the copper
    sulfur, oxygen : (N,) [mol] in matte and copper together
    melt : (N, S) [mol] the same on the bath axis; slag : (N, S) [mol] on the slag axis
    H : (N,) [J]; T : (N,) [K]
    """

    white: FloatNE
    copper: FloatNE
    sulfur: FloatN
    oxygen: FloatN
    melt: FloatNS
    slag: FloatNS
    H: FloatN
    T: FloatN

    @property
    def content(self) -> Curve:
        """Enthalpy over temperature of everything in the vessel."""
        return together(curve("bath", self.melt), curve("slag", self.slag))

    def elements(self) -> FloatNE:
        """(N, E) [mol] in the vessel."""
        p = phases()
        return self.melt @ p["bath"].composition + self.slag @ p["slag"].composition

    def with_heat(self, H: FloatN) -> Bath:
        """The same melt with another heat content (N,) [J], at the temperature that belongs to it."""
        return replace(self, H=H, T=temperature(self.content, H, self.T))

    def held_at(self, T: FloatN, coolant: Coolant) -> tuple[Bath, FloatN]:
        """The bath cooled to T by a coolant where it is hotter, and the coolant (N,) [kg] it took."""
        hot = T < self.T
        kg = np.where(hot, (self.H - self.content.enthalpy(T)) / coolant.uptake(T), 0.0)
        cooled = Bath(
            self.white + column(kg) * coolant.white, self.copper + column(kg) * coolant.copper,
            self.sulfur + kg * coolant.sulfur, self.oxygen + kg * coolant.oxygen,
            self.melt + column(kg) * coolant.melt, self.slag, self.H + kg * coolant.enthalpy,
            np.where(hot, T, self.T),
        )  # fmt: skip
        return cooled, kg

    def without_slag(self) -> Bath:
        """The bath once its slag is skimmed."""
        H = self.H - curve("slag", self.slag).enthalpy(self.T)
        return replace(self, slag=np.zeros_like(self.slag), H=H)


def empty(n: int) -> Bath:
    """An empty vessel for n scenarios; its temperature is only a first guess."""
    p = phases()
    metals, scalar = np.zeros((n, p["bath"].composition.shape[1])), np.zeros(n)
    melt, slag = np.zeros((n, len(p["bath"]))), np.zeros((n, len(p["slag"])))
    return Bath(metals, metals, scalar, scalar, melt, slag, scalar, scalar + 1450.0)
