"""How the steps of the plant hang together, read off their ledgers: who takes what another made.

What a step takes in is parted into products of the steps and materials from outside: shares between nothing
and all of each, whose elements add up to the input. So recycles, mixtures and later steps are found without
naming them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from pyrobal.arrays import Floats
from pyrobal.flowsheet.results import Results
from pyrobal.readings.balance import fired
from pyrobal.streams.ledger import Entry, Ledger
from pyrobal.thermo.elements import ATOMIC_MASS

_SAME: Final = 1e-6  # how far a sum may be from its parts, relative; recycles converge to about as much
_SLIGHT: Final = 1e-4  # a share of a mixture below which it is left out
_ROUNDING: Final = 1e-12
_MOST: Final = 12  # materials whose sums are tried

Place = tuple[str, ...]


@dataclass(frozen=True)
class Flow:
    """Elements (E,) [kg/s] and heat [W] from one place to another; a place is a step, a product, or a source.

    Heat is what it holds above 25 degC, of a fuel or reductant its lower heating value besides.

    source, target : ("smelting",) is a step, ("smelting", "matte") what it makes, ("smelting", "escaped_gas")
        what leaves the plant of that; ("", "Fenholt"), ("", "reverts", "smelting") and
        ("", "smelting", "blast") come from outside
    """

    source: Place
    target: Place
    elements: Floats
    heat: float


def ledgers(results: Results) -> dict[str, Ledger]:
    """The steps that keep one, in plant order."""
    return results.ledgers()


def element_flows(results: Results) -> list[Flow]:
    """Every flow of a single solved case, in plant order.

    What goes into a step or a product comes out of it, element by element; only sources and products that
    leave the plant have one side alone.
    """
    books, boundary = ledgers(results), results.ledger
    made = {(step, n): _mass(e.elements) for step, book in books.items() for n, e in book.outputs.items()}
    known = {place: v for place, v in made.items() if v.any()} | _outside(results)
    heat, burnt = _heat(results), fired(results)
    flows = [Flow(place[:1], place, v, heat[place]) for place, v in known.items() if place in made]
    taken: list[tuple[Place, Floats]] = _leaving_apart(books, boundary)
    for step, book in books.items():
        for name, entry in book.inputs.items():
            v = _mass(entry.elements)
            if f"{step}.{name}" in boundary.inputs and v.any():
                held = entry.sensible + burnt.get((step, name), 0.0)
                flows.append(Flow(("", step, name), (step,), v, float(held[0])))
            elif v.any():
                taken.append(((step,), v))
    left = {place: 1.0 - _leaving(place, v, boundary) for place, v in known.items()}
    flows += [
        Flow(
            place,
            (place[0], f"{place[1]}_leaving"),
            (1.0 - share) * known[place],
            (1.0 - share) * heat[place],
        )
        for place, share in left.items()
        if _SLIGHT < share < 1.0 - _SLIGHT
    ]
    for (target, _), parts in zip(taken, _part(taken, known, left), strict=True):
        flows += [Flow(p, target, share * known[p], share * heat[p]) for p, share in parts.items()]
    order = ["", *books]
    return sorted(flows, key=lambda f: (order.index(f.source[0]), order.index(f.target[0])))


def _leaving_apart(books: Mapping[str, Ledger], boundary: Ledger) -> list[tuple[Place, Floats]]:
    """What leaves the plant under another name than that of the product it is part of: past a hood."""
    found: list[tuple[Place, Floats]] = []
    for name, entry in boundary.outputs.items():
        step, _, item = name.partition(".")
        if item not in books[step].outputs and (v := _mass(entry.elements)).any():
            found.append(((step, item), v))
    return found


def _leaving(place: Place, v: Floats, boundary: Ledger) -> float:
    """The share of a product that leaves the plant as it is."""
    entry = boundary.outputs.get(".".join(place))
    return float(v @ _mass(entry.elements) / (v @ v)) if entry is not None else 0.0


def _heat(results: Results) -> dict[Place, float]:
    """[W] above 25 degC of every product and of what comes in from outside."""
    books = ledgers(results)
    made: dict[Place, Entry] = {
        (step, n): entry for step, book in books.items() for n, entry in book.outputs.items()
    }
    made |= {_place(name): entry for name, entry in results.ledger.inputs.items()}
    return {place: float(entry.sensible[0]) for place, entry in made.items()}


def _mass(n: Floats) -> Floats:
    """(1, E) [mol/s] as (E,) [kg/s]; rounding errors are nothing, and so is what has no answer."""
    v: Floats = np.nan_to_num(n[0] * ATOMIC_MASS, posinf=0.0, neginf=0.0)
    return np.where(np.abs(v) > _ROUNDING * np.abs(v).max(initial=0.0), v, 0.0)


def _outside(results: Results) -> dict[Place, Floats]:
    """What crosses the plant boundary and is no step's own input: concentrates, reverts."""
    books = ledgers(results)
    found = {_place(name): _mass(entry.elements) for name, entry in results.ledger.inputs.items()}
    return {place: v for place, v in found.items() if place[1] not in books and v.any()}


def _place(name: str) -> Place:
    """An input of the plant boundary as a place: a concentrate by its name alone."""
    section, _, item = name.partition(".")
    return ("", item) if section == "concentrate" else ("", section, item)


def _part(
    taken: Sequence[tuple[Place, Floats]], known: Mapping[Place, Floats], left: dict[Place, float]
) -> list[dict[Place, float]]:
    """What each input consists of, the plain cases first; nothing where its parts are not known."""
    found: list[dict[Place, float]] = [{} for _ in taken]
    places = list(known)
    holds = np.array([x > _SAME * x.max() for x in known.values()])
    fitting = [[places[k] for k in np.flatnonzero(~(holds & (v == 0.0)).any(axis=1))] for _, v in taken]
    for rule in (_whole, _share, _sum, _mixture):
        for i, (target, v) in enumerate(taken):
            if not found[i]:
                usable = {p: left[p] * known[p] for p in _usable(target, fitting[i], left)}
                found[i] = {place: share * left[place] for place, share in rule(v, usable).items()}
                for place, share in found[i].items():
                    left[place] -= share
    return found


def _usable(target: Place, fitting: Sequence[Place], left: Mapping[Place, float]) -> list[Place]:
    """What is left of all that holds nothing that the input does not; a step's own products last.

    What leaves under a name of its own is part of what its own step makes.
    """
    free = [p for p in fitting if left[p] > _SAME]
    if len(target) > 1:
        return [p for p in free if p[0] == target[0]]
    return sorted(free, key=lambda p: p[0] == target[0])


def _whole(v: Floats, usable: Mapping[Place, Floats]) -> dict[Place, float]:
    """One material, all of it."""
    return next(({p: 1.0} for p, x in usable.items() if _is(x, v)), {})


def _share(v: Floats, usable: Mapping[Place, Floats]) -> dict[Place, float]:
    """A share of one material, the largest share there is."""
    shares = {p: float(v @ x / (x @ x)) for p, x in usable.items()}
    fitting = {p: share for p, share in shares.items() if share < 1.0 + _SAME and _is(share * usable[p], v)}
    return dict([max(fitting.items(), key=lambda item: item[1])]) if fitting else {}


def _sum(v: Floats, usable: Mapping[Place, Floats]) -> dict[Place, float]:
    """Several materials, all of each."""
    fitting = [p for p, x in usable.items() if (x <= v * (1.0 + _SAME) + _SAME * v.max()).all()][:_MOST]
    for count in range(2, len(fitting) + 1):
        for some in combinations(fitting, count):
            if _is(sum((usable[p] for p in some), 0.0 * v), v):
                return dict.fromkeys(some, 1.0)
    return {}


def _mixture(v: Floats, usable: Mapping[Place, Floats]) -> dict[Place, float]:
    """Shares of several materials, by least squares over the elements."""
    if not usable:
        return {}
    from scipy.optimize import lsq_linear  # few plants need it

    scale = np.maximum(v, _SAME * v.max())
    x = lsq_linear(
        np.stack(list(usable.values()), axis=1) / scale[:, None], v / scale, (0.0, 1.0), tol=1e-12
    ).x
    shares = {p: float(share) for p, share in zip(usable, x, strict=True)}
    parts = {p: share for p, share in shares.items() if share * usable[p].max() > _SLIGHT * v.max()}
    return parts if _is(sum((share * usable[p] for p, share in parts.items()), 0.0 * v), v, _SLIGHT) else {}


def _is(x: Floats, v: Floats, within: float = _SAME) -> bool:
    return bool(np.abs(x - v).max() <= within * v.max())
