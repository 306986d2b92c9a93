"""The element axis E, atomic masses, and what a chemical formula is made of."""

from __future__ import annotations

import re
from functools import lru_cache

import numpy as np

from pyrobal.arrays import Floats
from pyrobal.dimensions import constant, unit
from pyrobal.errors import DataError
from pyrobal.thermo.files import data_root, read_rows
from pyrobal.trace.units import declare

_COLUMNS = ("symbol", "name", "molar_mass", "source", "seen", "note")
_ROWS = tuple(read_rows(data_root() / "elements.csv", _COLUMNS))

ELEMENTS: tuple[str, ...] = tuple(row.text("symbol") for row in _ROWS)
"""The E axis. "Rest" is the unassayed rest of a charge, a pseudo element of 60 g/mol by convention."""

_SOURCE = "standard atomic weights [iupac2021]"
ATOMIC_MASS: Floats = declare(
    np.array([float(row.text("molar_mass")) for row in _ROWS]) / 1000.0,
    "atomic mass", unit("kg/mol"), _SOURCE, ELEMENTS,
)  # fmt: skip
"""(E,) [kg/mol]; standard atomic weights [iupac2021]."""

ATOMIC_MASS_OF = {
    e: constant(m, "kg/mol", _SOURCE) for e, m in zip(ELEMENTS, ATOMIC_MASS.tolist(), strict=True)
}
"""The same by symbol."""

_WATERS = re.compile(r"\.(\d+(?:\.\d+)?)?H2O$")  # "H2SO4.6.5H2O": the dot before the count of waters
_PART_DOT = re.compile(r"\.(?=[A-Z(])")  # "CuO.CuSO4"
_TOKEN = re.compile(r"(?P<element>Rest|[A-Z][a-z]?)|(?P<open>\()|(?P<close>\))|(?P<bad>.)")
_COUNT = re.compile(r"\d+(?:\.\d+)?")


_FORMULA = re.compile(r"(?:\(*[A-Z][a-z]?\d{0,2}\)*\d{0,2})+")
_SYMBOL = re.compile(r"[A-Z][a-z]?")


def is_formula(text: str) -> bool:
    """Whether a text reads like a chemical formula, of whatever elements."""
    return _FORMULA.fullmatch(text) is not None


def symbols(formula: str) -> list[str]:
    """The element symbols in it, known here or not."""
    return _SYMBOL.findall(formula)


def composition(formula: str) -> dict[str, float]:
    """Atoms of each element in one formula unit.

    Brackets nest and counts may be decimals. A dot before a letter or before a number of waters at the
    end parts two formulas ("CuO.CuSO4", "H2SO4.6.5H2O"); any other dot is a decimal point ("Fe4.5Ni4.5S8").
    Raises DataError for an unknown element, an unbalanced bracket or anything else that is no formula.
    """
    return dict(_composition(formula))


@lru_cache(maxsize=1024)
def _composition(formula: str) -> dict[str, float]:
    atoms: dict[str, float] = {}
    waters = _WATERS.search(formula)
    dry = formula[: waters.start()] if waters else formula
    for part in _PART_DOT.split(dry):
        _add(atoms, _part(part, formula), 1.0)
    if waters:
        _add(atoms, {"H": 2.0, "O": 1.0}, float(waters[1] or 1.0))
    return atoms


def _part(part: str, formula: str) -> dict[str, float]:
    """Atoms of a formula without dots: a stack of open brackets, each closed into the one below."""
    stack: list[dict[str, float]] = [{}]
    at = 0
    while at < len(part):
        token = _TOKEN.match(part, at)
        assert token is not None  # the last alternative takes any character
        at = token.end()
        if token["open"]:
            stack.append({})
            continue
        if token["bad"] or (token["close"] and len(stack) == 1):
            raise DataError(f"formula {formula!r}: unexpected {token[0]!r}")
        group = stack.pop() if token["close"] else {token["element"]: 1.0}
        count = _COUNT.match(part, at)
        at = count.end() if count else at
        _add(stack[-1], group, float(count[0]) if count else 1.0)
    if len(stack) != 1 or not stack[0]:
        raise DataError(f"formula {formula!r}: a bracket is not closed or nothing is in it")
    unknown = sorted(set(stack[0]) - set(ELEMENTS))
    if unknown:
        raise DataError(f"formula {formula!r}: unknown element {', '.join(unknown)}")
    return stack[0]


def _add(atoms: dict[str, float], group: dict[str, float], count: float) -> None:
    for element, n in group.items():
        atoms[element] = atoms.get(element, 0.0) + count * n
