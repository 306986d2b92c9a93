"""The chemistry of a blow: what a unit of each thing that happens in it changes.

A step of a blow is a sum of so much feed, cold charge, iron slagged and flux. A unit of each changes bath,
slag, gas and dust, with sulfur to the gas and oxygen from the blast found by difference, so every element
closes for each of them, and for any sum of them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS, Floats, column, zeros
from pyrobal.plant.converting.deportment import CU, FE, OXYGEN, SULFUR, Settled, phases, settle_nothing
from pyrobal.plant.converting.melts import M_FE, copper_species
from pyrobal.plant.converting.sums import parts
from pyrobal.plant.converting.vessel import Addition, Blow, Vessel
from pyrobal.streams.site import AIR_SPECIES
from pyrobal.thermo.elements import ELEMENTS


def feeding(v: Vessel, blow: Blow, fed: Settled, enthalpy: FloatN) -> Floats:
    """Feed that settles; ``enthalpy`` (N,) [J] it brings."""
    return _change(v, blow, fed, fed.bath.copy(), np.zeros(1), enthalpy)


def settling(v: Vessel, blow: Blow, a: Addition) -> Floats:
    """An addition in the step after: it becomes like the rest of the bath, and what leaves of it settles.

    Copper metal in a slag blow takes up sulfur that the iron sets free, and is white metal then.
    """
    fed = replace(a.leaving, sulfur=a.leaving.sulfur + a.sulfur, oxygen=a.leaving.oxygen + a.oxygen)
    return _change(v, blow, fed, a.metals + fed.bath, np.zeros(1), a.reverts.enthalpy, a.melt)


def slag_making(v: Vessel, blow: Blow) -> Floats:
    """2 FeS + 3 O2 = 2 FeO(slag) + 2 SO2, and magnetite, for one mole of iron of the matte."""
    white = np.zeros((1, len(ELEMENTS)))
    white[:, FE] = -1.0
    return _change(v, blow, settle_nothing(), white, np.ones_like(blow.efficiency), np.zeros(1))


def fluxing(v: Vessel, blow: Blow) -> Floats:
    """A kilogram of dry flux, whose own iron goes to the slag; nothing where the case has none."""
    if v.flux is None:
        return feeding(v, blow, settle_nothing(), np.zeros(1))
    own, metals = v.flux.settled, v.flux.settled.bath.copy()
    metals[:, FE] = 0.0
    n = _change(v, blow, own, metals, own.bath[:, FE], v.flux.enthalpy)
    n[:, parts()["flux"]] = 1.0
    return n


def copper_making(v: Vessel, blow: Blow, white: FloatNE, fed: Settled, enthalpy: FloatN) -> Floats:
    """Cu2S + O2 = 2 Cu + SO2 for white metal (N, E) [mol] and what is fed with it.

    What iron is in it and in the feed goes to the slag; the copper of the feed joins the copper.
    """
    stood = v.rule.species(white)
    sulfur, oxygen = (stood @ phases()["bath"].composition[:, [SULFUR, OXYGEN]]).T
    brought = replace(fed, sulfur=fed.sulfur + sulfur, oxygen=fed.oxygen + oxygen)
    metals = white + fed.bath
    iron = metals[:, FE].copy()
    metals[:, FE] = 0.0
    return _change(v, blow, brought, metals, iron, enthalpy, stood)


def _change(
    v: Vessel,
    blow: Blow,
    fed: Settled,
    metals: FloatNE,
    iron: FloatN,
    enthalpy: FloatN,
    stood: FloatNS | None = None,
) -> Floats:
    """The change (N, W) where ``metals`` (N, E) [mol] join the bath and ``iron`` (N,) [mol] the slag.

    fed : what settles, and all sulfur and oxygen that is brought; stood : (N, S) [mol] what the metals were
    in the bath before. Sulfur in neither bath nor slag is SO2; oxygen that nothing else brought was blown.
    """
    p, at = phases(), parts()
    mass = blow.slag.mass(iron, fed.slag_mass)
    made = blow.slag.species(iron, mass)
    lost = blow.slag.copper(mass)
    metals = metals + zeros((len(lost), 1), lost)
    metals[:, CU] -= lost
    melt = copper_species(metals, blow.sulfur, blow.oxygen) if blow.makes_copper else v.rule.species(metals)
    sulfur, oxygen = (melt @ p["bath"].composition[:, [SULFUR, OXYGEN]]).T
    slag_sulfur, slag_oxygen = (made @ p["slag"].composition[:, [SULFUR, OXYGEN]]).T
    so2 = fed.sulfur - sulfur - slag_sulfur
    reacted = (oxygen + slag_oxygen + 2.0 * so2 - fed.oxygen) / 2.0
    blown = reacted / (blow.blast.oxygen * blow.efficiency)
    kept = blow.blast.enthalpy - v.s.heat_loss / blow.rate
    heat = enthalpy + blown * kept - (fed.dust * v.dust_enthalpy).sum(axis=1)
    n = zeros((len(heat), at["heat"].stop), heat)
    n[:, at["bath"]] = melt if stood is None else melt - stood
    n[:, at["slag"]] = fed.slag + made
    n[:, at["gas"]] = fed.gas
    gas = {name: at["gas"].start + i for i, name in enumerate(p["gas"].names)}
    n[:, [gas[name] for name in AIR_SPECIES]] += column(blown) * blow.blast.n
    n[:, gas["O2(g)"]] -= reacted
    n[:, gas["SO2(g)"]] += so2
    n[:, at["dust"]] = fed.dust
    n[:, at["blown"]] = column(blown)
    n[:, at["heat"]] = column(heat)
    return n


def flux_wanted(v: Vessel, iron: FloatN, silica: FloatN) -> FloatN:
    """Dry flux (N,) [kg] that brings ``iron`` [mol] and ``silica`` [kg] in a slag to the target ratio.

    (iron + own iron) M(Fe) = ratio (silica + own silica); negative where silica is in excess.
    """
    if v.flux is None:
        return np.zeros_like(iron)
    ratio, own = v.s.fe_sio2, v.flux.settled
    return (iron * M_FE - ratio * silica) / (ratio * own.silica - own.bath[:, FE] * M_FE)


def iron_that_meets(
    level: FloatN, per_iron: FloatN, per_flux: FloatN, flux: FloatN, flux_per_iron: FloatN
) -> FloatN:
    """Iron (N,) [mol] at which ``level`` + ``per_iron`` iron + ``per_flux`` flux is zero.

    Flux is a straight line in the iron, ``flux`` + ``flux_per_iron`` iron, where it is needed, and else none;
    the answer is on the line that fits it.
    """
    fluxed = -(level + per_flux * flux) / (per_iron + per_flux * flux_per_iron)
    return np.where(flux + flux_per_iron * fluxed >= 0.0, fluxed, -level / per_iron)
