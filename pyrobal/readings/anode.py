"""Readings of the anode furnace and of casting."""

from __future__ import annotations

import functools
from collections.abc import Callable

from pyrobal.arrays import FloatN
from pyrobal.flowsheet.results import Results
from pyrobal.plant.anode_furnace import AnodeFurnaceResult
from pyrobal.readings.assay import M_CO2, element_share, gas_share, present_elements
from pyrobal.readings.heat import heat_in, heat_in_items, heat_out, heat_out_items
from pyrobal.readings.reading import Reading
from pyrobal.streams.fuel import Fuel
from pyrobal.streams.stream import Stream
from pyrobal.thermo.acid_solution import M_SO2
from pyrobal.thermo.elements import ATOMIC_MASS_OF

_M_O = ATOMIC_MASS_OF["O"]


def furnace(r: Results) -> AnodeFurnaceResult:
    """The anode furnace of a case that has one."""
    assert r.anode_furnace is not None
    return r.anode_furnace


def _of(compute: Callable[[AnodeFurnaceResult], FloatN]) -> Callable[[Results], FloatN]:
    return lambda r: compute(furnace(r))


def _share(element: str) -> Callable[[Results], FloatN]:
    return lambda r: element_share(furnace(r).anodes, element)


def _gas(compute: Callable[[Stream], FloatN]) -> Callable[[Results], FloatN]:
    return lambda r: compute(furnace(r).gas)


def _unit(fuel: Fuel) -> str:
    return "Nm3/h" if fuel.is_gas else "t/h"


def _carbon_dioxide(f: AnodeFurnaceResult) -> FloatN:
    return (f.reductant * f.unit_reductant.count("C") + f.fuel * f.unit_fuel.count("C")) * M_CO2


def _heat_in(r: Results, item: str) -> FloatN:
    f = furnace(r)
    reductant = f.reductant * f.unit_reductant.heating_value
    return heat_in(f.ledger, item, {"fuel": f.fuel * f.unit_fuel.heating_value, "reductant": reductant})


_READING = functools.partial(Reading, needs="anode_furnace")

READINGS = (
    _READING("anode.rate", "t/h", "good anodes", _of(lambda f: f.anodes.mass())),
    _READING("anode.cast", "t/h", "copper cast, rejects included", _of(lambda f: f.copper.mass())),
    _READING("anode.per_hour", "1/h", "good anodes", _of(lambda f: f.anodes_per_second)),
    _READING("anode.mass", "kg", "one anode", _of(lambda f: f.settings.anode_mass)),
    _READING("anode.rejects", "t/h", "rejected anodes", _of(lambda f: f.rejects.mass())),
    _READING("anode.copper", "wt%", "copper in the anodes", _share("Cu")),
    _READING("anode.oxygen", "wt%", "oxygen in the anodes", _share("O")),
    _READING("anode.sulfur", "wt%", "sulfur in the anodes", _share("S")),
    _READING("anode.assay.<X>", "wt%", "element in the anodes",
             lambda r, element: element_share(furnace(r).anodes, element),
             lambda r: present_elements(furnace(r).anodes)),
    _READING("anode.temperature", "degC", "copper as cast", _of(lambda f: f.copper.T)),
    _READING("anode.slag.rate", "t/h", "slag skimmed", _of(lambda f: f.slag.mass())),
    _READING("anode.slag.assay.<X>", "wt%", "element in the skimmed slag",
             lambda r, element: element_share(furnace(r).slag, element),
             lambda r: present_elements(furnace(r).slag)),
    _READING("anode.oxidation_air", "Nm3/h", "air blown in, wet", _of(lambda f: f.oxidation_air.total())),
    _READING("anode.oxygen_removed", "kg/t", "oxygen the reductant takes, per tonne of copper cast",
             _of(lambda f: f.refined.removed * _M_O / f.copper.mass())),
    _READING("anode.reductant", lambda r: _unit(furnace(r).unit_reductant), "reductant blown in",
             _of(lambda f: f.reductant)),
    _READING("anode.reductant_energy", "MJ/t", "the same by lower heating value, per tonne of copper cast",
             _of(lambda f: f.reductant * f.unit_reductant.heating_value / f.copper.mass())),
    _READING("anode.fuel", lambda r: _unit(furnace(r).unit_fuel), "burner fuel", _of(lambda f: f.fuel)),
    _READING("anode.fuel_heat", "MW", "the same by lower heating value",
             _of(lambda f: f.fuel * f.unit_fuel.heating_value)),
    _READING("anode.co2", "t/h", "CO2 from the carbon of reductant and fuel", _of(_carbon_dioxide)),
    _READING("anode.so2", "t/h", "SO2 blown out of the copper", _of(lambda f: f.refined.so2 * M_SO2)),
    _READING("anode.gas.flow_wet", "Nm3/h", "gas after the hood, burnt out", _gas(Stream.total)),
    _READING("anode.gas.flow_dry", "Nm3/h", "the same without water vapour",
             _gas(lambda x: x.total() - x.amount("H2O(g)"))),
    *(_READING(f"anode.gas.{name.lower()}", "vol%", f"{name} in the wet gas",
               _gas(functools.partial(gas_share, name=name))) for name in ("SO2", "O2", "N2", "CO2", "H2O")),
    _READING("anode.gas.temperature", "degC", "gas after the hood", _gas(lambda x: x.T)),
    _READING("anode.dust.rate", "t/h", "fume carried by the gas", _of(lambda f: f.dust.mass())),
    _READING("anode.heat.in.<X>", "MW",
             "sensible heat; fuel and reductant by lower heating value; other reaction heat at 25 degC",
             _heat_in, lambda r: heat_in_items(furnace(r).ledger)),
    _READING("anode.heat.out.<X>", "MW", "sensible heat carried out, heat of casting, heat lost",
             lambda r, item: heat_out(furnace(r).ledger, item), lambda r: heat_out_items(furnace(r).ledger)),
    _READING("anode.heat.surplus", "MW", "heat surplus", _of(lambda f: f.surplus)),
)  # fmt: skip
