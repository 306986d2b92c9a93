"""A pure compound by its name, out of the ``chemicals`` library: what a fuel may be made of.

One source for every number: the table of standard thermodynamic properties of the CRC Handbook of Chemistry
and Physics, 95th ed. (``heat_capacity.CRC_standard_data``), and its boiling and melting points
(``CRC_ORG``, ``CRC_INORG``). The library is loaded only once a compound is named; that takes a second.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal.arrays import Floats
from pyrobal.constants import T_STANDARD
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS, composition, symbols

SOURCE: Final = "CRC Handbook of Chemistry and Physics, 95th ed. 2014, as carried by chemicals"
BURNS: Final = ("C", "H", "O", "N", "S")  # elements that burner gas has a form for
_STATES: Final = {"gas": "g", "liquid": "l", "solid": "s"}
_METHODS: Final = ("CRC_ORG", "CRC_INORG")


@dataclass(frozen=True, eq=False)
class Compound:
    """One mole at 25 degC and 1 bar.

    phase : "gas", "liquid" or "solid"
    elements : (E,) [mol/mol]; molar_mass : [kg/mol], of the tables of this project
    enthalpy : [J/mol] of formation; heat_capacity : [J/(mol K)], nan where the source has none
    """

    name: str
    formula: str
    phase: str
    elements: Floats
    molar_mass: float
    enthalpy: float
    heat_capacity: float


@functools.lru_cache(maxsize=128)
def compound(name: str) -> Compound:
    """The compound of a name, as chemists call it: "propane", "n-dodecane", "ammonia".

    Raises ValueError with a sentence for the person who wrote the name: there is no such compound, it holds
    an element that does not burn, or the source has no heat of formation of its state at 25 degC.
    """
    from chemicals import identifiers

    try:
        found = identifiers.search_chemical(name)
    except ValueError:
        raise ValueError("is no compound that the chemicals library knows") from None
    odd = sorted(set(symbols(found.formula)) - set(BURNS))
    if odd:
        raise ValueError(f"is {found.formula}; burner gas has no form for {', '.join(odd)}")
    phase = _phase(found.CASs)
    enthalpy, heat_capacity = _standard(found.CASs, phase)
    if math.isnan(enthalpy):
        raise ValueError(f"is a {phase} at 25 degC, of which {SOURCE} has no heat of formation")
    atoms = composition(found.formula)
    elements = np.array([atoms.get(e, 0.0) for e in ELEMENTS])
    return Compound(
        found.common_name,
        found.formula,
        phase,
        elements,
        float(elements @ ATOMIC_MASS),
        enthalpy,
        heat_capacity,
    )


def _phase(cas: str) -> str:
    """What it is at 25 degC, by its boiling and melting point; a gas where neither is known."""
    from chemicals import phase_change

    boiling, melting = (
        next((T for m in _METHODS if (T := find(cas, method=m)) is not None), 0.0)
        for find in (phase_change.Tb, phase_change.Tm)
    )
    if melting > T_STANDARD:
        return "solid"
    return "liquid" if boiling > T_STANDARD else "gas"


def _standard(cas: str, phase: str) -> tuple[float, float]:
    """Heat of formation [J/mol] and heat capacity [J/(mol K)] at 25 degC, nan where there is none."""
    from chemicals import heat_capacity

    table = heat_capacity.CRC_standard_data
    if cas not in table.index:
        return math.nan, math.nan
    state, row = _STATES[phase], table.loc[cas].to_dict()
    return float(row[f"Hf{state}"]), float(row[f"Cp{state}"])
