"""Readings of the smelting furnace."""

from __future__ import annotations

import functools

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.errors import Reason
from pyrobal.flowsheet.results import Results
from pyrobal.plant.smelting.matte import M_FE, M_FE3O4, M_FEO
from pyrobal.readings.assay import element_share, gas_share, present_elements, slag_assay, slag_members
from pyrobal.readings.heat import heat_in
from pyrobal.readings.reading import Reading
from pyrobal.streams.fuel import WATER_EVAPORATION
from pyrobal.streams.material import WATER_MASS
from pyrobal.streams.stream import Stream
from pyrobal.thermo.acid_solution import M_ACID, M_SO2
from pyrobal.thermo.solutions import utigard_warczok

_VISCOUS = {
    "FeO(slag)": "FeO",
    "SiO2(l)": "SiO2",
    "CaO(slag)": "CaO",
    "Al2O3(l)": "Al2O3",
    "MgO(slag)": "MgO",
    "K2O(slag)": "K2O",
    "Na2O(slag)": "Na2O",
    "Cu2O(l)": "Cu2O",
    "PbO(l)": "PbO",
}


def _viscosity(r: Results) -> FloatN:
    slag, mass = r.smelting.slag, r.smelting.slag.mass()
    share = dict(zip(slag.phase.names, (slag.species_mass() / mass[:, None]).T, strict=True))
    w = {oxide: share[name] for name, oxide in _VISCOUS.items()}
    magnetite = share["Fe3O4(slag)"]  # Fe3O4 = FeO + Fe2O3
    w["FeO"] = w["FeO"] + magnetite * M_FEO / M_FE3O4
    w["Fe2O3"] = magnetite * (1.0 - M_FEO / M_FE3O4)
    return utigard_warczok(w, slag.T)


def fuel_heat(r: Results) -> FloatN:
    """(N,) [W] fuel by lower heating value."""
    return r.smelting.heat.fuel * r.smelting.unit_fuel.heating_value


def evaporation(r: Results) -> FloatN:
    """(N,) [W] to evaporate the moisture of charge and flux at 25 degC."""
    s = r.smelting
    water = r.charge.material.water + s.silica_flux - s.unknowns.silica + s.lime_flux - s.unknowns.lime
    return water / WATER_MASS * WATER_EVAPORATION


def _heat_in_members(r: Results) -> list[str]:
    return ["reaction", *r.smelting.ledger.inputs]


def _heat_in(r: Results, item: str) -> FloatN:
    heat = heat_in(r.smelting.ledger, item, {"fuel": fuel_heat(r)})
    return heat + evaporation(r) if item == "reaction" else heat


def _heat_out_members(r: Results) -> list[str]:
    return [*r.smelting.ledger.outputs, "evaporation", "loss"]


def _heat_out(r: Results, item: str) -> FloatN:
    if item == "evaporation":
        return evaporation(r)
    ledger = r.smelting.ledger
    return ledger.heat_out["loss"] if item == "loss" else ledger.outputs[item].sensible


def _autogenous(r: Results) -> FloatN:
    solution = r.autogenous
    return np.where(solution.reason == Reason.SOLVED, solution.enrichment, np.nan)


def cold_charge_takes(r: Results) -> FloatN:
    """(N,) [J/kg] that own matte put back cold takes up."""
    matte = r.smelting.matte
    return matte.sensible_heat() / matte.mass()


def _cold_charge(r: Results) -> FloatN:
    share = r.smelting.heat.cold_charge
    return r.smelting.matte.mass() * share / (1.0 + share)


def _of_matte(r: Results, name: str) -> FloatN:
    matte = r.smelting.matte
    return matte.species_mass()[:, matte.phase.index(name)] / matte.mass()


def _dust_returned(r: Results) -> FloatN:
    """From the gas train where the case has one, else straight from the furnace."""
    caught = r.circuit.back.get("furnace_dust")
    return r.smelting.dust_returned.mass() if caught is None else caught.mass()


def _fuel_unit(r: Results) -> str:
    return "Nm3/h" if r.smelting.unit_fuel.is_gas else "t/h"


def _temperature(stream: Stream) -> FloatN:
    return stream.T


_READING = functools.partial(Reading, needs="smelting")

READINGS = (
    _READING(
        "smelting.oxygen.demand",
        "Nm3/h",
        "pure O2 to supply with the process gas for the charge, oxygen efficiency included, fuel not",
        lambda r: r.smelting.melt.oxygen_demand,
    ),
    _READING(
        "smelting.oxygen.per_tonne",
        "Nm3/t",
        "the same per tonne of dry concentrate",
        lambda r: r.smelting.melt.oxygen_demand / r.feed.dry_rate,
    ),
    _READING(
        "smelting.oxygen.for_fuel",
        "Nm3/h",
        "pure O2 blown for the fuel, excess included",
        lambda r: r.smelting.oxygen_for_fuel,
    ),
    _READING(
        "smelting.oxygen.industrial",
        "Nm3/h",
        "industrial oxygen delivered, at its purity",
        lambda r: r.smelting.heat.industrial,
    ),
    _READING("smelting.air", "Nm3/h", "air blown, dry", lambda r: r.smelting.heat.air),
    _READING(
        "smelting.process_gas",
        "Nm3/h",
        "air and industrial oxygen together, dry",
        lambda r: r.smelting.heat.air + r.smelting.heat.industrial,
    ),
    _READING("smelting.enrichment", "vol%", "O2 in the dry process gas", lambda r: r.smelting.enrichment),
    _READING("smelting.flux.silica", "t/h", "silica flux, wet as fed", lambda r: r.smelting.silica_flux),
    _READING("smelting.flux.lime", "t/h", "lime flux, wet as fed", lambda r: r.smelting.lime_flux),
    _READING("smelting.fuel", _fuel_unit, "fuel fired", lambda r: r.smelting.heat.fuel),
    _READING("smelting.fuel_heat", "MW", "fuel fired, by lower heating value", fuel_heat),
    _READING("smelting.cold_charge", "t/h", "own matte recycled cold to hold the heat", _cold_charge),
    _READING(
        "smelting.cold_charge_share",
        "%",
        "the same, of the matte tapped",
        lambda r: _cold_charge(r) / r.smelting.matte.mass(),
    ),
    _READING(
        "smelting.matte.rate",
        "t/h",
        "matte made: tapped, less what is recycled cold",
        lambda r: r.smelting.matte_made.mass(),
    ),
    _READING(
        "smelting.matte.tapped",
        "t/h",
        "matte tapped, what is recycled cold included",
        lambda r: r.smelting.matte.mass(),
    ),
    _READING("smelting.matte.temperature", "degC", "matte tapped", lambda r: r.smelting.matte.T),
    _READING(
        "smelting.matte.grade", "wt%", "copper in the matte", lambda r: element_share(r.smelting.matte, "Cu")
    ),
    _READING(
        "smelting.matte.assay.<X>",
        "wt%",
        "element in the matte",
        lambda r, e: element_share(r.smelting.matte, e),
        lambda r: present_elements(r.smelting.matte),
    ),
    _READING(
        "smelting.matte.metal",
        "wt%",
        "copper in the matte that no sulfur binds, where matte_sulfur or matte_iron implies it",
        lambda r: _of_matte(r, "Cu(l)"),
    ),
    _READING(
        "smelting.matte.other",
        "wt%",
        "matter in the matte that no assay names, where matte_iron implies it",
        lambda r: _of_matte(r, "Rest(slag)"),
    ),
    _READING("smelting.slag.rate", "t/h", "slag tapped", lambda r: r.smelting.slag.mass()),
    _READING("smelting.slag.temperature", "degC", "slag tapped", lambda r: r.smelting.slag.T),
    _READING(
        "smelting.slag.assay.<X>",
        "wt%",
        "oxide or element in the slag; Fe, Cu and S in every form",
        lambda r, name: slag_assay(r.smelting.slag, name),
        lambda r: slag_members(r.smelting.slag),
    ),
    _READING(
        "smelting.slag.fe_sio2",
        "-",
        "mass ratio of total Fe to SiO2",
        lambda r: r.smelting.melt.slag_iron * M_FE / r.smelting.melt.supply.silica,
    ),
    _READING(
        "smelting.slag.magnetite", "wt%", "Fe3O4 in the slag", lambda r: slag_assay(r.smelting.slag, "Fe3O4")
    ),
    _READING(
        "smelting.slag.copper",
        "wt%",
        "copper in the slag, all forms",
        lambda r: element_share(r.smelting.slag, "Cu"),
    ),
    _READING("smelting.slag.viscosity", "Pa s", "viscosity of the slag, free of solids", _viscosity),
    _READING(
        "smelting.gas.flow_wet",
        "Nm3/h",
        "gas leaving the uptake, in-leakage included",
        lambda r: r.smelting.gas.total(),
    ),
    _READING(
        "smelting.gas.flow_dry",
        "Nm3/h",
        "the same without water vapour",
        lambda r: r.smelting.gas.total() - r.smelting.gas.amount("H2O(g)"),
    ),
    *(
        _READING(
            f"smelting.gas.{name.lower()}",
            "vol%",
            f"{name} in the wet gas",
            lambda r, name=name: gas_share(r.smelting.gas, name),
        )
        for name in ("SO2", "O2", "N2", "CO2", "H2O")
    ),
    _READING(
        "smelting.gas.so2_dry",
        "vol%",
        "SO2 in the dry gas",
        lambda r: gas_share(r.smelting.gas, "SO2", dry=True),
    ),
    _READING("smelting.gas.temperature", "degC", "gas leaving the uptake", lambda r: r.smelting.gas.T),
    _READING(
        "smelting.gas.so2_load",
        "t/h",
        "SO2 that must be captured",
        lambda r: r.smelting.gas.amount("SO2(g)") * M_SO2,
    ),
    _READING(
        "smelting.gas.acid_equivalent",
        "t/d",
        "the same as 100 % H2SO4",
        lambda r: r.smelting.gas.amount("SO2(g)") * M_ACID,
    ),
    _READING(
        "smelting.dust.rate", "t/h", "dust carried out of the furnace", lambda r: r.smelting.dust.mass()
    ),
    _READING("smelting.dust.returned", "t/h", "dust recycled", _dust_returned),
    _READING(
        "smelting.dust.assay.<X>",
        "wt%",
        "element in the dust",
        lambda r, e: element_share(r.smelting.dust, e),
        lambda r: present_elements(r.smelting.dust),
    ),
    _READING(
        "smelting.heat.in.<X>",
        "MW",
        "sensible heat above 25 degC brought in; reaction heat at 25 degC; fuel by its lower heating value",
        _heat_in,
        _heat_in_members,
    ),
    _READING(
        "smelting.heat.out.<X>",
        "MW",
        "sensible heat above 25 degC carried out, melting and silicate formation "
        "included; evaporation of moisture; heat loss",
        _heat_out,
        _heat_out_members,
    ),
    _READING(
        "smelting.heat.total", "MW", "all heat in", lambda r: r.smelting.ledger.heat_total() + evaporation(r)
    ),
    _READING(
        "smelting.heat.surplus",
        "MW",
        "heat surplus; negative where heat is short",
        lambda r: r.smelting.heat.surplus,
    ),
    _READING(
        "smelting.heat.autogenous_enrichment",
        "vol%",
        "enrichment at which no fuel and no coolant is needed",
        _autogenous,
    ),
    _READING(
        "smelting.heat.cold_charge_to_absorb",
        "t/h",
        "own cold matte that would absorb the surplus",
        lambda r: np.maximum(r.smelting.heat.surplus, 0.0) / cold_charge_takes(r),
    ),
    _READING(
        "smelting.oxygen_potential",
        "-",
        "log10 of the oxygen pressure in atm where matte, slag and gas meet",
        lambda r: r.smelting.potentials.log10_po2_atm,
    ),
    _READING(
        "smelting.sulfur_potential",
        "-",
        "log10 of the S2 pressure in bar at the same place",
        lambda r: r.smelting.potentials.log_ps2 / np.log(10.0),
    ),
    _READING(
        "smelting.slag.magnetite_equilibrium",
        "wt%",
        "Fe3O4 of the local equilibrium, before the excess",
        lambda r: slag_assay(r.smelting.slag, "Fe3O4") * r.smelting.magnetite_equilibrium_share,
    ),
)
