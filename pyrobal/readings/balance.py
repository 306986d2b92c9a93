"""Readings of the plant as a whole: what it takes, where each element goes, how well everything closes."""

from __future__ import annotations

import functools

import numpy as np

from pyrobal.arrays import FloatN, ratio, total
from pyrobal.flowsheet.results import Results
from pyrobal.readings.reading import Reading
from pyrobal.readings.smelting import fuel_heat
from pyrobal.thermo.elements import ELEMENTS

_COPPER = ("smelting.matte", "converting.blister", "anode_furnace.anodes", "electrorefining.cathode",
           "electrorefining.electrolyte")  # fmt: skip
_SLIMES = "electrorefining.slimes"
_PAID: dict[str, tuple[str, ...]] = {"Cu": (), "Au": (_SLIMES,), "Ag": (_SLIMES,)}  # and what else sells it
_TRACE = 1e-9  # of what leaves in all: where all of an outlet is put back, what the recycle is off by is left


def _elements(r: Results) -> list[str]:
    there = (r.ledger.elements_in() > 0).any(axis=0)
    return [e for e, x in zip(ELEMENTS, np.atleast_1d(there), strict=True) if x and e != "Rest"]


def _out(r: Results, element: str) -> dict[str, FloatN]:
    """(N,) [mol/s] that leaves for good, by outlet."""
    i = ELEMENTS.index(element)
    return {name: entry.elements[:, i] for name, entry in r.ledger.outputs.items()}


def _deportment(r: Results, member: str) -> FloatN:
    element, outlet = member.split(".", 1)
    out = _out(r, element)
    return out[outlet] / total(out.values())


def _deportment_members(r: Results) -> list[str]:
    solids = [e for e in _elements(r) if e not in ("O", "H", "C", "N", "Ar")]
    found = []
    for e in solids:
        out = _out(r, e)
        least = _TRACE * np.abs(total(out.values()))
        found += [f"{e}.{outlet}" for outlet, n in out.items() if not (np.abs(n) <= least).all()]
    return found


def _metals(r: Results) -> list[str]:
    return [e for e in _elements(r) if e in _PAID]


def _recovery(r: Results, metal: str) -> FloatN:
    """(N,) of what a metal is sold in, of all fed; nought where none is."""
    fed = r.ledger.elements_in()[:, ELEMENTS.index(metal)]
    sold = (*_COPPER, *_PAID[metal])
    kept = total(n for name, n in _out(r, metal).items() if name in sold)
    return ratio(kept, fed)


def _recovered(r: Results, metal: str) -> FloatN:
    """(N,) [kg/s]; what reverts bring was the plant's own."""
    return r.feed.elements[:, ELEMENTS.index(metal)] * _recovery(r, metal)


def _heat_closure(r: Results) -> FloatN:
    """(N,) the largest of the steps', with its sign."""
    closures = [ledger.heat_closure() for ledger in r.ledgers().values()]
    return functools.reduce(lambda a, b: np.where(np.abs(b) > np.abs(a), b, a), closures)


def _industrial_oxygen(r: Results) -> FloatN:
    return r.smelting.heat.industrial + (r.converting.industrial if r.converting is not None else 0.0)


def fired(r: Results) -> dict[tuple[str, str], FloatN]:
    """(Step, input of its ledger) -> (N,) [W] fuels and reductants by lower heating value."""
    found = {}
    if r.smelting is not None:
        found["smelting", "fuel"] = fuel_heat(r)
    if r.dryer is not None:
        found["dryer", "fuel"] = r.dryer.heat
    if (anode := r.anode_furnace) is not None:
        found["anode_furnace", "fuel"] = anode.fuel * anode.unit_fuel.heating_value
        found["anode_furnace", "reductant"] = anode.reductant * anode.unit_reductant.heating_value
    if r.slag_cleaning is not None and r.slag_cleaning.unit_reductant is not None:
        heat = r.slag_cleaning.reductant * r.slag_cleaning.unit_reductant.heating_value
        found["slag_cleaning", "reductant"] = heat
    return found


def _flux(r: Results) -> FloatN:
    flux = r.smelting.silica_flux + r.smelting.lime_flux
    return flux + (r.converting.silica_flux + r.converting.lime_flux if r.converting is not None else 0.0)


def _power(r: Results) -> FloatN:
    """(N,) [W] that ledgers name: furnaces, cells, fans and the acid plant's blower."""
    drawn = ("power", "shaft", "blower")
    items = r.ledger.heat_out.items()
    return total(-heat for name, heat in items if name.rpartition(".")[2] in drawn)


def _matte_with_schedule(r: Results) -> FloatN:
    assert r.load is not None and r.converting is not None
    return r.converting.matte.mass()


def _concentrate_with_schedule(r: Results) -> FloatN:
    """In proportion: with less concentrate the steady gas falls too, so a limit leaves a little more room."""
    assert r.load is not None
    return r.feed.dry_rate * r.load.blown


def _copper_with_schedule(r: Results) -> FloatN:
    """Copper of the cycles there is time for."""
    assert r.load is not None and r.converting is not None and r.converting.cycle is not None
    return r.load.cycles * r.converting.cycle.blister


_READING = functools.partial(Reading, needs="ledger")
_PLANT = functools.partial(Reading, needs="ledger+smelting")

READINGS = (
    _READING(
        "load.copper", "t/d", "blister copper that the vessels make with this schedule",
        _copper_with_schedule, needs="load",
    ),
    _READING("load.matte", "t/h", "matte that the vessels blow with this schedule", _matte_with_schedule,
             needs="load"),
    _READING("load.concentrate", "t/h", "dry concentrate for that much matte, in proportion",
             _concentrate_with_schedule, needs="load"),
    _PLANT("plant.oxygen", "Nm3/h", "industrial oxygen of all furnaces, at its purity", _industrial_oxygen),
    _PLANT(
        "plant.fuel_heat", "MW", "fuels and reductants of all steps, by lower heating value",
        lambda r: total(fired(r).values()),
    ),
    _PLANT("plant.flux", "t/h", "fluxes of all furnaces, wet", _flux),
    _READING(
        "plant.power", "MW", "electric power of furnace, cells, fans and blower; oxygen plant and drives not",
        _power,
    ),
    _PLANT(
        "recovery.<X>", "%", "metal in the last copper product, gold and silver also in slimes, of all fed",
        _recovery, _metals,
    ),
    _PLANT("recovered.<X>", "kg/h", "the same share of the metal in concentrates", _recovered, _metals),
    _READING(
        "deportment.<X>", "%", "share of an element that leaves the plant for good by an outlet",
        _deportment, _deportment_members,
    ),
    _READING(
        "balance.<X>.closure", "-", "(out - in) / in of an element at the plant boundary",
        lambda r, e: r.ledger.closure(e), _elements,
    ),
    _READING(
        "balance.heat.closure", "-", "heat in less heat out over the heat turned over, of the worst step",
        _heat_closure,
    ),
)  # fmt: skip
