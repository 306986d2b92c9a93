"""Readings of the plant as a whole: where each element goes, and how well everything closes."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.flowsheet.results import Results
from pyrobal.readings.registry import Reading
from pyrobal.thermo.elements import ELEMENTS

_ROUND = ("returned_dust", "cold_charge")  # inputs of the furnace that are its own products


def _elements(r: Results) -> list[str]:
    total = r.smelting.ledger.elements_in()
    return [e for e, x in zip(ELEMENTS, total.T, strict=True) if np.any(x > 0) and e != "Rest"]


def _net_out(r: Results, element: str) -> dict[str, FloatN]:
    """(N,) [mol/s] that leaves for good, by outlet."""
    i = ELEMENTS.index(element)
    ledger = r.smelting.ledger
    out = {name: entry.elements[:, i] for name, entry in ledger.outputs.items()}
    out["dust"] = out["dust"] - ledger.inputs["returned_dust"].elements[:, i]
    out["matte"] = out["matte"] - ledger.inputs["cold_charge"].elements[:, i]
    return out


def _deportment(r: Results, member: str) -> FloatN:
    element, outlet = member.split(".")
    out = _net_out(r, element)
    return out[outlet] / sum(out.values())


def _deportment_members(r: Results) -> list[str]:
    solids = [e for e in _elements(r) if e not in ("O", "H", "C", "N", "Ar")]
    return [f"{e}.{outlet}" for e in solids for outlet in r.smelting.ledger.outputs]


READINGS = (
    Reading(
        "recovery.Cu", "%", "copper to the matte, of all copper fed", lambda r: _deportment(r, "Cu.matte")
    ),
    Reading(
        "deportment.<X>",
        "%",
        "share of an element that leaves for good by an outlet",
        _deportment,
        _deportment_members,
    ),
    Reading(
        "balance.<X>.closure",
        "-",
        "(out - in) / in of an element over the furnace",
        lambda r, e: r.smelting.ledger.closure(e),
        _elements,
    ),
    Reading(
        "balance.heat.closure",
        "-",
        "heat in less heat out, over the heat turned over",
        lambda r: r.smelting.ledger.heat_closure(),
    ),
)
