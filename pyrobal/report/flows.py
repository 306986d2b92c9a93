"""How the steps of the plant hang together, read off their ledgers: who takes what another made.

An input of a step that has the composition of another step's product, in no greater amount, is that product,
so recycle loops and later steps are found without naming them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal.arrays import Floats
from pyrobal.flowsheet.results import Results
from pyrobal.report.tables import words
from pyrobal.streams.ledger import Ledger
from pyrobal.thermo.elements import ATOMIC_MASS

_SAME: Final = 1e-9  # how far two compositions may be apart and still be one
_CHARGE: Final = "charge"  # an input that is the blend, shown by its concentrates


@dataclass(frozen=True)
class Flow:
    """Elements (E,) [kg/s] from one place to another; a place is a step, a product, or a source.

    source, target : ("smelting",) is a step, ("smelting", "matte") what it makes, ("", "air") a source
    """

    source: tuple[str, ...]
    target: tuple[str, ...]
    elements: Floats


def ledgers(results: Results) -> dict[str, Ledger]:
    """The steps that keep one, in plant order."""
    return results.ledgers()


def element_flows(results: Results) -> list[Flow]:
    """Every flow of a single solved case that hangs together with the furnace."""
    books = ledgers(results)
    made = {(step, n): _mass(e.elements) for step, book in books.items() for n, e in book.outputs.items()}
    flows = [Flow(place[:1], place, v) for place, v in made.items() if v.any()]
    for step, book in books.items():
        for name, entry in book.inputs.items():
            v = _mass(entry.elements)
            if not v.any():
                continue
            origin = _maker(v, made)
            if origin is None and name == _CHARGE:
                flows += [Flow(part, (step,), x) for part, x in _blend(results, v, made).items()]
            else:
                flows.append(Flow(origin or ("", name), (step,), v))
    return _together(flows, "smelting")


def _mass(n: Floats) -> Floats:
    """(1, E) [mol/s] as (E,) [kg/s]; rounding errors are nothing."""
    v: Floats = n[0] * ATOMIC_MASS
    return np.where(np.abs(v) > _SAME * np.abs(v).max(initial=0.0), v, 0.0)


def _maker(v: Floats, made: Mapping[tuple[str, str], Floats]) -> tuple[str, str] | None:
    """The product that ``v`` is, or is a share of; the one nearest in amount where several are alike."""
    best, distance = None, np.inf
    for place, product in made.items():
        share = float(v @ product / (product @ product)) if product.any() else 0.0
        alike = np.abs(v - share * product).max() <= _SAME * np.abs(v).max()
        if alike and 0.0 < share <= 1.0 + _SAME and 1.0 - share < distance:
            best, distance = place, 1.0 - share
    return best


def _blend(
    results: Results, charge: Floats, made: Mapping[tuple[str, str], Floats]
) -> dict[tuple[str, ...], Floats]:
    """The charge by concentrate, dried or as received, and the reverts that make up the rest."""
    parts: dict[tuple[str, ...], Floats] = {}
    for name, stream in results.feed.concentrates.items():
        dried = [place for place in made if place[1] == name]
        place: tuple[str, ...] = dried[-1] if dried else ("", name)
        parts[place] = made[dried[-1]] if dried else _mass(stream.elements())
    rest = charge - sum(parts.values())
    if (rest < -_SAME * charge.max()).any():
        return {("", _CHARGE): charge}
    if (rest > _SAME * charge.max()).any():
        parts["", "reverts"] = rest
    return parts


def _together(flows: list[Flow], step: str) -> list[Flow]:
    """The flows that are connected with one step, in whatever direction."""
    places: set[tuple[str, ...]] = {(step,)}
    while True:
        near = {p for f in flows for p in (f.source, f.target) if {f.source, f.target} & places}
        if near <= places:
            return [f for f in flows if f.source in places]
        places |= near


def labels(flows: list[Flow]) -> dict[tuple[str, ...], str]:
    """What each place is called: a product by its name, and by its step where two make the same."""
    places = list(dict.fromkeys(place for f in flows for place in (f.source, f.target)))
    names = [place[-1] for place in places]
    return {place: " ".join(_words(place, twice=names.count(place[-1]) > 1)) for place in places}


def _words(place: tuple[str, ...], twice: bool) -> Iterator[str]:
    if place[0] == "":
        yield place[1]  # a user's own name stays as written
    elif len(place) == 1 or not twice:
        yield words(place[-1])
    else:
        yield from map(words, place)
