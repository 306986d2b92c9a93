"""Continuous converting of matte to blister in one steady bath.

Copper left after the slag is blister with its sulfur and oxygen, all iron is slagged, sulfur to the gas and
oxygen blown are found by difference. Copper dissolved in the slag is at equilibrium with the blister, whose
sulfur sets the oxygen potential under the SO2 of the gas; that is met by repeated substitution.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, FloatN, FloatNS, column, zeros
from pyrobal.plant.converting.blast import Blast, blast, enrichment_for, uptake
from pyrobal.plant.converting.deportment import (
    CU,
    FE,
    OXYGEN,
    SULFUR,
    Settled,
    grade_of,
    phases,
    settle,
    shares,
)
from pyrobal.plant.converting.feed import Charge, wet
from pyrobal.plant.converting.limits import continuous_reasons
from pyrobal.plant.converting.melts import M_FE, Slag, copper_species, given_copper
from pyrobal.plant.converting.result import ConvertingResult, hooded
from pyrobal.plant.converting.settings import ConvertingSettings
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.streams.material import Material
from pyrobal.streams.site import AIR_SPECIES, SiteSettings, air_species
from pyrobal.streams.stream import Stream
from pyrobal.thermo import coppermaking, solutions
from pyrobal.trace.solved import tabulated

TYPICAL_MAGNETITE = {"silicate": 0.20, "calcium_ferrite": 0.50}  # common practice
_FLUX = {"silicate": "silica_flux", "calcium_ferrite": "lime_flux"}
_ROUNDS = 40
_CLOSE = 1e-13  # relative; the dependence on the guess is weak, each round gains a digit or two
_ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class Steady:
    """Amounts per second at one guess; melt is on the bath axis, slag, gas and dust are on theirs.

    melt, slag, dust : (N, S) [mol/s]; gas : (N, S) [mol/s] without what the blast brings through
    flux : (N,) [kg/s] dry; oxygen_reacted : (N,) [mol/s]; so2 : (N,) [mol/s]
    """

    melt: FloatNS
    slag: FloatNS
    gas: FloatNS
    dust: FloatNS
    flux: FloatN
    so2: FloatN
    oxygen_reacted: FloatN


@dataclass(frozen=True, eq=False)
class Heat:
    """How the heat closes, (N,) each.

    blast : one mole of dry blast; enrichment : [mol/mol] its O2; dry : [mol/s] of it
    to_spare : [W] before liquid matte is fed cold; cold : [-] share of the matte that is; surplus : [W] after
    """

    blast: Blast
    enrichment: FloatN
    dry: FloatN
    to_spare: FloatN
    cold: FloatN
    surplus: FloatN


@dataclass(frozen=True, eq=False)
class Furnace:
    """What is constant.

    liquid : matte as poured; melting : (N,) [W] it brings beyond cold matte; cold : 1 where all comes cold
    fed : matte and reverts as settled; flux, flux_settled : a kilogram of the one flux that is used
    """

    s: ConvertingSettings
    site: SiteSettings
    charge: Charge
    liquid: Entry
    melting: FloatN
    cold: float
    fed: Settled
    flux: Material | None
    flux_settled: Settled | None


def solve_continuous(c: Charge, site: SiteSettings, s: ConvertingSettings) -> ConvertingResult:
    """Balance a continuous converter: see the module for how the unknowns are met.

    A scenario that has its answer is not touched again while others still move.
    """
    f, n = _furnace(c, site, s), c.scenarios(site, s)
    oxidic, done = _first_oxidic(s) + np.zeros(n), np.zeros(n, dtype=bool)
    for _ in range(_ROUNDS):
        state = steady(f, oxidic)
        better = _dissolved(f, state, heat(f, state), oxidic)
        met = np.abs(better - oxidic) <= _CLOSE * np.abs(better)
        oxidic, done = np.where(done, oxidic, better), done | met
        if done.all():
            break
    state = steady(f, oxidic)
    return _assemble(f, state, heat(f, state), done)


def _furnace(c: Charge, site: SiteSettings, s: ConvertingSettings) -> Furnace:
    liquid = c.ladles(s.matte_temperature_drop)
    to = shares(grade_of(liquid.elements), s)
    flux = c.lime if s.slag_system == "calcium_ferrite" else c.silica
    fed = settle(liquid.elements, to).plus(settle(c.reverts.elements, to), np.ones(1))
    settled = None if flux is None else settle(flux.entry.elements, to)
    melting = liquid.enthalpy - c.cold().enthalpy
    return Furnace(s, site, c, liquid, melting, float(s.matte_state == "solid"), fed, flux, settled)


def steady(f: Furnace, oxidic: FloatN) -> Steady:
    """Amounts that follow from the oxidic copper of the slag (N,) [kg/kg]; elements close at any guess."""
    s, p = f.s, phases()
    flux = np.maximum(_flux_wanted(f), 0.0) + 0.0 * oxidic
    fed = f.fed if f.flux_settled is None else f.fed.plus(f.flux_settled, flux)
    recipe = _slag_assay(s, oxidic)
    mass = recipe.mass(fed.bath[:, FE], fed.slag_mass)
    made = recipe.species(fed.bath[:, FE], mass)
    copper = fed.bath + zeros((len(flux), 1), mass)
    copper[:, FE] = 0.0
    copper[:, CU] -= recipe.copper(mass)
    melt = copper_species(copper, s.blister_sulfur, s.blister_oxygen)
    held, slagged = (
        melt @ p["bath"].composition[:, [SULFUR, OXYGEN]],
        made @ p["slag"].composition[:, [SULFUR, OXYGEN]],
    )
    so2 = fed.sulfur - held[:, 0] - slagged[:, 0]
    oxygen = held[:, 1] + slagged[:, 1] + 2.0 * so2 - fed.oxygen
    return Steady(melt, fed.slag + made, fed.gas, fed.dust, flux, so2, oxygen / 2.0)


def _flux_wanted(f: Furnace) -> FloatN:
    """Dry flux (N,) [kg/s] for the ratio of the slag system: Fe/SiO2 or CaO/Fe."""
    if f.flux_settled is None:
        return np.zeros_like(f.fed.sulfur)
    fed, own = f.fed, f.flux_settled
    iron, own_iron = fed.bath[:, FE] * M_FE, own.bath[:, FE] * M_FE
    if f.s.slag_system == "silicate":
        return (iron - f.s.fe_sio2 * fed.silica) / (f.s.fe_sio2 * own.silica - own_iron)
    return (f.s.cao_fe * iron - fed.lime) / (own.lime - f.s.cao_fe * own_iron)


def _slag_assay(s: ConvertingSettings, oxidic: FloatN) -> Slag:
    magnetite = s.slag_magnetite
    if magnetite is None:
        magnetite = tabulated(
            np.array([TYPICAL_MAGNETITE[s.slag_system]]), "typical magnetite", "-", (), "common practice"
        )
    if s.slag_copper is not None:
        return Slag(magnetite, *given_copper(s.slag_copper, s.slag_entrained_copper), suspended="Cu(l)")
    return Slag(magnetite, oxidic, s.slag_entrained_copper, suspended="Cu(l)")


def _first_oxidic(s: ConvertingSettings) -> FloatN:
    """A first guess, or what the user's assay leaves after suspended copper."""
    if s.slag_copper is None:
        return np.array([0.08])
    return given_copper(s.slag_copper, s.slag_entrained_copper)[0]


def heat(f: Furnace, state: Steady) -> Heat:
    """The blast for the oxygen, and the heat it leaves to spare.

    Matte fed cold takes up what it would have brought.
    """
    s, blown = f.s, state.oxygen_reacted / f.s.oxygen_efficiency
    gross = _before_blast(f, state)
    y = s.enrichment + 0.0 * blown
    if s.close_heat_with == "enrichment":
        y = enrichment_for(f.site, s, gross / blown, np.zeros(1))
    wind = blast(f.site, s, y)
    to_spare = gross - blown / y * uptake(s, wind)
    more = np.zeros_like(to_spare)
    if s.close_heat_with == "cold_charge" and s.matte_state == "liquid":
        more = np.clip(to_spare / f.melting, 0.0, 1.0)
    return Heat(wind, y, blown / y, to_spare, f.cold + more, to_spare - more * f.melting)


def _before_blast(f: Furnace, state: Steady) -> FloatN:
    """(N,) [W] that feed and reactions leave for the blast, at the temperature of the bath."""
    s, p = f.s, phases()
    hot = {name: p[name].enthalpy(s.bath_temperature) for name in ("bath", "slag", "gas", "dust")}
    amounts = {"bath": state.melt, "slag": state.slag, "gas": state.gas, "dust": state.dust}
    leaving = sum(((amounts[name] * h).sum(axis=1) for name, h in hot.items()), np.zeros(1))
    leaving = leaving + state.so2 * hot["gas"][:, p["gas"].index("SO2(g)")]
    leaving = leaving - state.oxygen_reacted * hot["gas"][:, p["gas"].index("O2(g)")]
    entering = f.liquid.enthalpy - f.cold * f.melting + f.charge.reverts.enthalpy
    if f.flux is not None:
        entering = entering + state.flux * f.flux.entry.enthalpy
    return entering - leaving - s.heat_loss


def _dissolved(f: Furnace, state: Steady, h: Heat, oxidic: FloatN) -> FloatN:
    """Copper oxide in the slag (N,) [kg/kg Cu] at equilibrium with the blister."""
    if f.s.slag_copper is not None:
        return oxidic
    T = f.s.bath_temperature
    activity = coppermaking.cuprous_oxide_beside_copper(_oxygen_pressure(f, state, h), T)
    if f.s.slag_system == "calcium_ferrite":
        return coppermaking.ferrite_oxidic_copper(activity)
    return solutions.nagamori_oxidic_copper(activity, T)


def _oxygen_pressure(f: Furnace, state: Steady, h: Heat) -> FloatN:
    """(N,) [bar] over the blister, under the SO2 of the gas as it leaves the bath."""
    gas = _mouth(f, state, h)
    share = gas.amount("SO2(g)") / gas.total()
    return coppermaking.oxygen_pressure(f.s.blister_sulfur, share * f.site.pressure, f.s.bath_temperature)


def _mouth(f: Furnace, state: Steady, h: Heat) -> Stream:
    """Gas leaving the bath: SO2, vapours of the feed, and the blast without the oxygen that reacted."""
    axis = phases()["gas"]
    n = state.gas + zeros((len(state.so2), 1), h.dry, h.blast.n, state.oxygen_reacted, state.so2)
    for name, per_mole in zip(AIR_SPECIES, h.blast.n.T, strict=True):
        n[:, axis.index(name)] += h.dry * per_mole
    n[:, axis.index("O2(g)")] -= state.oxygen_reacted
    n[:, axis.index("SO2(g)")] += state.so2
    return Stream(axis, n, f.s.bath_temperature)


def _assemble(f: Furnace, state: Steady, h: Heat, converged: BoolN) -> ConvertingResult:
    s, c, p, T = f.s, f.charge, phases(), f.s.bath_temperature
    mouth = _mouth(f, state, h)
    hood_air, gas = hooded(mouth, s.hood_air, f.site)
    melt = state.melt[:, [p["bath"].index(name) for name in p["blister"].names]]
    blister, slag = Stream(p["blister"], melt, T), Stream(p["slag"], state.slag, T)
    out = {"blister": blister, "slag": slag, "gas": gas, "dust": Stream(p["dust"], state.dust, T)}
    blown = Stream(air_species(), h.blast.n * column(h.dry), s.blast_temperature)
    air, nothing, mass = h.dry * h.blast.air, np.zeros_like(h.dry), c.matte.mass()
    capacity = mass * (f.cold + np.maximum(h.to_spare, 0.0) / f.melting)
    flux = {f.s.slag_system: wet(f.flux, state.flux)}
    least = -_ROUNDING * np.abs(state.melt).sum(axis=1)
    backwards = (state.so2 < least) | (state.oxygen_reacted < least)
    return ConvertingResult(
        s, c.matte, blister, slag, out["dust"], mouth, gas, gas, blown, hood_air, air, h.dry - air,
        state.oxygen_reacted,
        flux.get("silicate", nothing), flux.get("calcium_ferrite", nothing), h.cold * mass, nothing, capacity,
        nothing, nothing, np.full_like(mass, np.nan), h.surplus,
        coppermaking.log10_atm(_oxygen_pressure(f, state, h)),
        _ledger(f, state, h, out, blown, hood_air), None,
        continuous_reasons(c, s, h.enrichment, backwards, converged, slag),
    )  # fmt: skip


def _ledger(
    f: Furnace, state: Steady, h: Heat, out: dict[str, Stream], blown: Stream, hood_air: Stream
) -> Ledger:
    """Matte enters as received; what it loses on the way, or by freezing, is heat out."""
    received = Entry.of(f.charge.matte)
    inputs = {"matte": received, "reverts": f.charge.reverts}
    if f.flux is not None:
        inputs[_FLUX[f.s.slag_system]] = f.flux.entry.scaled(state.flux)
    inputs |= {"blast": Entry.of(blown), "hood_air": Entry.of(hood_air)}
    heat_out = {
        "ladles": (received.enthalpy - f.liquid.enthalpy) * (1.0 - h.cold),
        "frozen_matte": received.sensible * h.cold,
        "loss": f.s.heat_loss,
        "surplus": h.surplus,
    }
    return Ledger(inputs, {name: Entry.of(stream) for name, stream in out.items()}, heat_out)
