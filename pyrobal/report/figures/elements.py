"""Where each element goes: flows through the steps of the plant, with what comes back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from pyrobal.constants import TONNE_PER_HOUR
from pyrobal.flowsheet.results import Results
from pyrobal.report.figures.figure import LEAST, Figure, sankey
from pyrobal.report.flows import Flow, Place, element_flows, handed_over, labels
from pyrobal.report.numbers import number
from pyrobal.report.tables import Cell, Column, Table
from pyrobal.thermo.elements import ELEMENTS

_FIRST: Final = ("Cu", "S", "Fe")  # elements offered first
_UNTOLD: Final = ("H", "C", "N", "Ar", "Rest")


def elements(results: Results) -> Iterator[Figure]:
    """One diagram for each element of the feed."""
    flows = element_flows(results)
    names, told = labels(flows), _told(flows)
    handed = handed_over(flows)
    links = {e: [_link(f, e, names, handed) for f in flows if f.target not in handed] for e in told}
    rows: list[tuple[Cell, ...]] = [
        (names[f.source], names[f.target], *(_tonnes(f, e) for e in told))
        for f in flows
        if any(f.elements[ELEMENTS.index(e)] > 0 for e in told)
    ]
    yield Figure(
        "elements",
        "Where the elements go",
        "One element at a time, in t/h, from the feed through the steps of the plant to its products. What "
        "is put back stands by its name where its loop to the left begins; what one step hands on to the "
        f"next is named when pointed at. Flows below {number(100 * LEAST)} % of the largest are only in the "
        "table.",
        {element: sankey(found, "t/h") for element, found in links.items()},
        {},
        Table("Elements from place to place", _columns(told), tuple(rows), stub=2),
    )


def _link(
    flow: Flow, element: str, names: Mapping[Place, str], handed: Mapping[Place, Place]
) -> tuple[str, str, float, str]:
    """A product that goes whole to one step is a link between the two, by its name."""
    source = handed.get(flow.source, flow.source)
    return names[source], names[flow.target], _tonnes(flow, element), names[flow.source]


def _told(flows: list[Flow]) -> list[str]:
    present = {e for i, e in enumerate(ELEMENTS) if np.any([f.elements[i] > 0 for f in flows])}
    return list(dict.fromkeys(e for e in (*_FIRST, *ELEMENTS) if e in present and e not in _UNTOLD))


def _columns(told: list[str]) -> tuple[Column, ...]:
    return (Column("from"), Column("to"), *(Column(e, "t/h") for e in told))


def _tonnes(flow: Flow, element: str) -> float:
    return float(flow.elements[ELEMENTS.index(element)]) / TONNE_PER_HOUR
