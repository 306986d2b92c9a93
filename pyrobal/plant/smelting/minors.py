"""Minor elements that the furnace shares out by distribution ratio, while its masses are sought.

Vapour rises with the gas: what leaves as fume, over what the matte holds, goes as the gas made per tonne of
matte (the vapour pressure over a melt of given composition is given). Dust and gas share the fume as in the
survey. What does not evaporate leaves by the dust in a fixed share, carried out with the charge.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pyrobal.arrays import FloatN, Floats, column, ratio
from pyrobal.constants import NM3, TONNE
from pyrobal.dimensions import constant
from pyrobal.plant.smelting.deportment import OUTLETS, by_ratio, carriers_of, phases, returned
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.plant.smelting.supply import Exits, Supply
from pyrobal.streams.deportment import read_table
from pyrobal.streams.material import Material
from pyrobal.thermo import distribution
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.trace.solved import remembered

VOLATILE = ("As", "Sb", "Bi", "Pb", "Zn", "Cd", "Se", "Te")
# Furnace at which the survey's shares to dust and gas are taken to stand, per tonne of matte; an estimate.
REFERENCE_SLAG = 1.16  # t, iron silicate
REFERENCE_GAS = constant(800 * NM3 / TONNE, "mol/kg")  # leaving the melt, before the in-leakage
_S, _O = ELEMENTS.index("S"), ELEMENTS.index("O")


class Seen(NamedTuple):
    """What minor elements see of the melt, (N,) each.

    silica, lime : [kg/s] of dry flux; grade : [kg/kg] of the matte; slag [kg] and gas [mol] : per kg of matte
    """

    silica: FloatN
    lime: FloatN
    grade: FloatN
    slag: FloatN
    gas: FloatN


@dataclass(frozen=True, eq=False)
class Minors:
    """K elements by ratio.

    charge : (N, K) [mol/s]; silica, lime : (N, K) [mol/kg] of a flux
    slag_matte, exponent : (N, K), see ``thermo.distribution``
    fume_matte : (N, K) [kg/mol] fume over matte, per mole of gas and kilogram of matte
    dusty : (1, K) dust, of the fume; held : (1, K) share carried out as dust by what does not evaporate
    dust_return : (N,); grade_model : activity model of the matte
    worth : outlet -> field of ``Supply`` -> (N, K) what a mole leaving there adds to it
    """

    elements: tuple[str, ...]
    charge: Floats
    silica: Floats
    lime: Floats
    slag_matte: Floats
    exponent: Floats
    fume_matte: Floats
    dusty: Floats
    held: Floats
    dust_return: FloatN
    grade_model: str
    worth: Mapping[str, Mapping[str, Floats]]

    @property
    def evaporate(self) -> bool:
        """True where the volume of gas matters."""
        return bool((self.fume_matte != 0).any())

    def amounts(self, seen: Seen) -> dict[str, Floats]:
        """Outlet -> (N, K) [mol/s]; dust as blown out.

        What is put back goes round until the other outlets have carried off what came in.
        """
        fed = self.charge + column(seen.silica) * self.silica + column(seen.lime) * self.lime
        fractions = distribution.matte_fractions(seen.grade)
        oxygen = distribution.oxygen_over_reference(*fractions, self.grade_model)
        ratio = distribution.at_oxygen(self.slag_matte, self.exponent, oxygen)
        matte, in_slag, fume = distribution.split(
            ratio * column(seen.slag), self.fume_matte * column(seen.gas), self.held
        )
        dust = self.held + self.dusty * fume
        round_trip = fed / (1.0 - column(self.dust_return) * dust)
        shares = (matte, in_slag, dust, fume * (1.0 - self.dusty))
        return {o: round_trip * share for o, share in zip(OUTLETS, shares, strict=True)}

    def sums(self, seen: Seen) -> dict[str, FloatN]:
        """What they add to the fields of ``Supply``."""
        amounts, sums = self.amounts(seen), dict[str, FloatN]()
        for outlet, worth in self.worth.items():
            for name, each in worth.items():
                sums[name] = sums.get(name, 0.0) + np.einsum("nk,nk->n", amounts[outlet], each)
        return sums


def with_minors(supply: Supply, sums: dict[str, FloatN]) -> Supply:
    """The supply of the charge with what its minor elements add."""
    return supply._replace(**{name: getattr(supply, name) + x for name, x in sums.items()})


def minors(
    charge: Material, silica: Material | None, lime: Material | None, s: SmeltingSettings, exits: Exits
) -> Minors | None:
    """The minor elements that anything charged holds, None where there is none to share out by ratio."""
    materials = [m for m in (charge, silica, lime) if m is not None]
    places = {e: ELEMENTS.index(e) for e in by_ratio(s)}
    elements = tuple(
        e for e, i in places.items() if any((m.entry.elements[:, i] != 0).any() for m in materials)
    )
    if not elements:
        return None
    index = np.array([places[e] for e in elements])
    nothing = np.zeros((1, len(elements)))
    held, fume, dusty = _survey(elements)
    slag_matte, exponent = distribution.ratios(elements, s.distribution)
    at_reference = fume / (1.0 - fume) * (1.0 + slag_matte * REFERENCE_SLAG)
    return Minors(
        elements=elements,
        charge=charge.entry.elements[:, index],
        silica=silica.entry.elements[:, index] if silica is not None else nothing,
        lime=lime.entry.elements[:, index] if lime is not None else nothing,
        slag_matte=slag_matte,
        exponent=exponent,
        fume_matte=at_reference / REFERENCE_GAS,
        dusty=dusty,
        held=held,
        dust_return=s.dust_return,
        grade_model=s.matte_activities,
        worth=_worth(elements, s, exits),
    )


@remembered()
def _survey(elements: tuple[str, ...]) -> tuple[Floats, Floats, Floats]:
    """Of the survey's shares, (1, K): carried out, leaving as fume, and dust of the fume."""
    table = read_table("smelting")
    dust, gas = (np.stack([table.share(e, o) for e in elements], axis=1) for o in ("dust", "gas"))
    volatile = np.array([[e in VOLATILE for e in elements]])
    fume = np.where(volatile, dust + gas, 0.0)
    return np.where(volatile, 0.0, dust), fume, np.where(volatile, ratio(dust, fume), 0.0)


def _worth(elements: tuple[str, ...], s: SmeltingSettings, exits: Exits) -> dict[str, dict[str, Floats]]:
    """What a mole of each element adds, dust hot as blown out and put back cold."""
    worth = {}
    for o in OUTLETS:
        carriers, phase = carriers_of(o, elements), phases()[o]
        atoms = (carriers @ phase.composition)[None]  # (N, K, E)
        hot = (getattr(exits, o)[:, None, :] * carriers[None]).sum(axis=2)
        of = {f"{o}_mass": (carriers @ phase.molar_mass)[None], f"{o}_moles": carriers.sum(axis=1)[None]}
        if o == "matte":
            of |= {"matte_sulfur": atoms[:, :, _S], "matte_uptake": hot - carriers @ phase.reference_enthalpy}
        if o == "dust":
            cold = [returned(row[None], s) for row in carriers]
            atoms = atoms - np.stack([stream.elements() for stream in cold], axis=1)
            hot = hot - np.stack([stream.formation_heat() for stream in cold], axis=1)
        of |= {"sulfur": -atoms[:, :, _S], "oxygen": atoms[:, :, _O], "heat": hot}
        worth[o] = {name: each for name, each in of.items() if name in Supply._fields and each.any()}
    return worth
