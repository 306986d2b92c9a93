"""A stream: amounts of the species of one phase, at one temperature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS, column
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import Species


@dataclass(frozen=True, eq=False)
class Stream:
    """Something that flows.

    phase : the S axis
    n : (N, S) [mol/s]
    T : (N,) [K]
    """

    phase: Species
    n: FloatNS
    T: FloatN

    def amount(self, name: str) -> FloatN:
        """(N,) [mol/s] of one species; zero where the phase does not carry it."""
        return self.n[:, self.phase.index(name)] if name in self.phase.names else np.zeros(len(self.n))

    def total(self) -> FloatN:
        """(N,) [mol/s]."""
        return self.n.sum(axis=1)

    def mass(self) -> FloatN:
        """(N,) [kg/s]."""
        return self.n @ self.phase.molar_mass

    def species_mass(self) -> FloatNS:
        """(N, S) [kg/s]."""
        return self.n * self.phase.molar_mass

    def elements(self) -> FloatNE:
        """(N, E) [mol/s]."""
        return self.n @ self.phase.composition

    def element(self, symbol: str) -> FloatN:
        """(N,) [mol/s] of one element."""
        return self.n @ self.phase.composition[:, ELEMENTS.index(symbol)]

    def enthalpy(self) -> FloatN:
        """(N,) [W], elements at 298.15 K as zero."""
        return np.einsum("ns,ns->n", self.n, self.phase.enthalpy(self.T))

    def formation_heat(self) -> FloatN:
        """(N,) [W]: enthalpy of the same compounds in their standard states at 25 degC."""
        return self.n @ self.phase.reference_enthalpy

    def sensible_heat(self) -> FloatN:
        """(N,) [W] above 25 degC, melting and silicate formation included."""
        return self.enthalpy() - self.formation_heat()

    def scaled(self, factor: FloatN) -> Stream:
        """The same composition and temperature, ``factor`` (N,) times the amount."""
        return Stream(self.phase, self.n * column(factor), self.T)
