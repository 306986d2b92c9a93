"""What one material brings to the melt, boiled down to the few sums the furnace equations need.

Each sum is linear in the material, so the supply of the whole charge is charge + flux rate x flux.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.plant.smelting.deportment import Allotment, allot, phases, returned
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.streams.material import Material
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.solutions import KRESS_CARMICHAEL_TERMS
from pyrobal.trace.solved import remembered

_FIXED_OUT = ("matte", "slag", "dust", "gas")
_CU, _FE, _S, _O = (ELEMENTS.index(e) for e in ("Cu", "Fe", "S", "O"))


class Supply(NamedTuple):
    """All (N,); in mol/s, kg/s and W of the charge, or in mol, kg and J per kilogram of a dry flux.

    copper, iron, sulfur : left to the melt after dust and minor sulfides
    silica, lime : SiO2 and CaO for the slag
    slag_mass, slag_moles : of everything settled to the slag, silica and lime included
    silica_moles : SiO2
    ferric_terms : sum of solutions.KRESS_CARMICHAEL_TERMS times moles in the slag
    matte_mass, matte_moles, matte_sulfur : of minor sulfides and metals in the matte
    matte_uptake : they take up from 25 degC to the tapped matte
    gas_moles : of CO2, H2O and vapours from the charge
    oxygen : of O that the settled products hold beyond what the material brings
    heat : enthalpy of the settled products leaving hot, less that of the material coming in
    dry_mass : without moisture
    """

    copper: FloatN
    iron: FloatN
    sulfur: FloatN
    silica: FloatN
    lime: FloatN
    slag_mass: FloatN
    slag_moles: FloatN
    silica_moles: FloatN
    ferric_terms: FloatN
    matte_mass: FloatN
    matte_moles: FloatN
    matte_sulfur: FloatN
    matte_uptake: FloatN
    gas_moles: FloatN
    oxygen: FloatN
    heat: FloatN
    dry_mass: FloatN

    def plus(self, other: Supply, factor: FloatN) -> Supply:
        """This and ``factor`` (N,) times the other."""
        return Supply(*(a + factor * b for a, b in zip(self, other, strict=True)))


class Exits(NamedTuple):
    """Molar enthalpies of each outlet's phase at its exit temperature.

    matte, slag, dust, gas : (N, S) [J/mol]
    """

    matte: FloatN
    slag: FloatN
    dust: FloatN
    gas: FloatN

    @staticmethod
    def at(matte: FloatN, slag: FloatN, dust: FloatN, gas: FloatN) -> Exits:
        """At temperatures (N,) [K]."""
        p = phases()
        return Exits(
            p["matte"].enthalpy(matte),
            p["slag"].enthalpy(slag),
            p["dust"].enthalpy(dust),
            p["gas"].enthalpy(gas),
        )


def ferric_term(name: str) -> float:
    """Of a species of the slag, see solutions.KRESS_CARMICHAEL_TERMS."""
    return KRESS_CARMICHAEL_TERMS.get(name.partition("(")[0], 0.0)


@remembered()
def _ferric_terms() -> Floats:
    """(S,) on the axis of the slag."""
    return np.array([ferric_term(name) for name in phases()["slag"].names])


def supply(material: Material, s: SmeltingSettings, exits: Exits) -> tuple[Supply, Allotment]:
    """The supply of one material, and the allotment it was drawn from."""
    given = allot(material, s)
    p = phases()
    v = material.entry.elements
    settled = {o: getattr(given, o) @ p[o].composition for o in _FIXED_OUT}
    back = returned(given.dust, s)
    leaving = sum(settled.values(), -back.elements())
    silica, lime = given.slag[:, p["slag"].index("SiO2(l)")], given.slag[:, p["slag"].index("CaO(slag)")]
    hot = sum((getattr(given, o) * getattr(exits, o)).sum(axis=1) for o in _FIXED_OUT)
    result = Supply(
        copper=v[:, _CU] - leaving[:, _CU],
        iron=v[:, _FE] - leaving[:, _FE],
        sulfur=v[:, _S] - leaving[:, _S],
        silica=silica * p["slag"].molar_mass[p["slag"].index("SiO2(l)")],
        lime=lime * p["slag"].molar_mass[p["slag"].index("CaO(slag)")],
        slag_mass=given.slag @ p["slag"].molar_mass,
        slag_moles=given.slag.sum(axis=1),
        silica_moles=silica,
        ferric_terms=(given.slag * _ferric_terms()).sum(axis=1),
        matte_mass=given.matte @ p["matte"].molar_mass,
        matte_moles=given.matte.sum(axis=1),
        matte_sulfur=settled["matte"][:, _S],
        matte_uptake=(given.matte * (exits.matte - p["matte"].reference_enthalpy)).sum(axis=1),
        gas_moles=given.gas.sum(axis=1),
        oxygen=leaving[:, _O] - v[:, _O],
        heat=hot - back.formation_heat() - material.entry.enthalpy,
        dry_mass=material.dry_mass,
    )
    return result, given
