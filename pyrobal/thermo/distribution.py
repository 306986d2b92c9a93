"""Minor elements between matte, slag and gas by distribution ratio, so that shares follow from the masses.

    L = (wt% in slag) / (wt% in matte)

An element that matte holds as MeS_s and slag as MeO_o is exchanged by

    MeS_s + o/2 O2 = MeO_o + s/2 S2        L ~ pO2^(o/2) pS2^(-s/2) at constant activity coefficients
    1/2 S2 + O2 = SO2                      pS2 ~ pO2^-2 at constant SO2, so L ~ pO2^(o/2 + s)
    FeS + 3/2 O2 = FeO + SO2               pO2 ~ a(FeS)^(-2/3) at constant SO2 and a(FeO)

so L moves from its value at the reference grade with the activity of FeS in the matte alone.
"""

from __future__ import annotations

import csv
import functools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, Floats, zeros
from pyrobal.constants import PERCENT
from pyrobal.thermo import solutions
from pyrobal.thermo.elements import ATOMIC_MASS_OF
from pyrobal.thermo.files import data_root, survey
from pyrobal.trace.solved import tabulated

REFERENCE_GRADE = 62 * PERCENT  # of the matte, at which the ratios stand
_CU2S_PER_CU = (2 * ATOMIC_MASS_OF["Cu"] + ATOMIC_MASS_OF["S"]) / (2 * ATOMIC_MASS_OF["Cu"])
_M_CU2S, _M_FES = 2 * ATOMIC_MASS_OF["Cu"] + ATOMIC_MASS_OF["S"], ATOMIC_MASS_OF["Fe"] + ATOMIC_MASS_OF["S"]
_LEAST_FES = 1e-3  # mole fraction: matte nearer to white metal is beyond the correlations, and has no answer

Ratios = Mapping[str, Mapping[str, FloatN]]
"""Element -> "slag_matte" or "exponent" -> (N,): what a user sets in place of the table's."""


def exchange_exponent(oxygen: float, sulfur: float) -> float:
    """Power of pO2 with which L goes at constant SO2; atoms of O and S to one of the element."""
    return oxygen / 2.0 + sulfur


@dataclass(frozen=True)
class Line:
    """One element: slag_matte : L at the reference grade; exponent : of pO2; source : see ``survey``."""

    slag_matte: float
    exponent: float
    source: str


@functools.lru_cache
def read_ratios() -> Mapping[str, Line]:
    """``distribution.csv`` by element. Lines that begin with # say where it comes from."""
    with (data_root() / "distribution.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    return {row["element"]: Line(float(row["slag_matte"]), _exponent(row), survey(row)) for row in rows}


def _exponent(row: Mapping[str, str]) -> float:
    if row["exponent"]:
        return float(row["exponent"])
    return exchange_exponent(float(row["oxygen"]), float(row["sulfur"]))


def ratios(elements: Iterable[str], override: Ratios) -> tuple[Floats, Floats]:
    """L at the reference grade and the exponent, (N, K) each: the table's, or the user's own."""
    own = [{**_line(e), **override.get(e, {})} for e in elements]
    parts = []
    for name in ("slag_matte", "exponent"):
        values = [line[name] for line in own]
        part = zeros((max(map(len, values), default=1), len(values)), *values)
        for i, value in enumerate(values):
            part[:, i] = value
        parts.append(part)
    return parts[0], parts[1]


def _line(element: str) -> dict[str, FloatN]:
    line = read_ratios()[element]
    return {
        "slag_matte": tabulated(
            np.array([line.slag_matte]), f"slag over matte of {element}", "-", (), line.source
        ),
        "exponent": tabulated(np.array([line.exponent]), f"exponent of {element}", "-", (), line.source),
    }


def matte_fractions(grade: FloatN) -> tuple[FloatN, FloatN]:
    """Mole fractions of Cu2S and FeS in a matte of these two with ``grade`` (N,) [kg/kg] of copper."""
    cu2s = grade * _CU2S_PER_CU
    n_cu2s, n_fes = cu2s / _M_CU2S, (1.0 - cu2s) / _M_FES
    return n_cu2s / (n_cu2s + n_fes), n_fes / (n_cu2s + n_fes)


def oxygen_over_reference(n_cu2s: FloatN, n_fes: FloatN, model: str) -> FloatN:
    """(N,) pO2 over that of matte of the reference grade, at the same temperature, SO2 and a(FeO)."""
    activities = solutions.MATTE_ACTIVITIES[model]
    reference = activities(*matte_fractions(np.array([REFERENCE_GRADE])))[1]
    fes = activities(n_cu2s, np.where(n_fes > _LEAST_FES, n_fes, _LEAST_FES))[1]
    return (reference / fes) ** (2.0 / 3.0)


def at_oxygen(slag_matte: Floats, exponent: Floats, oxygen: FloatN) -> Floats:
    """L (N, K) where pO2 is ``oxygen`` (N,) times that of the reference grade."""
    return (slag_matte.T * oxygen**exponent.T).T  # scenarios stand side by side
