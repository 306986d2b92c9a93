"""What a stream is assayed for: elements, the oxides of a slag, the species of a gas."""

from __future__ import annotations

from typing import Final

import numpy as np

from pyrobal.arrays import FloatN, total
from pyrobal.dimensions import constant
from pyrobal.streams.stream import Stream
from pyrobal.thermo.elements import ATOMIC_MASS_OF, ELEMENTS, composition
from pyrobal.thermo.properties import species

M_CO2: Final = constant(float(species("CO2(g)").molar_mass[0]), "kg/mol", "atomic masses")

OXIDES: Final = {
    "SiO2": "Si", "CaO": "Ca", "Al2O3": "Al", "MgO": "Mg", "K2O": "K", "Na2O": "Na", "MnO": "Mn", "TiO2": "Ti"
}  # fmt: skip
"""Oxide -> element, where an assay gives the oxide."""

_IRON: Final = {"FeO": ("FeO(slag)", "FeO"), "Fe3O4": ("Fe3O4(slag)", "Fe3O4")}  # molten, or gone cold


def oxide_factor(oxide: str, element: str) -> float:
    """Mass of an oxide per mass of its element; 1 for the element itself."""
    parts = {e: n * ATOMIC_MASS_OF[e] for e, n in composition(oxide).items()}
    return float(sum(parts.values()) / parts[element])


def element_share(stream: Stream, element: str) -> FloatN:
    """(N,) [kg/kg] of an element in a stream."""
    return stream.element(element) * ATOMIC_MASS_OF[element] / stream.mass()


def present_elements(stream: Stream) -> list[str]:
    """Elements that a stream holds in any scenario."""
    return [e for e, x in zip(ELEMENTS, stream.elements().T, strict=True) if np.any(x > 0)]


def slag_members(stream: Stream) -> list[str]:
    """What a slag is assayed for: iron oxides, gangue oxides, and the other elements it holds."""
    held = present_elements(stream)
    oxides = [oxide for oxide, element in OXIDES.items() if element in held]
    return [*_IRON, *oxides, *(e for e in held if e not in (*OXIDES.values(), "O"))]


def slag_assay(stream: Stream, name: str) -> FloatN:
    """(N,) [kg/kg] of an oxide or element in a slag; Fe, Cu and S in every form."""
    if name in _IRON:
        moles = total(stream.amount(form) for form in _IRON[name])
        return moles * species(name).molar_mass[0] / stream.mass()
    element = OXIDES.get(name, name)
    return element_share(stream, element) * oxide_factor(name, element)


def gas_share(stream: Stream, name: str, dry: bool = False) -> FloatN:
    """(N,) [mol/mol] of a species in a gas, water left out where ``dry``."""
    whole = stream.total() - (stream.amount("H2O(g)") if dry else 0.0)
    return stream.amount(f"{name}(g)") / whole
