"""Tables that share the elements out between the outlets of a step, and the carriers they leave in."""

from __future__ import annotations

import csv
import functools
from collections.abc import Container, Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS, Floats, IntN, zeros
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.files import data_root, survey
from pyrobal.thermo.properties import Species
from pyrobal.trace.solved import remembered, tabulated

HYDROGEN = ELEMENTS.index("H")
# What has one place by nature, the slag, where it is not blown out: element -> its form in slag and in dust.
GANGUE_IN_SLAG = {
    "Si": "SiO2(l)", "Ca": "CaO(slag)", "Al": "Al2O3(l)", "Mg": "MgO(slag)", "K": "K2O(slag)",
    "Na": "Na2O(slag)", "Mn": "MnO(slag)", "Ti": "TiO2(slag)", "Rest": "Rest(slag)",
}  # fmt: skip
GANGUE_IN_DUST = {
    "Si": "SiO2", "Ca": "CaO", "Al": "Al2O3", "Mg": "MgO", "K": "K2O", "Na": "Na2O", "Mn": "MnO",
    "Ti": "TiO2", "Rest": "Rest",
}  # fmt: skip
Shares = dict[str, dict[str, FloatN]]
"""Element -> outlet -> (N,) share."""


@dataclass(frozen=True)
class DeportmentTable:
    """One file of the tables: ``deportment_<step>.csv``.

    outlets : in the order of the columns
    shares : element -> outlet -> share; an element with blank cells is absent: the step shares it out itself
    sources : element -> what is published of it, or that it is an estimate
    """

    outlets: tuple[str, ...]
    shares: Mapping[str, Mapping[str, float]]
    sources: Mapping[str, str]

    def share(self, element: str, outlet: str) -> FloatN:
        """(1,), in a trace with its source."""
        share = np.array([self.shares[element][outlet]])
        return tabulated(share, f"share of {element} to {outlet}", "-", (), self.sources[element])


@functools.lru_cache
def read_table(step: str) -> DeportmentTable:
    """The shares of a step. Lines that begin with # say where they come from."""
    with (data_root() / f"deportment_{step}.csv").open(encoding="utf-8") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        outlets = tuple((rows.fieldnames or ())[1:-2])  # element, outlets..., source, seen
        filled = [row for row in rows if row[outlets[0]]]
    shares = {row["element"]: {o: float(row[o]) for o in outlets} for row in filled}
    return DeportmentTable(outlets, shares, {row["element"]: survey(row) for row in filled})


def shares(
    table: DeportmentTable, override: Mapping[str, Mapping[str, FloatN]], apart: Container[str] = ()
) -> Shares:
    """The user's own shares in place of the table's; elements ``apart`` are left out.

    An element that is overridden is overridden whole: outlets not named get nothing, and the shares are
    scaled to a sum of one.
    """
    result: Shares = {}
    for element in (e for e in dict.fromkeys((*table.shares, *override)) if e not in apart):
        given = override.get(element) or {o: table.share(element, o) for o in table.shares[element]}
        total = functools.reduce(np.add, given.values())
        result[element] = {o: given.get(o, np.zeros(1)) / total for o in table.outlets}
    return result


def carrier_matrix(phase: Species, carriers: Mapping[str, str]) -> Floats:
    """(E, S) [mol of species per mol of element], one carrier per element; other rows are zero.

    What a carrier of another element holds of hydrogen is taken from the water vapour beside it.
    """
    matrix = zeros((len(ELEMENTS), len(phase)), phase.composition)
    row = np.array([ELEMENTS.index(element) for element in carriers], dtype=int)
    col = np.array([phase.index(name) for name in carriers.values()], dtype=int)
    matrix[row, col] = 1.0 / phase.composition[col, row]
    hydrogen = phase.composition[col, HYDROGEN]
    holds = (row != HYDROGEN) & (hydrogen > 0)
    if holds.any():
        taken = hydrogen[holds] / 2.0 * matrix[row[holds], col[holds]]
        matrix[row[holds], phase.index("H2O(g)")] -= taken
    return matrix


def share_out(
    elements: FloatNE, shares: Shares, carriers: Mapping[str, tuple[Species, Mapping[str, str]]]
) -> dict[str, FloatNS]:
    """Amounts (N, S) [mol/s] of each outlet, from ``elements`` (N, E) [mol/s].

    carriers : outlet -> its S axis and the carrier of each element
    Raises ValueError where an element is sent to an outlet that has no carrier for it.
    """
    for outlet, (_, names) in carriers.items():
        for element, by_outlet in shares.items():
            if element not in names and np.any(by_outlet[outlet] > 0):
                raise ValueError(f"{element} has no form in which it could leave with the {outlet}")
    return {
        outlet: _carried(elements, {e: shares[e][outlet] for e in shares}, phase, names)
        for outlet, (phase, names) in carriers.items()
    }


def _carried(
    elements: FloatNE, share: Mapping[str, FloatN], phase: Species, names: Mapping[str, str]
) -> FloatNS:
    """Amounts (N, S) of one outlet: of each species, what its elements bring, per atom it has of them."""
    leaving = tuple((element, names[element]) for element in share if element in names)
    index, onto = _places(phase, leaving)
    given = [share[element] for element, _ in leaving]
    rows = max(map(len, (elements, *given)))
    part = zeros((rows, len(given)), elements, *given)
    for column, value in enumerate(given):
        part[:, column] = value
    return (part * elements[:, index]) @ onto


@remembered(maxsize=256)
def _places(phase: Species, leaving: tuple[tuple[str, str], ...]) -> tuple[IntN, Floats]:
    """Of elements and carriers: the place of each on the E axis (L,), and (L, S) [mol of carrier per mol]."""
    index = np.array([ELEMENTS.index(element) for element, _ in leaving], dtype=np.int64)
    onto = zeros((len(leaving), len(phase)), phase.composition)
    for row, (element, name) in enumerate(leaving):
        column = phase.index(name)
        onto[row, column] = 1.0 / phase.composition[column, ELEMENTS.index(element)]
    return index, onto
