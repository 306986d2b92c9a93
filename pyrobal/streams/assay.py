"""Lines of an assay as a laboratory writes them, and the elements and compounds they stand for.

Most lines are an element in all its forms, or the oxide that stands for one. Some are a compound as such.
``CO2`` is that of carbonates, ``C`` the carbon besides it, which burns. ``insol``, what acid leaves behind,
is gangue of a stated split; beside a line for SiO2 it tells nothing new. ``LOI``, loss on ignition, only
checks.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.constants import PERCENT
from pyrobal.thermo.elements import ATOMIC_MASS_OF, ELEMENTS, composition

Lines = Mapping[str, FloatN]
"""Name of a line -> (N,) [kg/kg] of dry solids."""

TRACES = ("Co", "Se", "Te", "Au", "Ag", "Hg", "Cl", "F")  # ride along as elements
GANGUE_OXIDES = ("SiO2", "Al2O3", "CaO", "MgO", "K2O", "Na2O", "TiO2")
TOTALS = (*GANGUE_OXIDES, "CO2")  # the first element of each
AS_SUCH = ("C", "CaCO3", "MgCO3", "FeO", "Fe3O4", "Fe2O3", "Cu2O", "CuO")  # the substance itself
METALS = ("As", "Sb", "Bi", "Pb", "Zn", "Cd", "Ni", "Mo", "Mn")
FITTED = ("Cu", "Fe", "S", "Si", "Al", "Ca", "Mg", "K", "Na", "Ti", *METALS, "C")
INSOL, LOI = "insol", "LOI"
ASSAY_NAMES = ("Cu", "Fe", "S", *TOTALS, *METALS, *TRACES, INSOL, LOI, *AS_SUCH)

# What insol is made of where the case does not say: quartz with some mica and chlorite, common practice.
INSOL_SPLIT = {"SiO2": 0.80, "Al2O3": 0.13, "K2O": 0.04, "MgO": 0.03}
# What an element is once it has been ignited in air; all else is lost, the unassayed rest stays.
_IGNITED = {
    "Cu": "CuO", "Fe": "Fe2O3", "Si": "SiO2", "Al": "Al2O3", "Ca": "CaO", "Mg": "MgO", "K": "K2O",
    "Na": "Na2O", "Ti": "TiO2", "Sb": "Sb2O4", "Bi": "Bi2O3", "Pb": "PbO", "Zn": "ZnO", "Ni": "NiO",
    "Co": "Co3O4", "Mn": "Mn3O4", "Au": "Au", "Ag": "Ag", "Rest": "Rest",
}  # fmt: skip


def stated(assay: Lines, insol: Lines | None = None) -> dict[str, FloatN]:
    """The lines that say what the material holds: insol as its oxides, LOI left out.

    insol : oxide -> (N,) [kg/kg] of insol, else ``INSOL_SPLIT``. Of an oxide that has a line of its own only
    what is left of insol is shared out among the others; with a line for SiO2 none is.
    """
    lines = {name: value for name, value in assay.items() if name not in (INSOL, LOI)}
    if INSOL not in assay or "SiO2" in lines:
        return lines
    split = insol or {oxide: np.array([share]) for oxide, share in INSOL_SPLIT.items()}
    there = [lines[oxide] for oxide in split if oxide in lines]
    left = np.maximum(assay[INSOL] - sum(there, np.zeros(1)), 0.0)
    shares = {oxide: share for oxide, share in split.items() if oxide not in lines}
    whole = sum(shares.values(), np.zeros(1))
    return lines | {oxide: left * share / whole for oxide, share in shares.items()}


def read(lines: Lines) -> tuple[dict[str, FloatN], dict[str, FloatN]]:
    """Split lines into substances taken as such and mass fractions of the fitted elements."""
    fixed = {name: value for name, value in lines.items() if name in AS_SUCH}
    elements: dict[str, FloatN] = {}
    for name, value in lines.items():
        if name in TOTALS:
            element = next(iter(composition(name)))
            elements[element] = value * element_share(name, element)
        elif name in FITTED and name not in AS_SUCH:
            elements[name] = value
    return fixed, elements


@functools.cache
def element_share(formula: str, element: str) -> float:
    """Mass of an element per mass of a compound."""
    parts = {e: n * ATOMIC_MASS_OF[e] for e, n in composition(formula).items()}
    return float(parts[element] / sum(parts.values()))


def loss_on_ignition(elements: Floats) -> FloatN:
    """(N,) [kg/kg] that a material of elements (N, E) [kg/kg] loses in air, its metals left as oxides.

    Sulfates that stand the ignition are not counted, so a check to a few percent.
    """
    left = [elements[:, ELEMENTS.index(e)] / element_share(oxide, e) for e, oxide in _IGNITED.items()]
    return 1.0 - np.sum(left, axis=0)


LOI_APART = 3 * PERCENT  # of the solids: LOI further than this from what the other lines imply is said
