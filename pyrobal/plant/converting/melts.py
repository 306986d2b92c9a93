"""What the elements of a bath stand as: white metal, copper and slag, each in closed form."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS, ratio, zeros
from pyrobal.plant.converting.deportment import CU, FE, OXYGEN, carried, phases
from pyrobal.thermo import coppermaking, solutions
from pyrobal.thermo.elements import ATOMIC_MASS, ATOMIC_MASS_OF

M_CU, M_FE, M_S, M_O = (ATOMIC_MASS_OF[e] for e in ("Cu", "Fe", "S", "O"))
M_CU2S, M_FES = 2 * M_CU + M_S, M_FE + M_S
M_FEO, M_FE3O4, M_CU2O = M_FE + M_O, 3 * M_FE + 4 * M_O, 2 * M_CU + M_O
M_SIO2 = ATOMIC_MASS_OF["Si"] + 2 * M_O


@dataclass(frozen=True, eq=False)
class Matte:
    """The rule of composition of the matte in the bath: Cu2S, minor sulfides, and iron as FeS and Fe3O4.

    oxidic : (N,) [mol/mol] Fe3O4 per FeS as the matte came. It stays, so the oxygen of the matte leaves with
    the iron and white metal without iron holds none, as found for mattes of rising grade (Matousek 1996).
    """

    oxidic: FloatN

    @staticmethod
    def of(elements: FloatNE) -> Matte:
        """The rule from a matte's elements (N, E): its oxygen is Fe3O4, the rest of its iron FeS."""
        fe3o4 = elements[:, OXYGEN] / 4.0
        return Matte(ratio(fe3o4, np.maximum(elements[:, FE] - 3.0 * fe3o4, 1e-300 * elements.sum(axis=1))))

    @property
    def mass_per_iron(self) -> FloatN:
        """(N,) kg of FeS and Fe3O4 per mole of iron."""
        return (M_FES + self.oxidic * M_FE3O4) / (1.0 + 3.0 * self.oxidic)

    def species(self, metals: FloatNE) -> FloatNS:
        """(N, S) mol on the bath axis, of metals (N, E) mol."""
        axis = phases()["bath"]
        fes = metals[:, FE] / (1.0 + 3.0 * self.oxidic)
        n = metals @ carried("matte", "bath") + zeros((len(fes), 1), fes)
        n[:, axis.index("Cu2S(l)")] += metals[:, CU] / 2.0
        n[:, axis.index("FeS(l)")] += fes
        n[:, axis.index("Fe3O4(slag)")] += fes * self.oxidic
        return n

    def mass(self, metals: FloatNE) -> FloatN:
        """(N,) kg of the matte of these metals."""
        return metals[:, CU] * M_CU2S / 2.0 + metals[:, FE] * self.mass_per_iron + minor_mass(metals)


def minor_mass(metals: FloatNE) -> FloatN:
    """(N,) kg of the minor sulfides of metals (N, E) mol."""
    return metals @ (carried("matte", "bath") @ phases()["bath"].molar_mass)


def copper_species(metals: FloatNE, sulfur: FloatN, oxygen: FloatN) -> FloatNS:
    """(N, S) mol on the bath axis, of copper that holds sulfur and oxygen (N,) [kg/kg] as Cu2S and Cu2O."""
    axis = phases()["bath"]
    mass = (metals @ ATOMIC_MASS) / (1.0 - sulfur - oxygen)
    n = metals @ carried("copper", "bath") + zeros((len(mass), 1), mass)
    sulfide, oxide = mass * sulfur / M_S, mass * oxygen / M_O
    n[:, axis.index("Cu(l)")] += metals[:, CU] - 2.0 * (sulfide + oxide)
    n[:, axis.index("Cu2S(l)")] += sulfide
    n[:, axis.index("Cu2O(l)")] += oxide
    return n


@dataclass(frozen=True, eq=False)
class Slag:
    """The assay a slag is made to: magnetite, copper as oxide, copper in suspension.

    magnetite, oxidic_copper, entrained_copper : (N,) [kg/kg]
    suspended : species the suspended copper is, Cu2S(l) or Cu(l)
    """

    magnetite: FloatN
    oxidic_copper: FloatN
    entrained_copper: FloatN
    suspended: str = "Cu2S(l)"

    def mass(self, iron: FloatN, settled: FloatN) -> FloatN:
        """(N,) kg of slag that holds ``iron`` (N,) mol and ``settled`` (N,) kg of everything else.

        m = iron M(FeO) + w m (1 - 3 M(FeO) / M(Fe3O4)) + copper compounds + settled, solved for m.
        """
        per_copper = M_CU2S / (2 * M_CU) if self.suspended == "Cu2S(l)" else 1.0
        own = self.magnetite * (1.0 - 3.0 * M_FEO / M_FE3O4)
        own = own + self.oxidic_copper * M_CU2O / (2 * M_CU) + self.entrained_copper * per_copper
        return (iron * M_FEO + settled) / (1.0 - own)

    def copper(self, mass: FloatN) -> FloatN:
        """(N,) mol copper in a mass (N,) kg of slag."""
        return mass * (self.oxidic_copper + self.entrained_copper) / M_CU

    def species(self, iron: FloatN, mass: FloatN) -> FloatNS:
        """(N, S) mol of iron oxides and copper in that mass, on the slag axis."""
        axis = phases()["slag"]
        fe3o4 = mass * self.magnetite / M_FE3O4
        per_mole = {"Cu2S(l)": 2.0, "Cu(l)": 1.0}[self.suspended]
        amounts = {
            "FeO(slag)": iron - 3.0 * fe3o4,
            "Fe3O4(slag)": fe3o4,
            "Cu2O(l)": mass * self.oxidic_copper / (2 * M_CU),
            self.suspended: mass * self.entrained_copper / (per_mole * M_CU),
        }
        n = zeros((max(len(x) for x in amounts.values()), len(axis)), *amounts.values())
        for name, amount in amounts.items():
            n[:, axis.index(name)] = amount
        return n


def oxidic_copper_beside_matte(iron: FloatN, fe_sio2: FloatN, magnetite: FloatN, T: FloatN) -> FloatN:
    """Copper dissolved as oxide in a fayalite slag beside matte with ``iron`` (N,) [kg/kg], as (N,) [kg/kg].

    Ionic matte of Cu2S and FeS; a(FeO) by Goto, of iron oxides and silica alone; solubility by Nagamori.
    """
    cu2s, fes = (1.0 - iron * M_FES / M_FE) / M_CU2S, iron / M_FE
    a_cu2s, a_fes = solutions.ionic_matte(cu2s, fes)
    activity = coppermaking.cuprous_oxide_beside_matte(
        a_cu2s, a_fes, solutions.goto_feo(_feo(fe_sio2, magnetite)), T
    )
    return solutions.nagamori_oxidic_copper(activity, T)


def _feo(fe_sio2: FloatN, magnetite: FloatN) -> FloatN:
    """N(FeO) (N,) of a slag of FeO, Fe3O4 and SiO2 with this Fe/SiO2 and magnetite (N,) [kg/kg]."""
    silica = (1.0 - magnetite * (1.0 - 3 * M_FEO / M_FE3O4)) / (1.0 + fe_sio2 * M_FEO / M_FE)
    iron, fe3o4 = silica * fe_sio2 / M_FE, magnetite / M_FE3O4
    feo = iron - 3.0 * fe3o4
    return feo / (feo + fe3o4 + silica / M_SIO2)


def given_copper(total: FloatN, entrained: FloatN) -> tuple[FloatN, FloatN]:
    """Oxidic and suspended copper where an assay gives the total: suspended first, as far as it goes."""
    suspended = np.minimum(entrained, total)
    return total - suspended, suspended
