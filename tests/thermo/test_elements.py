"""Formulas and atomic masses."""

from __future__ import annotations

import cantera
import numpy as np
import pytest

from pyrobal.errors import DataError
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS, composition
from pyrobal.thermo.files import data_root, read_rows, read_sources

FORMULAS = {
    "Cu": {"Cu": 1},
    "CuFeS2": {"Cu": 1, "Fe": 1, "S": 2},
    "Fe4.5Ni4.5S8": {"Fe": 4.5, "Ni": 4.5, "S": 8},
    "Fe0.947O": {"Fe": 0.947, "O": 1},
    "Fe2(SO4)3": {"Fe": 2, "S": 3, "O": 12},
    "CuO.CuSO4": {"Cu": 2, "S": 1, "O": 5},
    "H2SO4.H2O": {"H": 4, "S": 1, "O": 5},
    "H2SO4.2H2O": {"H": 6, "S": 1, "O": 6},
    "H2SO4.6.5H2O": {"H": 15, "S": 1, "O": 10.5},
    "CaSO4.0.5H2O": {"Ca": 1, "S": 1, "O": 4.5, "H": 1},
    "Al2Si2O5(OH)4": {"Al": 2, "Si": 2, "O": 9, "H": 4},
    "CaMg(CO3)2": {"Ca": 1, "Mg": 1, "C": 2, "O": 6},
    "Ca(Al(OH)4)2": {"Ca": 1, "Al": 2, "O": 8, "H": 8},
    "CO": {"C": 1, "O": 1},
    "Co": {"Co": 1},
    "Rest": {"Rest": 1},
}


@pytest.mark.parametrize(("formula", "atoms"), FORMULAS.items(), ids=FORMULAS.keys())
def test_formula(formula: str, atoms: dict[str, float]) -> None:
    assert composition(formula) == pytest.approx(atoms)


NO_FORMULAS = ("", "Fe2(SO4", "Fe2SO4)3", "Xx2O", "cu2s", "2H2O", "Cu2S(l)", "Fe-O", "()2", "Fe2(SO4)3)")


@pytest.mark.parametrize("formula", NO_FORMULAS)
def test_no_formula(formula: str) -> None:
    with pytest.raises(DataError):
        composition(formula)


def test_atomic_masses_are_the_standard_atomic_weights() -> None:
    """Against the weights carried by cantera 3.2 (IUPAC), and the same to seven figures."""
    for element, mass in zip(ELEMENTS, ATOMIC_MASS, strict=True):
        if element != "Rest":
            assert mass * 1e3 == pytest.approx(cantera.Element(element).weight, rel=1e-7)


def test_sources_of_the_masses_are_known() -> None:
    rows = read_rows(data_root() / "elements.csv", ("symbol", "name", "molar_mass", "source", "seen", "note"))
    assert {row.text("source") for row in rows} <= set(read_sources(data_root() / "sources.bib"))


def test_masses_cannot_be_written_to() -> None:
    assert ATOMIC_MASS.shape == (len(ELEMENTS),)
    with pytest.raises(ValueError, match="read-only"):
        np.multiply(ATOMIC_MASS, 2.0, out=ATOMIC_MASS)
