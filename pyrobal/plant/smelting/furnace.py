"""The smelting furnace: targets, equilibria and heat solved together for all scenarios at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from pyrobal.arrays import FloatN, Floats, IntN, take
from pyrobal.constants import JOULE_PER_KILOGRAM, KELVIN, KILOGRAM_PER_SECOND, MOLE_PER_KILOGRAM, celsius
from pyrobal.numerics.bracketing import bisect
from pyrobal.numerics.newton import Roots, newton_from
from pyrobal.plant.smelting import equilibrium
from pyrobal.plant.smelting.blast import blast
from pyrobal.plant.smelting.deportment import Allotment, phases, settled
from pyrobal.plant.smelting.equilibrium import Constants
from pyrobal.plant.smelting.matte import M_CU, M_CU2S, M_FE, M_FE3O4, M_FEO, M_FES, M_O
from pyrobal.plant.smelting.melt import (
    Bath,
    Fuelled,
    Heat,
    Melt,
    Unknowns,
    entrained_copper,
    ferric_over_melt,
    heat,
    hot_enthalpies,
    melt,
    potentials,
    slag_mass,
    with_ash,
)
from pyrobal.plant.smelting.minors import minors
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.plant.smelting.supply import Exits, Worth, supply
from pyrobal.streams.fuel import ASH, Fuel
from pyrobal.streams.material import Material
from pyrobal.streams.site import SiteSettings
from pyrobal.thermo import solutions

SHIFT = 100.0 * KELVIN  # per unit of the temperature unknown
COLDEST, HOTTEST = celsius(1150), celsius(1600)  # slag: below it freezes, above no lining holds
OTHER_STARTS: tuple[dict[str, float], ...] = (
    {"silica": 0.0, "lime": 0.0, "magnetite": np.log(0.03), "oxidic_copper": np.log(0.001)},
    {"silica": 2.0, "lime": 0.5, "magnetite": np.log(0.2), "oxidic_copper": np.log(0.02)},
)
LONGEST_STEP = 2.0  # of Newton's method, most unknowns being logarithms
LEAN, RICH = 0.20, 0.79  # matte grades between which one is sought, kg/kg


@dataclass(frozen=True, eq=False)
class Charge:
    """What is put into the furnace.

    material : everything put in but fluxes, per second; concentrate_rate : (N,) [kg/s] dry
    returns : name -> what of it comes back from other steps
    silica, lime : fluxes per kilogram of dry flux, None where the case has none
    """

    material: Material
    concentrate_rate: FloatN
    silica: Material | None
    lime: Material | None
    returns: Mapping[str, Material] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Furnace:
    """One furnace problem; implements ``numerics.newton.Problem``.

    names : unknowns in the order of z; flux_scale, heat_scale, gas_scale : (N,) [kg/s], [W], [mol/s] of order
    """

    site: SiteSettings
    s: SmeltingSettings
    charge: Charge
    fuel: Fuel
    bath: Bath
    names: tuple[str, ...]
    flux_scale: FloatN
    heat_scale: FloatN
    gas_scale: FloatN

    def take(self, rows: slice | IntN) -> Furnace:
        """The problem for some of the scenarios."""
        part: Furnace = take(self, rows)
        return part

    def unknowns(self, z: Floats) -> tuple[Unknowns, FloatN]:
        """The guess in physical terms, and the temperature shift [K]."""
        v = dict(zip(self.names, z.T, strict=True))
        s, zero = self.s, np.zeros(1)
        grade = v.get("grade", s.matte_grade)
        return Unknowns(
            slag=np.exp(v["slag"]) * KILOGRAM_PER_SECOND,
            silica=v.get("silica", zero) * self.flux_scale,
            lime=v.get("lime", zero) * self.flux_scale,
            magnetite=_guessed(v, "magnetite", s.slag_magnetite),
            oxidic_copper=_guessed(v, "oxidic_copper", _given_oxidic(s, grade)),
            slag_sulfur=_guessed(v, "slag_sulfur", s.slag_sulfur),
            matte_oxygen=_guessed(v, "matte_oxygen", _given_oxygen(s, grade)),
            grade=grade,
            gas=np.exp(v["gas"]) * self.gas_scale if "gas" in v else zero,
        ), v.get("shift", zero) * SHIFT

    def state(self, z: Floats) -> tuple[Bath, Unknowns, Melt, Heat]:
        """Amounts and heat at a guess."""
        u, shift = self.unknowns(z)
        bath = self.bath if "shift" not in self.names else heated(self, shift)
        m = melt(bath, u)
        h = heat(bath, m)
        return bath, u, with_ash(bath, m, h), h

    def residual(self, z: Floats) -> Floats:
        """One row per unknown, scaled to order one."""
        bath, u, m, h = self.state(z)
        rows = {"slag": slag_mass(m) / u.slag - 1.0}
        if "silica" in self.names:  # no flux, or the ratio reached: whichever binds
            rows["silica"] = np.minimum(u.silica / self.flux_scale, 1.0 - m.fe_sio2 / self.s.fe_sio2)
        if "lime" in self.names:
            ratio = m.supply.lime / m.supply.silica / _lime_ratio(self.s) - 1.0
            rows["lime"] = np.minimum(u.lime / self.flux_scale, ratio)
        if "grade" in self.names:
            rows["grade"] = m.oxygen_demand / (_oxygen_target(self.s) * self.charge.concentrate_rate) - 1.0
        if "gas" in self.names:
            rows["gas"] = np.log(h.gas / u.gas)
        if "shift" in self.names:
            rows["shift"] = h.surplus / self.heat_scale
        rows |= self._equilibria(bath, u, m, h)
        return np.stack(np.broadcast_arrays(*(rows[name] for name in self.names))).T

    def _equilibria(self, bath: Bath, u: Unknowns, m: Melt, h: Heat) -> dict[str, FloatN]:
        p = potentials(bath, m, h)
        k, n, s = bath.constants, m.slag_moles, self.s
        rows = {}
        if "magnetite" in self.names:
            if s.slag_magnetite_model == "goto":
                equal = equilibrium.magnetite_fraction(k, p, m.supply.silica_moles / n)
                over = m.fe3o4 / n / (s.magnetite_over_equilibrium * equal)
            else:
                over = ferric_over_melt(bath, m, p) / s.ferric_over_equilibrium
            rows["magnetite"] = np.log(over)
        if "oxidic_copper" in self.names:
            activity = equilibrium.cuprous_oxide_activity(k, p)
            if s.slag_copper_model == "nagamori":
                over = u.oxidic_copper / solutions.nagamori_oxidic_copper(activity, k.T)
            else:
                over = m.cu2o / n / solutions.goto_cuprous_oxide(activity)
            rows["oxidic_copper"] = np.log(over / s.oxidic_copper_over_equilibrium)
        if "slag_sulfur" in self.names:
            over = m.slag_fes / n / solutions.goto_iron_sulfide(p.fes)
            rows["slag_sulfur"] = np.log(over / s.slag_sulfur_over_equilibrium)
        if "matte_oxygen" in self.names:
            iron = (m.fes + 3 * m.matte_fe3o4) * M_FE / m.matte_mass
            rows["matte_oxygen"] = np.log(u.matte_oxygen / equilibrium.matte_oxygen(p, u.grade, iron))
        return rows


def _guessed(v: dict[str, FloatN], name: str, given: FloatN | None) -> FloatN:
    return np.exp(v[name]) if given is None else given


def _given_oxidic(s: SmeltingSettings, grade: FloatN) -> FloatN | None:
    """Copper as oxide where the user's assay gives the total: what is left after suspended matte."""
    return None if s.slag_copper is None else s.slag_copper - entrained_copper(s, grade)


def _given_oxygen(s: SmeltingSettings, grade: FloatN) -> FloatN | None:
    if s.matte_oxygen is None and s.matte_oxygen_model == "matousek":
        return solutions.matousek_oxygen(grade)
    return s.matte_oxygen


def _lime_ratio(s: SmeltingSettings) -> FloatN:
    assert s.cao_sio2 is not None
    return s.cao_sio2


def _oxygen_target(s: SmeltingSettings) -> FloatN:
    assert s.oxygen_per_tonne is not None
    return s.oxygen_per_tonne


Allotments = tuple[Allotment, Allotment | None, Allotment | None]
"""Of the charge, and per kilogram of silica and lime flux."""


def furnace(
    charge: Charge, site: SiteSettings, s: SmeltingSettings, fuel: Fuel
) -> tuple[Furnace, Allotments]:
    """Set the problem up: which unknowns there are, and everything that is constant."""
    names = ["slag"]
    names += ["silica"] if charge.silica is not None else []
    names += ["lime"] if charge.lime is not None and s.cao_sio2 is not None else []
    names += ["magnetite"] if s.slag_magnetite is None else []
    names += ["oxidic_copper"] if s.slag_copper is None else []
    names += ["slag_sulfur"] if s.slag_sulfur is None else []
    names += ["matte_oxygen"] if _given_oxygen(s, np.ones(1)) is None else []
    names += ["grade"] if s.oxygen_per_tonne is not None else []
    names += ["shift"] if s.close_heat_with == "slag_temperature" else []
    mass = charge.material.dry_mass
    bath, allotments = bath_at(charge, site, s, fuel, np.zeros(1))
    names += ["gas"] if bath.minors is not None and bath.minors.evaporate else []
    return Furnace(
        site,
        s,
        charge,
        fuel,
        bath,
        tuple(names),
        0.1 * mass,
        1e5 * JOULE_PER_KILOGRAM * mass,
        20.0 * MOLE_PER_KILOGRAM * mass,
    ), allotments


def heated(f: Furnace, shift: FloatN) -> Bath:
    """The bath with matte, slag and gas ``shift`` (N,) [K] hotter than set; dust is not."""
    return bath_at(f.charge, f.site, f.s, f.fuel, shift)[0]


def bath_at(
    charge: Charge, site: SiteSettings, s: SmeltingSettings, fuel: Fuel, shift: FloatN
) -> tuple[Bath, Allotments]:
    """Everything that depends on the exit temperatures, and the allotments of charge and fluxes.

    Dust leaves at the gas temperature that is set: its oxides melt one by one, and where the temperature is
    sought an enthalpy that jumps would have no root.
    """
    T_matte, T_slag, T_gas = (
        s.matte_temperature + shift,
        s.slag_temperature + shift,
        s.gas_temperature + shift,
    )
    exits = Exits.at(T_matte, T_slag, s.gas_temperature, T_gas)
    matte, slag, so2, uptake = hot_enthalpies(T_matte, T_slag, T_gas)
    shares, worth = settled(s), Worth.at(exits)
    main, allotted = supply(charge.material, s, shares, worth)
    silica, lime = (
        supply(flux, s, shares, worth) if flux is not None else (None, None)
        for flux in (charge.silica, charge.lime)
    )
    b = blast(site, s, T_gas)
    loss = s.heat_loss if s.heat_loss is not None else s.heat_loss_per_tonne * charge.concentrate_rate
    bath = Bath(
        s=s,
        charge=main,
        silica=silica[0],
        lime=lime[0],
        minors=minors(charge.material, charge.silica, charge.lime, s, worth),
        blast=b,
        fuel=_fuelled(fuel, s, exits, b.oxygen_in),
        constants=Constants.at(T_slag),
        hot_matte=matte,
        hot_slag=slag,
        hot_so2=so2,
        matte_uptake=uptake,
        heat_loss=loss,
        pressure=site.pressure,
    )
    return bath, (allotted, silica[1], lime[1])


def _fuelled(fuel: Fuel, s: SmeltingSettings, exits: Exits, oxygen_in: FloatN) -> Fuelled:
    """What a unit of fuel does in the furnace; ash that does not go to the slag leaves with the dust."""
    gas, slag, dust = (phases()[outlet] for outlet in ("gas", "slag", "dust"))
    c, h, n, sulfur, ash = (fuel.count(e) for e in ("C", "H", "N", "S", "Rest"))
    amounts = {"CO2(g)": c, "H2O(g)": h / 2, "N2(g)": n / 2, "SO2(g)": sulfur}
    hot = sum(x * exits.gas[:, gas.index(name)] for name, x in amounts.items())
    to_slag = {}
    if ash.any():
        to_slag = dict(zip(ASH, s.fuel_ash_to_slag * fuel.ash.T, strict=True))
        to_slag["Rest(slag)"] = s.fuel_ash_to_slag * fuel.ash_unnamed
    hot = hot + sum(x * exits.slag[:, slag.index(name)] for name, x in to_slag.items())
    hot = hot + (1.0 - s.fuel_ash_to_slag) * ash * exits.dust[:, dust.index("Rest")]
    unused = s.fuel_excess_air * fuel.oxygen
    hot = hot + unused * exits.gas[:, gas.index("O2(g)")]
    moles = c + h / 2 + n / 2 + sulfur + unused
    blown = fuel.oxygen + unused
    released = fuel.slagged(s.fuel_ash_to_slag)[1] + blown * oxygen_in - hot
    return Fuelled(blown, moles, sulfur, to_slag, released, fuel.heating_value)


def start(f: Furnace) -> Floats:
    """A first guess from stoichiometry with a typical slag, (N, K).

    Grade and temperature, where they are unknown, are first bracketed on that same rough slag.
    """
    s = f.s
    grade = s.matte_grade
    if "grade" in f.names:
        lean, rich = (np.full_like(f.flux_scale, end) for end in (LEAN, RICH))
        target = _oxygen_target(s) * f.charge.concentrate_rate
        grade = bisect(lambda g: _rough(f, f.bath, g).oxygen_demand - target, lean, rich, steps=20)
    guess = _guess(f, f.bath, grade)
    if "shift" in f.names:
        cold, hot = (np.broadcast_to(T - s.slag_temperature, f.flux_scale.shape) for T in (COLDEST, HOTTEST))
        guess["shift"] = bisect(lambda shift: -_rough_surplus(f, shift, grade), cold, hot, steps=14) / SHIFT
    return np.stack(np.broadcast_arrays(*(guess[name] for name in f.names)), axis=1).copy()


def _guess(f: Furnace, bath: Bath, grade: FloatN) -> dict[str, FloatN]:
    """Unknowns of a typical slag: iron not in the matte is FeO, flux by the Fe/SiO2 target."""
    s, c = f.s, bath.charge
    oxygen = solutions.matousek_oxygen(grade)
    matte = c.copper * 0.985 * M_CU / grade
    sulfide = matte * (1 - grade * M_CU2S / (2 * M_CU) - oxygen * M_FE3O4 / (4 * M_O)) / M_FES
    iron = np.maximum(c.iron - sulfide - 3 * matte * oxygen / (4 * M_O), 0.05 * c.iron)
    flux = np.zeros_like(iron)
    if bath.silica is not None:
        flux = np.maximum(iron * M_FE / s.fe_sio2 - c.silica, 0.0) / np.maximum(bath.silica.silica, 0.1)
    return {
        "slag": np.log((1.03 * iron * M_FEO + c.slag_mass + flux) / KILOGRAM_PER_SECOND),
        "silica": flux / f.flux_scale,
        "lime": np.array([0.1]),
        "magnetite": np.log(np.array([0.08])),
        "oxidic_copper": np.log(np.array([0.003])),
        "slag_sulfur": np.log(np.array([0.002])),
        "matte_oxygen": np.log(oxygen),
        "grade": grade,
        "gas": np.zeros(1),
        "shift": np.zeros(1),
    }


def _rough(f: Furnace, bath: Bath, grade: FloatN) -> Melt:
    guess = _guess(f, bath, grade)
    z = np.stack(np.broadcast_arrays(*(guess[name] for name in f.names)), axis=1)
    return melt(bath, f.unknowns(z)[0])


def _rough_surplus(f: Furnace, shift: FloatN, grade: FloatN) -> FloatN:
    bath = heated(f, shift)
    return heat(bath, _rough(f, bath, grade)).surplus


def converge(f: Furnace, near: Roots | None) -> Roots:
    """Newton from ``near`` where it is known; in vain, or without, from starts of its own."""
    return newton_from(f, _starts(f, near), longest_step=LONGEST_STEP)


def _starts(f: Furnace, near: Roots | None) -> Iterator[Floats | Roots]:
    """The stoichiometric guess and others beside it, only made where they are asked for."""
    if near is not None:
        yield near
    guess = start(f)
    yield _nearer(f, guess)
    for other in OTHER_STARTS:
        yield _instead(f, guess, other)


# How much of ln(guess / equilibrium) is taken off; the row of gas is ln(made / guess).
_SUBSTITUTED = {"magnetite": 0.5, "oxidic_copper": 1.0, "slag_sulfur": 1.0, "gas": -1.0}
_USUAL = 1.5  # beyond it the matte is nearly spent, where there may be a second root


def _nearer(f: Furnace, guess: Floats) -> Floats:
    """The guess with what its own equilibria say in place of it, where that is not far away."""
    z, miss = np.broadcast_arrays(guess, f.residual(guess).real)
    share = np.array([_SUBSTITUTED.get(name, 0.0) for name in f.names])
    usual = (np.abs(miss) < _USUAL).all(axis=1)
    return np.where(usual[:, None], z - share * miss, z)


def _instead(f: Furnace, guess: Floats, other: Mapping[str, float]) -> Floats:
    """The guess with the unknowns that it names changed."""
    changed = guess.copy()
    for name in other.keys() & set(f.names):
        changed[:, f.names.index(name)] = other[name]
    return changed
