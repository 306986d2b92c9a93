"""Minor elements that the furnace shares out by distribution ratio, while its masses are sought.

Vapour rises with the gas: what leaves as fume, over what the matte holds, goes as the gas made per tonne of
matte (the vapour pressure over a melt of given composition is given). Dust and gas share the fume as in the
survey. What does not evaporate leaves by the dust in a fixed share, carried out with the charge.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, Floats, column
from pyrobal.constants import NM3, TONNE
from pyrobal.plant.smelting.deportment import OUTLETS, by_ratio, carriers_of, phases, returned
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.plant.smelting.supply import Exits, Supply
from pyrobal.streams.deportment import read_table
from pyrobal.streams.material import Material
from pyrobal.thermo import distribution
from pyrobal.thermo.elements import ELEMENTS

VOLATILE = ("As", "Sb", "Bi", "Pb", "Zn", "Cd", "Se", "Te")
# Furnace at which the survey's shares to dust and gas are taken to stand, per tonne of matte; an estimate.
REFERENCE_SLAG = 1.16  # t, iron silicate
REFERENCE_GAS = 800 * NM3 / TONNE  # leaving the melt, before the in-leakage
_S, _O = ELEMENTS.index("S"), ELEMENTS.index("O")


@dataclass(frozen=True, eq=False)
class Minors:
    """K elements by ratio.

    charge : (N, K) [mol/s]; silica, lime : (N, K) [mol/kg] of a flux
    slag_matte, exponent : (N, K), see ``thermo.distribution``
    fume_matte : (N, K) [kg/mol] fume over matte, per mole of gas and kilogram of matte
    dusty : (1, K) dust, of the fume; held : (1, K) share carried out as dust by what does not evaporate
    dust_return : (N,); grade_model : activity model of the matte
    back_sulfur, back_oxygen : (N, K) [mol/mol] S and O that come back with the dust, part sulfate
    heat : (N, 4K) [J/mol] leaving hot, dust put back cold; uptake : (N, K) [J/mol] from cold to tapped matte
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
    back_sulfur: Floats
    back_oxygen: Floats
    heat: Floats
    uptake: Floats

    @property
    def evaporate(self) -> bool:
        """True where the volume of gas matters."""
        return bool((self.fume_matte != 0).any())

    def fed(self, silica: FloatN, lime: FloatN) -> Floats:
        """(N, K) [mol/s] with ``silica`` and ``lime`` (N,) [kg/s] of dry flux."""
        return self.charge + column(silica) * self.silica + column(lime) * self.lime

    def amounts(self, fed: Floats, grade: FloatN, slag: FloatN, gas: FloatN) -> dict[str, Floats]:
        """Outlet -> (N, K) [mol/s]; dust as blown out.

        fed : (N, K) [mol/s] fresh; grade : (N,) of the matte; slag : (N,) [kg] and gas : (N,) [mol] per kg of
        matte. What is put back goes round until the other outlets have carried off what came in.
        """
        fractions = distribution.matte_fractions(grade)
        oxygen = distribution.oxygen_over_reference(*fractions, self.grade_model)
        ratio = distribution.at_oxygen(self.slag_matte, self.exponent, oxygen)
        matte, in_slag, fume = distribution.split(
            ratio * column(slag), self.fume_matte * column(gas), self.held
        )
        dust = self.held + self.dusty * fume
        round_trip = fed / (1.0 - column(self.dust_return) * dust)
        shares = (matte, in_slag, dust, fume * (1.0 - self.dusty))
        return {o: round_trip * share for o, share in zip(OUTLETS, shares, strict=True)}

    def supply(self, amounts: dict[str, Floats]) -> dict[str, FloatN]:
        """What the amounts add to the sums of ``Supply``, by field."""
        settled = np.concatenate(np.broadcast_arrays(*amounts.values()), axis=1)
        worth = _worth(self.elements)
        by_outlet = {name: amounts[name.partition("_")[0]] for name in worth if name not in ("S", "O")}
        sums = {name: (amount * worth[name]).sum(axis=1) for name, amount in by_outlet.items()}
        return sums | {
            "sulfur": (amounts["dust"] * self.back_sulfur).sum(axis=1) - (settled * worth["S"]).sum(axis=1),
            "oxygen": (settled * worth["O"]).sum(axis=1) - (amounts["dust"] * self.back_oxygen).sum(axis=1),
            "heat": (settled * self.heat).sum(axis=1),
            "matte_uptake": (amounts["matte"] * self.uptake).sum(axis=1),
        }


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
    back_sulfur, back_oxygen, back_heat = _back(elements, s)
    heat, uptake = _heats(elements, back_heat, exits)
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
        back_sulfur=back_sulfur,
        back_oxygen=back_oxygen,
        heat=heat,
        uptake=uptake,
    )


@functools.lru_cache
def _survey(elements: tuple[str, ...]) -> tuple[Floats, Floats, Floats]:
    """Of the survey's shares, (1, K): carried out, leaving as fume, and dust of the fume."""
    table = read_table("smelting").shares
    dust, gas = (np.array([[table[e][o] for e in elements]]) for o in ("dust", "gas"))
    volatile = np.array([[e in VOLATILE for e in elements]])
    fume = np.where(volatile, dust + gas, 0.0)
    return np.where(volatile, 0.0, dust), fume, np.where(volatile, dust / np.maximum(fume, 1e-300), 0.0)


@functools.lru_cache
def _worth(elements: tuple[str, ...]) -> dict[str, Floats]:
    """Per mole leaving: rows (4K,) of S and O [mol] by any outlet, (K,) of mass [kg] and moles by one."""
    held = {o: carriers_of(o, elements) for o in OUTLETS}
    names = ("S", "O", "slag_mass", "slag_moles", "matte_mass", "matte_moles", "matte_sulfur", "gas_moles")
    rows: dict[str, list[Floats]] = {name: [] for name in names}
    for o, carriers in held.items():
        phase = phases()[o]
        rows["S"].append(carriers @ phase.composition[:, _S])
        rows["O"].append(carriers @ phase.composition[:, _O])
        worth = {
            "mass": carriers @ phase.molar_mass,
            "moles": carriers.sum(axis=1),
            "sulfur": carriers @ phase.composition[:, _S],
        }
        for name in rows.keys() - {"S", "O"}:
            of, _, what = name.partition("_")
            rows[name] += [worth[what]] if of == o else []
    return {name: np.concatenate(parts) for name, parts in rows.items()}


def _back(elements: tuple[str, ...], s: SmeltingSettings) -> tuple[Floats, Floats, Floats]:
    """S and O (N, K) [mol/mol] and heat of formation [J/mol] of what a mole in the dust brings back, cold."""
    streams = [returned(row[None], s) for row in carriers_of("dust", elements)]
    held = [stream.elements() for stream in streams]
    sulfur, oxygen = (np.stack([x[:, i] for x in held], axis=1) for i in (_S, _O))
    return sulfur, oxygen, np.stack([stream.formation_heat() for stream in streams], axis=1)


def _heats(elements: tuple[str, ...], back: Floats, exits: Exits) -> tuple[Floats, Floats]:
    parts = []
    for o in OUTLETS:
        carriers = carriers_of(o, elements)
        hot = (getattr(exits, o)[:, None, :] * carriers[None]).sum(axis=2)
        if o == "dust":
            hot = hot - back
        parts.append(hot)
        if o == "matte":
            uptake = hot - carriers @ phases()[o].reference_enthalpy
    rows = max(map(len, parts))
    return np.concatenate([np.broadcast_to(p, (rows, p.shape[1])) for p in parts], axis=1), uptake
