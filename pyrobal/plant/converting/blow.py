"""The chemistry of one step of a blow: some iron goes to the slag, or some white metal becomes copper.

Sulfur to the gas and oxygen from the blast are found by difference, so every element closes at any step.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS
from pyrobal.plant.converting.deportment import CU, FE, OXYGEN, SULFUR, Settled, phases, settle_nothing
from pyrobal.plant.converting.melts import M_CU2S, M_FE, M_FEO, copper_species, minor_mass
from pyrobal.plant.converting.vessel import Bath, Blow, Vessel

_SECANTS = 5  # the equations are straight lines with one kink, where flux begins to be needed


@dataclass(frozen=True, eq=False)
class Reaction:
    """What one step does, before its heat is known.

    fed : settled feed, flux included; flux : (N,) [kg] dry
    slag : (N, S) [mol] all that joins the slag; slag_feo : (N,) [mol] FeO made
    white, copper, melt, sulfur, oxygen : [mol] of the bath after it, as in ``Bath``
    so2 : (N,) [mol]; oxygen_reacted : (N,) [mol] O2
    """

    fed: Settled
    flux: FloatN
    slag: FloatNS
    slag_feo: FloatN
    white: FloatNE
    copper: FloatNE
    melt: FloatNS
    sulfur: FloatN
    oxygen: FloatN
    so2: FloatN
    oxygen_reacted: FloatN


def slag_making(v: Vessel, blow: Blow, bath: Bath, iron: FloatN) -> Reaction:
    """2 FeS + 3 O2 = 2 FeO(slag) + 2 SO2, and magnetite, for ``iron`` (N,) [mol] of the matte.

    Copper metal in the bath (cold charge) takes up sulfur that the iron sets free, and is white metal then.
    """
    flux, fed, own_iron = _fluxed(v, blow, iron)
    made, copper_lost = _slag_of(blow, iron + own_iron, fed)
    white = bath.white + bath.copper + fed.bath
    white[:, FE] -= iron + own_iron
    white[:, CU] -= copper_lost
    return _by_difference(v, blow, bath, fed, flux, made, white, np.zeros_like(white))


def copper_making(v: Vessel, blow: Blow, bath: Bath, start: FloatNE, step: int) -> Reaction:
    """Cu2S + O2 = 2 Cu + SO2: an equal part of the white metal (N, E) at the start becomes copper.

    What iron is in that part and in the reverts goes to the slag; their copper joins the copper.
    """
    part = start / blow.steps
    iron = part[:, FE] + blow.feed.bath[:, FE]
    flux, fed, own_iron = _fluxed(v, blow, iron)
    made, copper_lost = _slag_of(blow, iron + own_iron, fed)
    copper = bath.copper + part + fed.bath
    copper[:, FE] = 0.0
    copper[:, CU] -= copper_lost
    white = start * (1.0 - (step + 1) / blow.steps)
    return _by_difference(v, blow, bath, fed, flux, made, white, copper)


def _fluxed(v: Vessel, blow: Blow, iron: FloatN) -> tuple[FloatN, Settled, FloatN]:
    """Flux (N,) [kg], the feed with it, and the iron (N,) [mol] the flux itself brings to the slag."""
    if v.flux is None:
        return np.zeros_like(iron), blow.feed, np.zeros_like(iron)
    flux = np.maximum(flux_wanted(v, iron, blow.feed.silica), 0.0)
    return flux, blow.feed.plus(v.flux.settled, flux), flux * v.flux.settled.bath[:, FE]


def flux_wanted(v: Vessel, iron: FloatN, silica: FloatN) -> FloatN:
    """Dry flux (N,) [kg] that brings ``iron`` [mol] and ``silica`` [kg] in a slag to the target ratio.

    (iron + own iron) M(Fe) = ratio (silica + own silica); negative where silica is in excess.
    """
    if v.flux is None:
        return np.zeros_like(iron)
    ratio, own = v.s.fe_sio2, v.flux.settled
    return (iron * M_FE - ratio * silica) / (ratio * own.silica - own.bath[:, FE] * M_FE)


def _slag_of(blow: Blow, iron: FloatN, fed: Settled) -> tuple[FloatNS, FloatN]:
    """Iron oxides and copper of the slag that takes ``iron`` (N,) [mol], and the copper (N,) [mol] in it."""
    mass = blow.slag.mass(iron, fed.slag_mass)
    return blow.slag.species(iron, mass), blow.slag.copper(mass)


def _by_difference(
    v: Vessel,
    blow: Blow,
    bath: Bath,
    fed: Settled,
    flux: FloatN,
    made: FloatNS,
    white: FloatNE,
    copper: FloatNE,
) -> Reaction:
    """Sulfur that is in neither bath nor slag is SO2; oxygen that nothing else brought was blown."""
    p = phases()
    melt = v.rule.species(white) + copper_species(copper, blow.sulfur, blow.oxygen)
    sulfur, oxygen = (melt @ p["bath"].composition[:, [SULFUR, OXYGEN]]).T
    slag_sulfur, slag_oxygen = (made @ p["slag"].composition[:, [SULFUR, OXYGEN]]).T
    so2 = bath.sulfur + fed.sulfur - sulfur - slag_sulfur
    reacted = (oxygen + slag_oxygen + 2.0 * so2 - bath.oxygen - fed.oxygen) / 2.0
    feo = made[:, p["slag"].index("FeO(slag)")]
    return Reaction(fed, flux, fed.slag + made, feo, white, copper, melt, sulfur, oxygen, so2, reacted)


def iron_to_end(v: Vessel, blow: Blow, bath: Bath, left: int, target: FloatN) -> FloatN:
    """Iron (N,) [mol] the slag must still take in ``left`` steps until the matte holds ``target`` of it.

    What the matte holds beyond its target [kg] is a straight line in the iron slagged and the flux, and the
    flux one in the iron where it is needed; the answer is on the line that fits it.
    """
    feed, none, one = blow.feed, np.zeros(1), np.ones(1)
    own = settle_nothing() if v.flux is None else v.flux.settled
    metals = bath.white + bath.copper + left * feed.bath
    lost = blow.slag.copper(blow.slag.mass(none, one)) * M_CU2S / 2.0  # kg Cu2S per kg of FeO or settled slag
    matte = v.rule.mass(metals) - lost * left * feed.slag_mass
    excess = metals[:, FE] * M_FE - target * matte
    per_iron = target * (v.rule.mass_per_iron + lost * M_FEO) - M_FE
    from_flux = own.bath[:, CU] * M_CU2S / 2.0 + minor_mass(own.bath)
    per_flux = target * (lost * (own.bath[:, FE] * M_FEO + own.slag_mass) - from_flux)
    flux, flux_per_iron = flux_wanted(v, none, left * feed.silica), flux_wanted(v, one, none)
    fluxed = -(excess + per_flux * flux) / (per_iron + per_flux * flux_per_iron)
    bare = -excess / per_iron
    return np.maximum(np.where(flux + flux_per_iron * fluxed >= 0.0, fluxed, bare), 0.0)


def iron_in_time(v: Vessel, blow: Blow, bath: Bath, time: FloatN) -> FloatN:
    """Iron (N,) [mol] that goes to the slag in one step of ``time`` (N,) [s]."""
    supply = time * blow.rate * blow.blast.oxygen * blow.efficiency
    a, b = np.zeros_like(bath.T), bath.white[:, FE]
    at_a = slag_making(v, blow, bath, a).oxygen_reacted - supply
    for _ in range(_SECANTS):
        at_b = slag_making(v, blow, bath, b).oxygen_reacted - supply
        there = at_b == at_a
        step = at_b * (b - a) / np.where(there, 1.0, at_b - at_a)
        a, at_a, b = b, at_b, np.where(there, b, b - step)
    return b
