"""The melt: amounts of matte, slag and gas, and the heat they carry, at one guess of the unknowns.

Iron in the slag, sulfur in the gas and oxygen blown are found by difference, so every element closes at
any guess; the unknowns only have to satisfy the targets and the equilibria.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pyrobal.arrays import BoolN, FloatN, Floats
from pyrobal.plant.smelting import equilibrium
from pyrobal.plant.smelting.blast import Blast
from pyrobal.plant.smelting.deportment import MATTE_SOLVED, SLAG_SOLVED
from pyrobal.plant.smelting.equilibrium import Constants, Potentials
from pyrobal.plant.smelting.matte import (
    M_CU,
    M_FE,
    M_FE3O4,
    M_S,
    matte_of,
)
from pyrobal.plant.smelting.minors import Minors, Seen, with_minors
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.plant.smelting.supply import Supply, ferric_term
from pyrobal.streams.site import OXYGEN_IN_AIR
from pyrobal.thermo import solutions
from pyrobal.thermo.properties import species


@dataclass(frozen=True, eq=False)
class Fuelled:
    """One unit of fuel in this furnace, (N,) each.

    oxygen : [mol per unit] O2 blown for it, excess included
    gas_moles : [mol per unit] of its products and of oxygen left over; so2 : [mol per unit] among them
    ash : species of the slag -> [mol per unit] of its ash that goes there; empty where it has none
    released : [J per unit] enthalpy of fuel and its oxygen less that of the products at their exits
    heating_value : [J per unit] lower
    """

    oxygen: FloatN
    gas_moles: FloatN
    so2: FloatN
    ash: Mapping[str, FloatN]
    released: FloatN
    heating_value: FloatN


@dataclass(frozen=True, eq=False)
class Bath:
    """Everything that is constant while the unknowns are sought; one tree, so that it can be split by rows.

    hot_matte : (N, S) [J/mol] of MATTE_SOLVED
    hot_slag : (N, S) [J/mol] of SLAG_SOLVED
    hot_so2 : (N,) [J/mol] at the gas exit
    matte_uptake : (N, S) [J/mol] from cold to hot matte
    heat_loss : (N,) [W]; pressure : (N,) [Pa]
    """

    s: SmeltingSettings
    charge: Supply
    silica: Supply | None
    lime: Supply | None
    minors: Minors | None
    blast: Blast
    fuel: Fuelled
    constants: Constants
    hot_matte: Floats
    hot_slag: Floats
    hot_so2: FloatN
    matte_uptake: Floats
    heat_loss: FloatN
    pressure: FloatN


@dataclass(frozen=True, eq=False)
class Unknowns:
    """The guess; what the user gives stands in its place.

    slag : (N,) [kg/s]; silica, lime : (N,) [kg/s] of dry flux
    magnetite, oxidic_copper, slag_sulfur : (N,) [kg/kg] of the slag, dissolved; magnetite in every form where
        it is the user's own assay
    matte_oxygen, grade : (N,) [kg/kg]
    gas : (N,) [mol/s] leaving the melt; nil where no minor element evaporates
    """

    slag: FloatN
    silica: FloatN
    lime: FloatN
    magnetite: FloatN
    oxidic_copper: FloatN
    slag_sulfur: FloatN
    matte_oxygen: FloatN
    grade: FloatN
    gas: FloatN

    def seen(self, matte_mass: FloatN) -> Seen:
        """By the minor elements, beside ``matte_mass`` (N,) [kg/s]."""
        return Seen(self.silica, self.lime, self.grade, self.slag / matte_mass, self.gas / matte_mass)


@dataclass(frozen=True, eq=False)
class Melt:
    """Amounts of the melt, all (N,).

    supply : sums of charge and fluxes
    matte_mass : [kg/s] as tapped, cold charge not included
    cu2s, fes, matte_fe3o4, matte_copper, matte_other : [mol/s] in the matte, see ``matte``; the last is
        drawn from what no assay names in the slag
    entrained : [mol/mol] of each matte sulfide suspended in the slag per mole tapped
    slag_mass : [kg/s]; feo, fe3o4, cu2o, slag_cu2s, slag_fes : [mol/s] dissolved in the slag
    so2 : [mol/s]; oxygen_reacted, oxygen_demand : [mol/s] O2 that reacts, and that has to be supplied
    """

    supply: Supply
    matte_mass: FloatN
    cu2s: FloatN
    fes: FloatN
    matte_fe3o4: FloatN
    matte_copper: FloatN
    matte_other: FloatN
    entrained: FloatN
    slag_mass: FloatN
    feo: FloatN
    fe3o4: FloatN
    cu2o: FloatN
    slag_cu2s: FloatN
    slag_fes: FloatN
    so2: FloatN
    oxygen_reacted: FloatN
    oxygen_demand: FloatN

    @property
    def slag_iron(self) -> FloatN:
        """(N,) [mol/s] Fe in the slag in every form, suspended matte included."""
        return self.feo + 3 * self.fe3o4 + self.slag_fes + self.entrained * (self.fes + 3 * self.matte_fe3o4)

    @property
    def fe_sio2(self) -> FloatN:
        """(N,) [kg/kg]."""
        return self.slag_iron * M_FE / self.supply.silica

    @property
    def matte_fractions(self) -> tuple[FloatN, FloatN]:
        """Mole fractions of Cu2S and FeS in the matte."""
        total = sum(self.matte.values(), self.supply.matte_moles)
        return self.cu2s / total, self.fes / total

    @functools.cached_property
    def matte(self) -> dict[str, FloatN]:
        """Species of MATTE_SOLVED -> (N,) [mol/s] in the matte."""
        amounts = (self.cu2s, self.fes, self.matte_fe3o4, self.matte_copper, self.matte_other)
        return dict(zip(MATTE_SOLVED, amounts, strict=True))

    @functools.cached_property
    def slag(self) -> dict[str, FloatN]:
        """Species of SLAG_SOLVED -> (N,) [mol/s] in the slag, suspended matte included."""
        none = np.zeros(1)
        dissolved = (self.feo, self.fe3o4, self.cu2o, self.slag_cu2s, self.slag_fes, none, -self.matte_other)
        amounts = dict(zip(SLAG_SOLVED, dissolved, strict=True))
        for name, tapped in self.matte.items():
            if name != "Rest(slag)":
                amounts[name] = amounts[name] + self.entrained * tapped
        return amounts

    @functools.cached_property
    def slag_moles(self) -> FloatN:
        """(N,) [mol/s] dissolved in the slag."""
        dissolved = self.feo + self.fe3o4 + self.cu2o + self.slag_cu2s + self.slag_fes
        return dissolved + self.supply.slag_moles - self.matte_other


def melt(bath: Bath, u: Unknowns) -> Melt:
    """Amounts that follow from a guess.

    Copper: what is not in the slag is matte of the wanted grade, made up as ``matte`` says. Iron not in
    matte, magnetite or sulfide is FeO. Sulfur not in the melt is SO2.
    """
    supply = bath.charge
    if bath.silica is not None:
        supply = supply.plus(bath.silica, u.silica)
    if bath.lime is not None:
        supply = supply.plus(bath.lime, u.lime)
    suspended_copper, sulfidic_copper = _slag_copper_split(bath.s, u)
    slag_copper = u.oxidic_copper + sulfidic_copper + suspended_copper
    matte_mass = (supply.copper * M_CU - u.slag * slag_copper) / u.grade
    if bath.minors is not None:
        supply = with_minors(supply, bath.minors.sums(u.seen(matte_mass)))
    minor_mass, minor_sulfur = supply.matte_mass / matte_mass, supply.matte_sulfur / matte_mass
    made = matte_of(bath.s, u.grade, u.matte_oxygen, minor_mass, minor_sulfur)
    cu2s, fes, matte_fe3o4, matte_copper, matte_other = made.times(matte_mass)
    entrained = u.slag * suspended_copper / (matte_mass * u.grade)
    slag_cu2s = u.slag * sulfidic_copper / (2 * M_CU)
    slag_fes = u.slag * u.slag_sulfur / M_S - slag_cu2s
    fe3o4 = u.slag * u.magnetite / M_FE3O4
    if bath.s.slag_magnetite is not None:  # the user's own assay is of dissolved and suspended together
        fe3o4 = fe3o4 - entrained * matte_fe3o4
    feo = supply.iron - (fes + 3 * matte_fe3o4) * (1 + entrained) - slag_fes - 3 * fe3o4
    cu2o = u.slag * u.oxidic_copper / (2 * M_CU)
    so2 = supply.sulfur - (cu2s + fes) * (1 + entrained) - slag_cu2s - slag_fes
    oxygen = feo + 4 * fe3o4 + 4 * matte_fe3o4 * (1 + entrained) + cu2o + 2 * so2 + supply.oxygen
    return Melt(
        supply, matte_mass, cu2s, fes, matte_fe3o4, matte_copper, matte_other, entrained, u.slag,
        feo, fe3o4, cu2o, slag_cu2s, slag_fes, so2, oxygen / 2, oxygen / 2 / bath.s.oxygen_efficiency,
    )  # fmt: skip


def _slag_copper_split(s: SmeltingSettings, u: Unknowns) -> tuple[FloatN, FloatN]:
    """Suspended and sulfidic copper in the slag [kg/kg].

    Where the total is the user's own assay it is suspended matte first, as far as it goes, then oxide.
    """
    suspended = entrained_copper(s, u.grade)
    if s.slag_copper is not None:
        return suspended, np.zeros(1)
    return suspended, solutions.nagamori_sulfidic_copper(u.slag_sulfur, u.grade)


def entrained_copper(s: SmeltingSettings, grade: FloatN) -> FloatN:
    """(N,) [kg/kg] copper in the slag as suspended matte; never more than an assay of the slag gives."""
    suspended = s.slag_entrained_copper
    if suspended is None:
        suspended = s.slag_entrained_matte * grade
    return (
        suspended if s.slag_copper is None else np.where(suspended < s.slag_copper, suspended, s.slag_copper)
    )


def slag_mass(m: Melt) -> FloatN:
    """(N,) [kg/s] sum of the slag's components."""
    molar = species(*SLAG_SOLVED).molar_mass
    return sum((n * x for n, x in zip(m.slag.values(), molar, strict=True)), m.supply.slag_mass)


@dataclass(frozen=True, eq=False)
class Heat:
    """How the heat closes, (N,) each.

    fuel : [unit/s]; air, industrial : [mol/s] dry
    gas : [mol/s] where it leaves the melt, before the in-leakage of the uptake
    cold_charge : [kg/kg] own matte put back cold, per matte made
    surplus : [W] positive to spare; needs_fuel_in_vain : True where more fuel only cools
    """

    fuel: FloatN
    air: FloatN
    industrial: FloatN
    gas: FloatN
    cold_charge: FloatN
    surplus: FloatN
    needs_fuel_in_vain: BoolN


def heat(bath: Bath, m: Melt) -> Heat:
    """Close the heat as the settings say.

    surplus = heat in - heat out - loss. Everything is linear in fuel, in air and in cold charge, so each
    mode has a closed form once the melt is known.
    """
    s, b, fuel = bath.s, bath.blast, bath.fuel
    melt_and_so2 = _enthalpy(bath.hot_matte, m.matte) + m.so2 * bath.hot_so2
    melt_and_so2 = melt_and_so2 + _enthalpy(bath.hot_slag, m.slag)
    oxygen_enthalpy = m.oxygen_demand * b.oxygen_in - (m.oxygen_demand - m.oxygen_reacted) * b.oxygen_out
    gross = oxygen_enthalpy - melt_and_so2 - m.supply.heat - bath.heat_loss
    least, _ = np.broadcast_arrays(s.fuel_minimum / fuel.heating_value, gross)
    if s.close_heat_with == "enrichment":
        return _at_free_enrichment(bath, m, gross, least)
    return _at_given_enrichment(bath, m, gross, least)


def _at_free_enrichment(bath: Bath, m: Melt, gross: FloatN, fuel: FloatN) -> Heat:
    """The air that takes up what heat there is; between industrial oxygen alone and air alone."""
    b = bath.blast
    blown = m.oxygen_demand + fuel * bath.fuel.oxygen
    heat_in = gross + fuel * bath.fuel.released
    air = b.air_for_heat(blown, heat_in)
    air = np.where(air > 0, np.where(air < blown / OXYGEN_IN_AIR, air, blown / OXYGEN_IN_AIR), 0.0)
    industrial = (blown - OXYGEN_IN_AIR * air) / b.purity
    inside = (air > 0) & (industrial > 0)
    surplus = np.where(inside, 0.0, heat_in - b.heat_uptake(air, industrial))
    zero = np.zeros_like(surplus)
    return Heat(fuel, air, industrial, _gas(bath, m, fuel, air, industrial), zero, surplus, zero > 0)


def _at_given_enrichment(bath: Bath, m: Melt, gross: FloatN, least: FloatN) -> Heat:
    s, b, fuel = bath.s, bath.blast, bath.fuel
    surplus = gross - m.oxygen_demand * b.uptake
    available = fuel.released - fuel.oxygen * b.uptake
    burnt = least
    in_vain = np.zeros(surplus.shape, dtype=bool)
    if s.close_heat_with == "fuel":
        wanted = -surplus / available
        in_vain = (available <= 0) & (surplus + least * available < 0)
        closes = (wanted > least) & ~in_vain
        burnt = np.where(closes, wanted, least)
        surplus = np.where(closes, 0.0, surplus + burnt * available)  # nil, not what round-off leaves of it
    else:
        surplus = surplus + burnt * available
    cold = np.zeros_like(surplus)
    if s.close_heat_with == "cold_charge":
        takes = _enthalpy(bath.matte_uptake, m.matte) + m.supply.matte_uptake
        cold = np.where(surplus > 0, surplus / takes, 0.0)
        surplus = np.where(surplus > 0, 0.0, surplus)
    blown = m.oxygen_demand + burnt * fuel.oxygen
    air, industrial = blown * b.unit_air, blown * b.unit_industrial
    return Heat(burnt, air, industrial, _gas(bath, m, burnt, air, industrial), cold, surplus, in_vain)


def _enthalpy(molar: Floats, amounts: Mapping[str, FloatN]) -> FloatN:
    """(N,) [W] of amounts with molar enthalpies, in their order."""
    return sum((molar[:, i] * n for i, n in enumerate(amounts.values())), np.zeros(1))


def with_ash(bath: Bath, m: Melt, h: Heat) -> Melt:
    """The melt with the ash of its fuel in the slag.

    Fuel follows from the heat, and of the melt nothing that the heat rests on moves with the ash at a given
    guess, its iron being FeO before and after: so ash is a term linear in the fuel, and no unknown.
    """
    if not bath.fuel.ash:
        return m
    ash = {name: h.fuel * per_unit for name, per_unit in bath.fuel.ash.items()}
    others = {name: x for name, x in ash.items() if name != "FeO(slag)"}
    mass = dict(zip(others, species(*others).molar_mass, strict=True))
    supply = m.supply
    return replace(
        m,
        feo=m.feo + ash["FeO(slag)"],
        supply=supply._replace(
            silica=supply.silica + mass["SiO2(l)"] * ash["SiO2(l)"],
            silica_moles=supply.silica_moles + ash["SiO2(l)"],
            lime=supply.lime + mass["CaO(slag)"] * ash["CaO(slag)"],
            slag_mass=supply.slag_mass + sum(mass[name] * x for name, x in others.items()),
            slag_moles=supply.slag_moles + sum(others.values()),
            ferric_terms=supply.ferric_terms + sum(ferric_term(name) * x for name, x in others.items()),
        ),
    )


def _gas(bath: Bath, m: Melt, fuel: FloatN, air: FloatN, industrial: FloatN) -> FloatN:
    b = bath.blast
    ballast = (1.0 - OXYGEN_IN_AIR + b.air[:, 4]) * air + (1.0 - b.purity) * industrial
    unused = m.oxygen_demand - m.oxygen_reacted
    return m.so2 + m.supply.gas_moles + fuel * bath.fuel.gas_moles + ballast + unused


def so2_pressure(bath: Bath, m: Melt, h: Heat) -> FloatN:
    """(N,) [Pa] of SO2 where the gas leaves the melt."""
    return (m.so2 + h.fuel * bath.fuel.so2) / h.gas * bath.pressure


def ferric_over_melt(bath: Bath, m: Melt, p: Potentials) -> FloatN:
    """(N,) Fe2O3 / FeO of the slag, magnetite as one of each, over that of Kress & Carmichael's melt."""
    iron = m.feo + 3 * m.fe3o4 + m.slag_fes
    moles = m.slag_moles + 2 * m.fe3o4  # with all iron as FeO
    melt_ratio = solutions.kress_carmichael(
        p.log_po2, bath.constants.T, iron / moles, m.supply.ferric_terms / moles
    )
    return m.fe3o4 / (m.feo + m.fe3o4) / melt_ratio


def potentials(bath: Bath, m: Melt, h: Heat) -> Potentials:
    """Activities and pressures at the melt of one guess."""
    n_cu2s, n_fes = m.matte_fractions
    return equilibrium.potentials(
        bath.constants, n_cu2s, n_fes, m.feo / m.slag_moles, so2_pressure(bath, m, h), bath.s.matte_activities
    )


def hot_enthalpies(T_matte: FloatN, T_slag: FloatN, T_gas: FloatN) -> tuple[Floats, Floats, FloatN, Floats]:
    """Molar enthalpies [J/mol] of the solved species at their exits, and the uptake of cold matte."""
    matte, slag = species(*MATTE_SOLVED), species(*SLAG_SOLVED)
    hot = matte.enthalpy(T_matte)
    return hot, slag.enthalpy(T_slag), species("SO2(g)").enthalpy(T_gas)[:, 0], hot - matte.reference_enthalpy
