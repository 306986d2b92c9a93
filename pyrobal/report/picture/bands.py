"""What goes from step to step, from outside and to outside, as the bands of the picture.

Flows of one kind between the same two places are one band, so that what enters a step in the picture leaves
it, for mass and for every element. So it is for heat, together with the heat that no stream carries.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np

from pyrobal.arrays import Floats, total
from pyrobal.constants import MW, TONNE_PER_HOUR
from pyrobal.errors import Reason
from pyrobal.readings.balance import fired
from pyrobal.report.flows import Flow, Place, ledgers
from pyrobal.report.numbers import number
from pyrobal.report.result import Line, Result
from pyrobal.report.tables import Cell, Column, Table, words
from pyrobal.thermo.elements import ELEMENTS

MASS: Final = "mass"
HEAT: Final = "heat"
KINDS: Final = ("metal", "slag", "gas", "dust", "water", "fuel", "heat")
_ROUNDING: Final = 1e-9  # of the largest flow: below it there is nothing
_TOLD: Final = 6  # elements told of a band
_OFFERED: Final = ("Cu", "S", "Fe", "As")  # beside the mass
_UNOFFERED: Final = ("H", "C", "N", "O", "Ar", "Rest")


class Matter(NamedTuple):
    """What a stream is called in the picture, and its kind."""

    name: str
    kind: str


_REACTION: Final = {True: Matter("heat of reaction", "heat"), False: Matter("taken up by reactions", "heat")}
_ON_THE_WAY: Final = Matter("lost on the way", "heat")
_WITHOUT_MATTER: Final[Mapping[str, str]] = {  # heat that no stream carries: in a ledger -> in the picture
    "loss": "heat lost", "shaft": "power", "blower": "power", "spare": "heat to recover",
    "cells": "heat of cells",
    "ladles": "lost by ladles", "frozen_matte": "freezing of matte",
}  # fmt: skip
_FEED: Final = Matter("concentrate", "metal")  # whatever comes under a user's own name
_GATHERED: Final[Mapping[str, str]] = {  # streams that stand together in the picture -> what they are called
    **dict.fromkeys(("air", "in_leakage", "hood_air", "leak", "oxidation_air", "burner_air", "sulfation_air"),
                    "air drawn in"),
    **dict.fromkeys(("spray", "process_water", "dilution_water"), "water"),
    **dict.fromkeys(("weak_acid", "condensate", "drain"), "weak acid, water"),
    **dict.fromkeys(("emitted_dust", "carried_to_acid", "carried_to_stack"), "dust"),
    "blast": "process gas", "scrap": "anode scrap", "rejects": "reject anodes", "stack_gas": "gas to stack",
    "electrolyte": "electrolyte bleed", "concentrate": "slag concentrate", "tail_mist": "acid mist",
    "matte_aside": "matte put aside", "stack_carried": "dust to stack",
    "gas_taken_up_by_dust": "gas for sulfation",
}  # fmt: skip
_TOLD_BY: Final = (  # the first of these words in a name says what kind of matter it is; else it bears metal
    ("dust", "dust"), ("fuel", "fuel"), ("reductant", "fuel"), ("acid", "water"), ("water", "water"),
    ("gas", "gas"), ("air", "gas"), ("concentrate", "metal"), ("slag", "slag"), ("flux", "slag"),
    ("tailings", "slag"),
)  # fmt: skip

# Step and stream -> what matters of it: readings, of which the first there is is taken, and words behind.
_Told = tuple[tuple[tuple[str, ...], str], ...]
_FIGURES: Final[Mapping[Place, _Told]] = {
    ("smelting", "matte"): ((("smelting.matte.grade",), "% Cu"),),
    ("smelting", "slag"): (
        (("smelting.slag.copper",), "% Cu"), (("smelting.slag.magnetite",), "% Fe3O4"),
    ),
    ("smelting", "gas"): (
        (("gas.furnace.flow_wet", "smelting.gas.flow_wet"), "Nm3/h"), (("smelting.gas.so2",), "% SO2"),
    ),
    ("slag_cleaning", "slag"): ((("slag_cleaning.slag.copper",), "% Cu"),),
    ("slag_cleaning", "matte"): ((("slag_cleaning.matte.grade",), "% Cu"),),
    ("slag_cleaning", "gas"): ((("slag_cleaning.gas.flow_wet",), "Nm3/h"),),
    ("converting", "slag"): (
        (("converting.slag.copper",), "% Cu"), (("converting.slag.magnetite",), "% Fe3O4"),
    ),
    ("converting", "gas"): (
        (("gas.converter.flow_wet", "converting.gas.flow_wet"), "Nm3/h"), (("converting.gas.so2",), "% SO2"),
    ),
    ("anode_furnace", "gas"): ((("gas.anode.flow_wet", "anode.gas.flow_wet"), "Nm3/h"),),
    ("gas_train", "cleaned_gas"): (
        (("gas.dilution.flow_wet",), "Nm3/h"), (("gas.dilution.so2",), "% SO2"),
    ),
    ("acid_plant", "tail_gas"): ((("acid.tail.so2",), "ppm SO2"),),
}  # fmt: skip
_COPPER: Final = ("blister", "anodes", "cathode", "slimes", "tailings", "concentrate")  # told by their copper
_CU: Final = ELEMENTS.index("Cu")


@dataclass(frozen=True, eq=False)
class Band:
    """One stream of the picture.

    source, target : steps, "" where it comes from outside or leaves
    elements : (E,) [kg/s], none of which is heat without matter; heat : [W], see ``Flow``
    figure : what matters of it besides its rate
    Both are nan where no step at its ends has an answer, heat also where what makes it has none.
    """

    source: str
    target: str
    matter: Matter
    elements: Floats
    heat: float
    figure: str = ""

    @property
    def place(self) -> tuple[str, str, str]:
        """What makes it the same stream in two plants."""
        return self.source, self.target, self.matter.name

    @property
    def known(self) -> bool:
        """Whether there is an answer to how much it is."""
        return not np.isnan(self.elements).any()

    def rate(self, quantity: str) -> float:
        """[t/h] of ``MASS`` or of one element; [MW] of ``HEAT``."""
        if quantity == HEAT:
            return self.heat / MW
        amount = self.elements.sum() if quantity == MASS else self.elements[ELEMENTS.index(quantity)]
        return float(amount) / TONNE_PER_HOUR

    @property
    def told(self) -> str:
        """The band in one line: what, from where, how much, of what."""
        ends = " to ".join(words(end) if end else "outside" for end in (self.source, self.target))
        heat = f"{number(self.rate(HEAT), 3)} MW"
        if not self.known:
            return f"{self.matter.name}, {ends}: no solution"
        if self.matter.kind == "heat":
            return f"{self.matter.name}, {ends}: {heat}"
        shares = sorted(zip(self.elements / self.elements.sum(), ELEMENTS, strict=True), reverse=True)[:_TOLD]
        held = ", ".join(f"{e} {number(100 * x, 3)} %" for x, e in shares if x > _ROUNDING)
        beside = f", {self.figure}" if self.figure else ""
        rate = f"{number(self.rate(MASS))} t/h{beside}"
        return f"{self.matter.name}, {ends}: {rate}; elements by mass: {held}; {heat}"


def bands(result: Result, quantity: str = MASS) -> list[Band]:
    """The streams of a single solved case, in plant order; for ``HEAT`` what carries heat, streams or not.

    The streams of steps without an answer are there, but how much they are is not known.
    """
    flows = result.flows
    merged: dict[tuple[str, str, Matter], list[tuple[Place, Floats, float]]] = {}
    for source, target, place, elements, heat in (_ends(flow, flows) for flow in flows):
        if elements.any():
            merged.setdefault((source, target, _matter(place)), []).append((place, elements, heat))
    found = [
        Band(source, target, matter, np.sum([v for _, v, _ in parts], axis=0), sum(h for *_, h in parts),
             _figure(result.by_key, parts))
        for (source, target, matter), parts in merged.items()
    ]  # fmt: skip
    least = _ROUNDING * max((band.elements.sum() for band in found), default=0.0)
    found = [band for band in found if band.elements.sum() > least]
    if quantity == HEAT:
        found += _without_matter(result, flows)
        least = _ROUNDING * max((abs(band.heat) for band in found), default=0.0)
        found = [b for b in found if (b.source and b.target) or not abs(b.heat) <= least]
    silent = unsolved(result)
    return [b if _answered(b, silent) else _unknown(b) for b in found]


def unsolved(result: Result) -> dict[str, str]:
    """Step -> why it has no answer."""
    reasons = result.results.unsolved.reasons
    found = {step: Reason(int(reasons[step][0])) for step in steps(result)}
    failed = result.results.unsolved.failed(0)
    return {
        step: reason.text if step == failed or failed not in found else f"depends on {words(failed)}"
        for step, reason in found.items()
        if reason is not Reason.SOLVED
    }


def _answered(band: Band, silent: Collection[str]) -> bool:
    """Whether it is known how much it is: a step at one of its ends has an answer, or the case gives it."""
    ends = {band.source, band.target} - {""}
    return not ends <= set(silent) or (not band.source and band.matter == _FEED)


def _unknown(band: Band) -> Band:
    return replace(band, elements=np.full(len(ELEMENTS), math.nan), heat=math.nan, figure="")


def _without_matter(result: Result, flows: Sequence[Flow]) -> list[Band]:
    """Heat of reaction, heat given off and power, and what streams lose on the way to each step."""
    burnt, found = fired(result.results), []
    for step, book in ledgers(result.results).items():
        fuels = [heat for (place, _), heat in burnt.items() if place == step]
        taken = total(e.sensible for e in book.inputs.values()) + total(fuels)
        handed = sum(f.heat for f in flows if f.target == (step,))
        reaction = float((book.reaction_heat() - total(fuels))[0])
        heats = {_REACTION[reaction > 0]: -reaction, _ON_THE_WAY: handed - float(taken[0])}
        for name, heat in book.heat_out.items():
            last = name.rpartition(".")[2]
            matter = Matter(_WITHOUT_MATTER.get(last, words(last)), "heat")
            heats[matter] = heats.get(matter, 0.0) + float(heat[0])
        for matter, out in heats.items():
            ends = (step, "") if out > 0 else ("", step)
            found.append(Band(*ends, matter, np.zeros(len(ELEMENTS)), abs(out)))
    return found


def steps(result: Result) -> list[str]:
    """The steps that are drawn, as the material goes; slag cleaning stands behind both furnaces."""
    found = list(ledgers(result.results))
    if "slag_cleaning" in found and "converting" in found:
        found.remove("slag_cleaning")
        found.insert(found.index("converting") + 1, "slag_cleaning")
    return found


def quantities(drawn: Sequence[Band]) -> list[str]:
    """What the bands can show: mass, the elements asked for most, then the others that are there."""
    if any(band.matter.kind == "heat" for band in drawn):
        return [HEAT]
    there = np.any([band.elements > 0 for band in drawn], axis=0) if drawn else np.zeros(len(ELEMENTS), bool)
    others = [e for e in ELEMENTS if e not in (*_OFFERED, *_UNOFFERED)]
    return [MASS, *(e for e in (*_OFFERED, *others) if there[ELEMENTS.index(e)])]


def table(drawn: Sequence[Band]) -> Table:
    """The numbers of the picture, heat without matter too where it is drawn."""
    offered = quantities([band for band in drawn if band.matter.kind != "heat"])
    columns = (Column("from"), Column("to"), Column("stream"), *(Column(q, "t/h") for q in offered))
    columns = (*columns, Column(HEAT, "MW"))
    rows: list[tuple[Cell, ...]] = []
    for band in drawn:
        ends = (words(end) if end else "outside" for end in (band.source, band.target))
        matter = ("",) * len(offered) if band.matter.kind == "heat" else (band.rate(q) for q in offered)
        rows.append((*ends, band.matter.name, *matter, band.rate(HEAT)))
    return Table("Streams from step to step", columns, tuple(rows), stub=3)


def _ends(flow: Flow, flows: Sequence[Flow]) -> tuple[str, str, Place, Floats, float]:
    """The steps at its two ends, what it is, and how much: of a product what no step takes, which leaves."""
    if len(flow.target) == 1:
        return flow.source[0], flow.target[0], flow.source, flow.elements, flow.heat
    taken = [f for f in flows if f.source == flow.target]
    left = flow.elements - sum((f.elements for f in taken), 0.0 * flow.elements)
    left = np.where(np.abs(left) > _ROUNDING * flow.elements, left, 0.0)
    return flow.target[0], "", flow.target, left, flow.heat - sum(f.heat for f in taken)


def _matter(place: Place) -> Matter:
    named = place[1] if place[:2] == ("", "reverts") else place[-1]
    last = named.rpartition(".")[2].removesuffix("_leaving")
    if len(place) == 2 and place[0] in ("", "dryer") and last not in ("reverts", "gas", "dust"):
        return _FEED
    name = _GATHERED.get(last, words(last))
    return Matter(name, next((kind for word, kind in _TOLD_BY if word in name), "metal"))


def _figure(readings: Mapping[str, Line], parts: Sequence[tuple[Place, Floats, float]]) -> str:
    place = parts[0][0]
    if place[-1] in _COPPER:
        elements = parts[0][1]
        return f"{number(100 * float(elements[_CU] / elements.sum()), 3)} % Cu"
    told = _FIGURES.get(place, ()) if len(parts) == 1 else ()
    shown = []
    for keys, behind in told:
        values = (readings[key].value for key in keys if key in readings)
        value = next((x for x in values if not math.isnan(x)), None)
        shown += [] if value is None else [f"{number(value, 3)} {behind}"]
    return ", ".join(shown)
