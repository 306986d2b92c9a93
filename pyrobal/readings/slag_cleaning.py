"""Readings of slag cleaning."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.dimensions import constant
from pyrobal.flowsheet.results import Results
from pyrobal.plant.slag_cleaning import SlagCleaningResult
from pyrobal.plant.slag_cleaning.settings import KINDS
from pyrobal.readings.assay import (
    M_CO2,
    element_share,
    gas_share,
    present_elements,
    slag_assay,
    slag_members,
)
from pyrobal.readings.heat import heat_in, heat_in_items, heat_out, heat_out_items
from pyrobal.readings.reading import Reading
from pyrobal.streams.stream import Stream
from pyrobal.thermo.properties import species

_M_WATER = constant(float(species("H2O(l)").molar_mass[0]), "kg/mol", "atomic masses")


@dataclass(frozen=True)
class _OfKind(Reading):
    """A reading that only some kinds of slag cleaning have."""

    kinds: tuple[str, ...] = KINDS
    needs: str = "slag_cleaning"

    def present(self, results: Results) -> bool:
        return super().present(results) and cleaning(results).settings.kind in self.kinds


def cleaning(r: Results) -> SlagCleaningResult:
    """The slag cleaning of a case that has it."""
    assert r.slag_cleaning is not None
    return r.slag_cleaning


def _of(outlet: str, compute: Callable[[Stream], FloatN]) -> Callable[[Results], FloatN]:
    """Of a stream the kind has."""
    return lambda r: compute(_stream(r, outlet))


def _stream(r: Results, outlet: str) -> Stream:
    stream: Stream = getattr(cleaning(r), outlet)
    return stream


def _members(outlet: str) -> Callable[[Results], Sequence[str]]:
    return lambda r: present_elements(_stream(r, outlet))


def _element(outlet: str) -> Callable[[Results, str], FloatN]:
    return lambda r, element: element_share(_stream(r, outlet), element)


def _dry(concentrate: Stream) -> FloatN:
    return concentrate.mass() - concentrate.amount("H2O(l)") * _M_WATER


def _grade(concentrate: Stream) -> FloatN:
    return element_share(concentrate, "Cu") * concentrate.mass() / _dry(concentrate)


def _metal(matte: Stream) -> FloatN:
    index = matte.phase.index("Cu(l)")
    metal = np.maximum(
        matte.n[:, index], 0.0
    )  # where there is none the solver leaves a rounding, of either sign
    return metal * matte.phase.molar_mass[index] / matte.mass()


def _reductant_unit(r: Results) -> str:
    fuel = cleaning(r).unit_reductant
    return "Nm3/h" if fuel is not None and fuel.is_gas else "t/h"


def _carbon_dioxide(r: Results) -> FloatN:
    c = cleaning(r)
    assert c.unit_reductant is not None
    return c.reductant * c.unit_reductant.count("C") * M_CO2


def _heat_in(r: Results, item: str) -> FloatN:
    c = cleaning(r)
    if c.unit_reductant is None:
        return heat_in(c.ledger, item, {})
    return heat_in(c.ledger, item, {"reductant": c.reductant * c.unit_reductant.heating_value})


_ANY = functools.partial(_OfKind, kinds=KINDS)
_ELECTRIC = functools.partial(_OfKind, kinds=("electric_furnace",))
_FLOTATION = functools.partial(_OfKind, kinds=("flotation",))

READINGS = (
    _ANY("slag_cleaning.fed", "t/h", "slag that comes in", lambda r: cleaning(r).fed),
    _ANY("slag_cleaning.copper_recovery", "%", "copper not discarded, of that in the slag fed",
         lambda r: cleaning(r).recovery),
    _ANY("slag_cleaning.slag.rate", "t/h", "slag discarded: cleaned slag or tailings",
         _of("slag", Stream.mass)),
    _ANY("slag_cleaning.slag.temperature", "degC", "slag discarded", _of("slag", lambda x: x.T)),
    _ANY("slag_cleaning.slag.copper", "wt%", "copper in the slag discarded, all forms",
         _of("slag", lambda x: element_share(x, "Cu"))),
    _ELECTRIC("slag_cleaning.slag.suspended_copper", "wt%", "of which as matte that did not settle",
              lambda r: cleaning(r).suspended),
    _ANY("slag_cleaning.slag.magnetite", "wt%", "Fe3O4 in the slag discarded",
         _of("slag", lambda x: slag_assay(x, "Fe3O4"))),
    _ANY("slag_cleaning.slag.assay.<X>", "wt%", "oxide or element in the slag discarded",
         lambda r, name: slag_assay(cleaning(r).slag, name), lambda r: slag_members(cleaning(r).slag)),
    _ELECTRIC("slag_cleaning.matte.rate", "t/h", "matte tapped from the electric furnace",
              _of("matte", Stream.mass)),
    _ELECTRIC("slag_cleaning.matte.temperature", "degC", "matte tapped", _of("matte", lambda x: x.T)),
    _ELECTRIC("slag_cleaning.matte.grade", "wt%", "copper in that matte",
              _of("matte", lambda x: element_share(x, "Cu"))),
    _ELECTRIC("slag_cleaning.matte.metal", "wt%", "copper metal in that matte", _of("matte", _metal)),
    _ELECTRIC("slag_cleaning.matte.assay.<X>", "wt%", "element in that matte",
              _element("matte"), _members("matte")),
    _FLOTATION("slag_cleaning.concentrate.rate", "t/h", "slag concentrate, dry", _of("concentrate", _dry)),
    _FLOTATION("slag_cleaning.concentrate.wet_rate", "t/h", "slag concentrate with its moisture",
               _of("concentrate", Stream.mass)),
    _FLOTATION("slag_cleaning.concentrate.grade", "wt%", "copper in the dry slag concentrate",
               _of("concentrate", _grade)),
    _ELECTRIC("slag_cleaning.reductant", _reductant_unit, "reductant charged",
              lambda r: cleaning(r).reductant),
    _ELECTRIC("slag_cleaning.co2", "t/h", "CO2 from the carbon of the reductant", _carbon_dioxide),
    _ANY("slag_cleaning.power", "MW", "drawn from the grid", lambda r: cleaning(r).power),
    _ANY("slag_cleaning.energy_per_tonne", "kWh/t", "the same per tonne of slag fed",
         lambda r: cleaning(r).power_per_mass),
    _ELECTRIC("slag_cleaning.air", "Nm3/h", "air drawn in over the slag, wet", _of("air", Stream.total)),
    _ELECTRIC("slag_cleaning.gas.flow_wet", "Nm3/h", "burnt gas", _of("gas", Stream.total)),
    _ELECTRIC("slag_cleaning.gas.flow_dry", "Nm3/h", "the same without water vapour",
              _of("gas", lambda x: x.total() - x.amount("H2O(g)"))),
    *(_ELECTRIC(f"slag_cleaning.gas.{name.lower()}", "vol%", f"{name} in the wet gas",
                _of("gas", functools.partial(gas_share, name=name)))
      for name in ("SO2", "O2", "N2", "CO2", "H2O")),
    _ELECTRIC("slag_cleaning.gas.temperature", "degC", "burnt gas", _of("gas", lambda x: x.T)),
    _ELECTRIC("slag_cleaning.dust.rate", "t/h", "fume carried by the gas", _of("dust", Stream.mass)),
    _ELECTRIC("slag_cleaning.dust.assay.<X>", "wt%", "element in the fume",
              _element("dust"), _members("dust")),
    _ANY("slag_cleaning.heat.in.<X>", "MW",
         "sensible heat; power to the bath; reductant by lower heating value; other reaction heat at 25 degC",
         _heat_in, lambda r: heat_in_items(cleaning(r).ledger)),
    _ANY("slag_cleaning.heat.out.<X>", "MW", "sensible heat carried out, heat lost",
         lambda r, item: heat_out(cleaning(r).ledger, item), lambda r: heat_out_items(cleaning(r).ledger)),
    _ELECTRIC("slag_cleaning.heat.surplus", "MW", "heat surplus of the bath", lambda r: cleaning(r).surplus),
)  # fmt: skip
