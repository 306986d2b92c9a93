"""What one material brings to the melt, boiled down to the few sums the furnace equations need.

Each sum is linear in the material, so the supply of the whole charge is charge + flux rate x flux.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, Floats
from pyrobal.plant.smelting.deportment import OUTLETS, Allotment, allot, carriers, phases
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.streams.material import Material
from pyrobal.streams.mixing import cold
from pyrobal.streams.stream import Stream
from pyrobal.streams.sulfation import sulfated
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.solutions import KRESS_CARMICHAEL_TERMS
from pyrobal.trace.solved import remembered

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


WAYS = (*OUTLETS, "back", "sulfated_back")
"""What is settled leaves by an outlet; of the dust some is put back, as it is or sulfated."""


@remembered()
def _form(way: str) -> Stream:
    """(E, S) what a mole of each element leaves or comes back as."""
    if way in OUTLETS:
        return Stream(phases()[way], carriers(way), cold())
    dust = _form("dust")
    return dust if way == "back" else sulfated(dust, np.ones(1))


@remembered()
def _counts(way: str) -> dict[str, Floats]:
    """Field of ``Supply`` -> (E,) what a mole of each element adds by going this way."""
    form, sign = _form(way), 1.0 if way in OUTLETS else -1.0
    atoms, phase = form.elements(), form.phase
    found = {"copper": -sign * atoms[:, _CU], "iron": -sign * atoms[:, _FE]}
    found |= {"sulfur": -sign * atoms[:, _S], "oxygen": sign * atoms[:, _O]}
    if way in OUTLETS:
        found |= {f"{way}_mass": form.mass(), f"{way}_moles": form.total()}
    if way == "matte":
        found["matte_sulfur"] = atoms[:, _S]
    if way == "slag":
        silica, lime = form.amount("SiO2(l)"), form.amount("CaO(slag)")
        found |= {"silica": silica * phase.molar_mass[phase.index("SiO2(l)")], "silica_moles": silica}
        found["lime"] = lime * phase.molar_mass[phase.index("CaO(slag)")]
        found["ferric_terms"] = form.n @ np.array([ferric_term(name) for name in phase.names])
    return {name: each for name, each in found.items() if name in Supply._fields}


@remembered()
def _table(way: str) -> Floats:
    """(F, E) of ``_COUNTED``."""
    none, counts = np.zeros(len(ELEMENTS)), _counts(way)
    return np.stack([counts.get(name, none) for name in _COUNTED])


_COUNTED = tuple(name for name in Supply._fields if name not in ("matte_uptake", "heat", "dry_mass"))


@dataclass(frozen=True, eq=False)
class Worth:
    """What a mole of each element carries away by its way, at the exit temperatures.

    heat : way -> (N, E) [J/mol] hot as it leaves, less that of what is put back cold
    uptake : (N, E) [J/mol] of what is in the matte, from 25 degC
    """

    heat: Mapping[str, Floats]
    uptake: Floats

    @staticmethod
    def at(exits: Exits) -> Worth:
        """With the enthalpies of the exits."""
        heat = {o: getattr(exits, o) @ carriers(o).T for o in OUTLETS}
        heat |= {way: -_form(way).formation_heat()[None] for way in WAYS if way not in OUTLETS}
        return Worth(heat, heat["matte"] - _form("matte").formation_heat())

    def of(self, way: str, index: list[int]) -> dict[str, Floats]:
        """Field of ``Supply`` -> (N, K) of some elements."""
        found = {name: each[None, index] for name, each in _counts(way).items()}
        found["heat"] = self.heat[way][:, index]
        return found | ({"matte_uptake": self.uptake[:, index]} if way == "matte" else {})


def put_back(s: SmeltingSettings) -> dict[str, FloatN]:
    """Way -> (N,) share of the dust that is put back so."""
    return {
        "back": s.dust_return * (1.0 - s.dust_sulfation),
        "sulfated_back": s.dust_return * s.dust_sulfation,
    }


def ferric_term(name: str) -> float:
    """Of a species of the slag, see solutions.KRESS_CARMICHAEL_TERMS."""
    return KRESS_CARMICHAEL_TERMS.get(name.partition("(")[0], 0.0)


def supply(
    material: Material, s: SmeltingSettings, shares: Mapping[str, FloatNE], worth: Worth
) -> tuple[Supply, Allotment]:
    """The supply of one material, and the allotment it was drawn from."""
    given = allot(material, s, shares)
    v, whole = material.entry.elements, np.ones(1)
    going = [(outlet, getattr(given, outlet), whole) for outlet in OUTLETS]
    going += [(way, given.dust, share) for way, share in put_back(s).items()]
    counted = sum(share * (_table(way) @ leaving.T) for way, leaving, share in going)
    sums = dict(zip(_COUNTED, counted, strict=True))
    brought = {"copper": v[:, _CU], "iron": v[:, _FE], "sulfur": v[:, _S], "oxygen": -v[:, _O]}
    sums |= {name: sums[name] + of for name, of in brought.items()}
    heat = sum(share * np.einsum("ne,ne->n", leaving, worth.heat[way]) for way, leaving, share in going)
    result = Supply(
        **sums,
        matte_uptake=np.einsum("ne,ne->n", given.matte, worth.uptake),
        heat=heat - material.entry.enthalpy,
        dry_mass=material.dry_mass,
    )
    return result, given
