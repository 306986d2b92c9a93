"""What goes from step to step, from outside and to outside, as the bands of the picture.

Flows of one kind between the same two places are one band, so that what enters a step in the picture leaves
it, for mass and for every element.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from pyrobal.arrays import Floats
from pyrobal.constants import TONNE_PER_HOUR
from pyrobal.report.flows import Flow, Place, element_flows, ledgers
from pyrobal.report.numbers import number
from pyrobal.report.result import Result
from pyrobal.report.tables import Cell, Column, Table, words
from pyrobal.thermo.elements import ELEMENTS

MASS: Final = "mass"
KINDS: Final = ("metal", "slag", "gas", "dust", "water", "fuel")
_ROUNDING: Final = 1e-9  # of the largest flow: below it there is nothing
_TOLD: Final = 6  # elements told of a band
_OFFERED: Final = ("Cu", "S", "Fe", "As")  # beside the mass
_UNOFFERED: Final = ("H", "C", "N", "O", "Ar", "Rest")


class Matter(NamedTuple):
    """What a stream is called in the picture, and its kind."""

    name: str
    kind: str


_FEED: Final = Matter("concentrate", "metal")  # whatever comes under a user's own name
_GATHERED: Final[Mapping[str, str]] = {  # streams that stand together in the picture -> what they are called
    **dict.fromkeys(("air", "in_leakage", "hood_air", "leak", "oxidation_air", "burner_air", "sulfation_air"),
                    "air drawn in"),
    **dict.fromkeys(("spray", "process_water", "dilution_water"), "water"),
    **dict.fromkeys(("weak_acid", "condensate", "drain"), "weak acid, water"),
    **dict.fromkeys(("emitted_dust", "carried_to_acid", "carried_to_stack"), "dust"),
    "blast": "process gas", "scrap": "anode scrap", "rejects": "reject anodes", "stack_gas": "gas to stack",
    "electrolyte": "electrolyte bleed", "concentrate": "slag concentrate", "tail_mist": "acid mist",
    "matte_aside": "matte put aside", "gas_taken_up_by_dust": "gas for sulfation",
}  # fmt: skip
_TOLD_BY: Final = (  # the first of these words in a name says what kind of matter it is; else it bears metal
    ("dust", "dust"), ("fuel", "fuel"), ("reductant", "fuel"), ("acid", "water"), ("water", "water"),
    ("gas", "gas"), ("air", "gas"), ("concentrate", "metal"), ("slag", "slag"), ("flux", "slag"),
    ("tailings", "slag"),
)  # fmt: skip

# Step and stream -> readings that say what matters of it, each with what stands behind the number.
_FIGURES: Final[Mapping[Place, Mapping[str, str]]] = {
    ("smelting", "matte"): {"smelting.matte.grade": "% Cu"},
    ("smelting", "slag"): {"smelting.slag.copper": "% Cu", "smelting.slag.magnetite": "% Fe3O4"},
    ("smelting", "gas"): {"smelting.gas.so2": "% SO2"},
    ("slag_cleaning", "slag"): {"slag_cleaning.slag.copper": "% Cu"},
    ("slag_cleaning", "matte"): {"slag_cleaning.matte.grade": "% Cu"},
    ("converting", "slag"): {"converting.slag.copper": "% Cu", "converting.slag.magnetite": "% Fe3O4"},
    ("converting", "gas"): {"converting.gas.so2": "% SO2"},
    ("anode_furnace", "gas"): {"anode.gas.so2": "% SO2"},
    ("gas_train", "cleaned_gas"): {"acid.inlet_so2": "% SO2 dry"},
    ("acid_plant", "tail_gas"): {"acid.tail.so2": "ppm SO2"},
}
_COPPER: Final = ("blister", "anodes", "cathode", "slimes", "tailings", "concentrate")  # told by their copper
_CU: Final = ELEMENTS.index("Cu")


@dataclass(frozen=True, eq=False)
class Band:
    """One stream of the picture.

    source, target : steps, "" where it comes from outside or leaves
    elements : (E,) [kg/s]; figure : what matters of it besides its rate
    """

    source: str
    target: str
    matter: Matter
    elements: Floats
    figure: str = ""

    @property
    def place(self) -> tuple[str, str, str]:
        """What makes it the same stream in two plants."""
        return self.source, self.target, self.matter.name

    def rate(self, quantity: str) -> float:
        """[t/h] of ``MASS`` or of one element."""
        amount = self.elements.sum() if quantity == MASS else self.elements[ELEMENTS.index(quantity)]
        return float(amount) / TONNE_PER_HOUR

    @property
    def told(self) -> str:
        """The band in one line: what, from where, how much, of what."""
        ends = " to ".join(words(end) if end else "outside" for end in (self.source, self.target))
        mass = self.elements.sum()
        shares = sorted(zip(self.elements / mass, ELEMENTS, strict=True), reverse=True)[:_TOLD]
        held = ", ".join(f"{e} {number(100 * x, 3)} %" for x, e in shares if x > _ROUNDING)
        beside = f", {self.figure}" if self.figure else ""
        return f"{self.matter.name}, {ends}: {number(self.rate(MASS))} t/h{beside}; elements by mass: {held}"


def bands(result: Result) -> list[Band]:
    """The streams of a single solved case, in plant order."""
    flows = element_flows(result.results)
    merged: dict[tuple[str, str, Matter], list[tuple[Place, Floats]]] = {}
    for source, target, place, elements in (_ends(flow, flows) for flow in flows):
        if elements.any():
            merged.setdefault((source, target, _matter(place)), []).append((place, elements))
    found = [
        Band(source, target, matter, sum((x for _, x in parts), 0.0 * parts[0][1]), _figure(result, parts))
        for (source, target, matter), parts in merged.items()
    ]
    least = _ROUNDING * max((band.elements.sum() for band in found), default=0.0)
    return [band for band in found if band.elements.sum() > least]


def steps(result: Result) -> list[str]:
    """The steps that are drawn, as the material goes; slag cleaning stands behind both furnaces."""
    found = list(ledgers(result.results))
    if "slag_cleaning" in found and "converting" in found:
        found.remove("slag_cleaning")
        found.insert(found.index("converting") + 1, "slag_cleaning")
    return found


def quantities(drawn: Sequence[Band]) -> list[str]:
    """What the bands can show: mass, the elements asked for most, then the others that are there."""
    there = np.sum([band.elements for band in drawn], axis=0) > 0 if drawn else np.zeros(len(ELEMENTS), bool)
    others = [e for e in ELEMENTS if e not in (*_OFFERED, *_UNOFFERED)]
    return [MASS, *(e for e in (*_OFFERED, *others) if there[ELEMENTS.index(e)])]


def table(drawn: Sequence[Band]) -> Table:
    """The numbers of the picture."""
    offered = quantities(drawn)
    columns = (Column("from"), Column("to"), Column("stream"), *(Column(q, "t/h") for q in offered))
    rows: list[tuple[Cell, ...]] = []
    for band in drawn:
        ends = (words(end) if end else "outside" for end in (band.source, band.target))
        rows.append((*ends, band.matter.name, *(band.rate(q) for q in offered)))
    return Table("Streams from step to step", columns, tuple(rows), stub=3)


def _ends(flow: Flow, flows: Sequence[Flow]) -> tuple[str, str, Place, Floats]:
    """The steps at its two ends, what it is, and how much: of a product what no step takes, which leaves."""
    if len(flow.target) == 1:
        return flow.source[0], flow.target[0], flow.source, flow.elements
    taken = sum((f.elements for f in flows if f.source == flow.target), 0.0 * flow.elements)
    left = flow.elements - taken
    return flow.target[0], "", flow.target, np.where(np.abs(left) > _ROUNDING * flow.elements, left, 0.0)


def _matter(place: Place) -> Matter:
    last = place[-1].rpartition(".")[2].removesuffix("_leaving")
    if len(place) == 2 and place[0] in ("", "dryer") and last not in ("reverts", "gas", "dust"):
        return _FEED
    name = _GATHERED.get(last, words(last))
    return Matter(name, next((kind for word, kind in _TOLD_BY if word in name), "metal"))


def _figure(result: Result, parts: Sequence[tuple[Place, Floats]]) -> str:
    place = parts[0][0]
    if place[-1] in _COPPER:
        elements = parts[0][1]
        return f"{number(100 * float(elements[_CU] / elements.sum()), 3)} % Cu"
    keys = _FIGURES.get(place, {}) if len(parts) == 1 else {}
    shown = [f"{number(result[key].magnitude, 3)} {behind}" for key, behind in keys.items() if key in result]
    return ", ".join(shown)
