"""Fuels: what one unit burns with, what it burns to, and the heat it brings.

A gas is given by its volume fractions (unit: mole), oil and coke by ultimate analysis, a liquid by the mass
fractions of its compounds (unit: kilogram).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS, Floats, column, zeros
from pyrobal.constants import JOULE_PER_KILOGRAM, MJ, PERCENT, TONNE
from pyrobal.dimensions import constant
from pyrobal.fields import mass_fractions, quantity
from pyrobal.streams.compound import SOURCE, compound
from pyrobal.streams.material import WATER_MASS
from pyrobal.thermo.elements import ATOMIC_MASS, ATOMIC_MASS_OF, ELEMENTS
from pyrobal.thermo.properties import species
from pyrobal.trace.solved import tabulated

GAS_COMPONENTS = ("CH4", "C2H6", "C3H8", "C4H10", "H2", "CO", "CO2", "N2", "O2", "H2O", "H2S")
ULTIMATE_COMPONENTS = ("C", "H", "O", "N", "S", "H2O", "ash")
ASH_SETTINGS = ("ash_SiO2", "ash_Al2O3", "ash_CaO", "ash_FeO")
ASH = (
    "SiO2(l)",
    "Al2O3(l)",
    "CaO(slag)",
    "FeO(slag)",
)  # oxides of ash that a slag takes up; the rest is unnamed


@dataclass(frozen=True, kw_only=True)
class FuelSettings:
    """Composition of one fuel."""

    composition: dict[str, FloatN] = mass_fractions(
        "vol% of a gas, ultimate analysis in wt%, or wt% of liquid compounds; compounds by name, e.g. "
        "propane, ammonia (gas), methanol, n-dodecane (liquid)",
        "fuel",
    )
    heating_value: FloatN | None = quantity(
        "MJ/kg", "lower heating value of oil or coke", default=None, low=5 * MJ, high=60 * MJ
    )
    # Ash of hard coal and its coke, common practice; a laboratory's own differs by fields.
    ash_SiO2: FloatN = quantity(
        "wt%", "SiO2 in the ash of coke or coal", default=48 * PERCENT, low=0.0, high=1.0
    )
    ash_Al2O3: FloatN = quantity("wt%", "Al2O3 in the ash", default=27 * PERCENT, low=0.0, high=1.0)
    ash_CaO: FloatN = quantity("wt%", "CaO in the ash", default=5 * PERCENT, low=0.0, high=1.0)
    ash_FeO: FloatN = quantity(
        "wt%", "all iron in the ash as FeO: 0.90 of what is given as Fe2O3",
        default=11 * PERCENT, low=0.0, high=1.0,
    )  # fmt: skip

    @property
    def kind(self) -> str:
        """ "gas" by volume, "ultimate" or "liquid" by mass: the names of its components say which."""
        if all(is_gas(name) for name in self.composition):
            return "gas"
        return "ultimate" if all(name in ULTIMATE_COMPONENTS for name in self.composition) else "liquid"

    @property
    def ash_oxides(self) -> tuple[FloatN, ...]:
        """(N,) [kg/kg of ash] of each oxide of ASH."""
        return self.ash_SiO2, self.ash_Al2O3, self.ash_CaO, self.ash_FeO


def is_gas(name: str) -> bool:
    """Whether a component may be part of a gas. Raises ValueError for a name that is no compound."""
    if name in GAS_COMPONENTS or name in ULTIMATE_COMPONENTS:
        return name in GAS_COMPONENTS
    return compound(name).phase == "gas"


def default_fuels() -> dict[str, FuelSettings]:
    """Fuels a case may name without describing: a lean natural gas and a foundry coke (common practice)."""
    natural_gas = {"CH4": 0.94, "C2H6": 0.03, "N2": 0.02, "CO2": 0.01}
    coke = {"C": 0.87, "H": 0.005, "O": 0.005, "N": 0.01, "S": 0.01, "ash": 0.10}
    return {
        "natural_gas": FuelSettings(composition=_usual("natural gas", natural_gas)),
        "coke": FuelSettings(
            composition=_usual("coke", coke),
            heating_value=tabulated(np.array([29.0 * MJ]), "heating value of coke", "J/kg", ()),
        ),
    }


def _usual(fuel: str, composition: dict[str, float]) -> dict[str, FloatN]:
    return {name: tabulated(np.array([x]), f"{name} in {fuel}", "-", ()) for name, x in composition.items()}


@dataclass(frozen=True)
class Fuel:
    """One unit of fuel: a mole of gas or a kilogram of oil or coke.

    elements : (N, E) [mol per unit]; ash is carried as Rest
    enthalpy : (N,) [J per unit] at 25 degC, elements at 298.15 K as zero
    heating_value : (N,) [J per unit], lower
    oxygen : (N,) [mol per unit] O2 for complete combustion
    ash : (N, 4) [mol per unit] of ASH in it, for a slag to take up
    """

    is_gas: bool
    elements: FloatNE
    enthalpy: FloatN
    heating_value: FloatN
    oxygen: FloatN
    ash: FloatNS

    def count(self, element: str) -> FloatN:
        """(N,) [mol of the element per unit]."""
        return self.elements[:, ELEMENTS.index(element)]

    @property
    def ash_unnamed(self) -> FloatN:
        """(N,) [mol per unit] Rest of the ash beside its oxides."""
        unnamed: FloatN = self.count("Rest") - self.ash @ species(*ASH).molar_mass / _mass("Rest")
        return unnamed

    def slagged(self, share: FloatN) -> tuple[FloatNE, FloatN]:
        """Elements and enthalpy of a unit as above, ``share`` (N,) of its ash told by its oxides."""
        oxides = column(share) * self.ash
        elements = self.elements + oxides @ species(*ASH).composition
        elements[:, ELEMENTS.index("Rest")] += share * (self.ash_unnamed - self.count("Rest"))
        return elements, self.enthalpy + oxides @ species(*ASH).reference_enthalpy


def fuel(settings: FuelSettings) -> Fuel:
    """The fuel of one unit, from its composition.

    Gas and compounds: formation enthalpies of the tables, and of ``compound``. Oil and coke: the enthalpy
    follows from the lower heating value, h = LHV + sum of the formation enthalpies of CO2, H2O(g) and SO2;
    where no heating value is given it is the modified Dulong formula for the higher value
    (``chemicals.combustion``), which reads about 4 % high for oils.
    """
    if settings.kind != "ultimate":
        return _of_compounds(settings.composition, by_mole=settings.kind == "gas")
    return _ultimate(settings)


def _of_compounds(composition: dict[str, FloatN], by_mole: bool) -> Fuel:
    given = np.stack(np.broadcast_arrays(*composition.values()), axis=1)
    share = given / given.sum(axis=1, keepdims=True)
    parts = [_component(name, "g" if by_mole else "l") for name in composition]
    atoms, formation = (np.stack(x) for x in zip(*parts, strict=True))
    moles = share if by_mole else share / (atoms @ ATOMIC_MASS)
    elements, enthalpy = moles @ atoms, moles @ formation
    burnt, none = _burnt_enthalpy(elements), np.zeros((1, len(ASH)))
    return Fuel(by_mole, elements, enthalpy, enthalpy - burnt, _oxygen(elements), none)


def _component(name: str, state: str) -> tuple[Floats, Floats]:
    """(E,) [mol/mol] elements and [J/mol] formation enthalpy of a component of a gas or a liquid."""
    if name in GAS_COMPONENTS:
        phase = species(f"{name}({state})")
        return phase.composition[0], phase.H298[0]
    found = compound(name)
    heat = tabulated(np.array(found.enthalpy), f"enthalpy of formation of {name}", "J/mol", (), SOURCE)
    return found.elements, heat


def _ultimate(settings: FuelSettings) -> Fuel:
    heating_value = settings.heating_value
    w = {name: settings.composition.get(name, np.zeros(1)) for name in ULTIMATE_COMPONENTS}
    water = w["H2O"] / WATER_MASS
    moles: dict[str, FloatN] = {e: w[e] / _mass(e) for e in ("C", "O", "N", "S")}
    moles["H"] = w["H"] / _mass("H") + 2 * water
    moles["O"] = moles["O"] + water
    moles["Rest"] = w["ash"] / _mass("Rest")
    n = max(value.shape[0] for value in moles.values())
    elements = zeros((n, len(ELEMENTS)), *moles.values())
    for element, amount in moles.items():
        elements[:, ELEMENTS.index(element)] = amount
    if heating_value is None:
        heating_value = _dulong(w) - WATER_EVAPORATION * elements[:, ELEMENTS.index("H")] / 2
    oxides = np.stack(np.broadcast_arrays(*(w["ash"] * x for x in settings.ash_oxides)), axis=1)
    enthalpy, ash = heating_value + _burnt_enthalpy(elements), oxides / species(*ASH).molar_mass
    return Fuel(False, elements, enthalpy, heating_value, _oxygen(elements), ash)


# Of water at 25 degC, from the H298 of H2O(l) and H2O(g) in the tables.
WATER_EVAPORATION = constant(44_004.0, "J/mol", "tables: H2O(l), H2O(g)")
_MOST_OXYGEN = 0.105  # of a fuel whose heating value is estimated


def _dulong(w: dict[str, FloatN]) -> FloatN:
    """Higher heating value (N,) [J/kg], modified Dulong formula, Perry's 9th ed. as carried by chemicals.

    Raises ValueError where there is more oxygen than it holds for.
    """
    if (most := w["O"].real.max()) > _MOST_OXYGEN:
        raise ValueError(f"Dulong's formula is only valid at 10 wt. % Oxygen or less ({most} given)")
    per_gram = (338.0 * w["C"] + 1428.0 * (w["H"] - w["O"] / 8.0) + 95.0 * w["S"]) * 100
    return per_gram * (TONNE * JOULE_PER_KILOGRAM)


def _oxygen(elements: FloatNE) -> FloatN:
    """Moles of O2 to burn to CO2, H2O and SO2: C + H/4 + S - O/2."""
    c, h, s, o = (elements[:, ELEMENTS.index(e)] for e in "CHSO")
    return c + h / 4 + s - o / 2


def _burnt_enthalpy(elements: FloatNE) -> FloatN:
    """Enthalpy at 25 degC of the combustion products with water as vapour, (N,) [J per unit]."""
    products = species("CO2(g)", "H2O(g)", "SO2(g)").H298
    c, h, s = (elements[:, ELEMENTS.index(e)] for e in "CHS")
    result: Floats = c * products[0] + h / 2 * products[1] + s * products[2]
    return result


def _mass(element: str) -> float:
    return ATOMIC_MASS_OF[element]
