"""Independent thermochemical data sets, read through general libraries; nothing here touches pyrobal.

nasa1993 : NASA TM-4513 polynomials (McBride, Gordon & Reno 1993), carried by cantera. Most condensed entries
    begin at 300 K, so enthalpies are compared at 300 K and from there on, never extrapolated to 298.15 K.
janaf1998 : NIST-JANAF Thermochemical Tables, 4th edition (Chase 1998), the printed tables, carried by janaf.
crc2014 : CRC Handbook of Chemistry and Physics, 95th edition, standard thermodynamic properties and
    enthalpies of fusion, carried by chemicals with the method pinned.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cantera
import janaf
from chemicals import phase_change, reaction

SOURCES = {
    "nasa1993": "NASA TM-4513 (1993)",
    "janaf1998": "NIST-JANAF, 4th ed. (1998)",
    "crc2014": "CRC Handbook, 95th ed. (2014)",
}
_NUMBER = re.compile(r"-?\d+(\.\d*)?")
_CRC = {
    "s": (reaction.Hfs, reaction.S0s),
    "l": (reaction.Hfl, reaction.S0l),
    "g": (reaction.Hfg, reaction.S0g),
}


@dataclass(frozen=True)
class Published:
    """H (kJ/mol, elements at 298.15 K = 0) and S (J/(mol K)) at the temperatures the data set holds."""

    H: dict[float, float]
    S: dict[float, float]


def read(oracle: str, entry: str, temperatures: tuple[float, ...]) -> Published:
    """Values of an entry at those of the temperatures that lie in its stated range."""
    return {"nasa1993": _nasa1993, "janaf1998": _janaf1998, "crc2014": _crc2014}[oracle](entry, temperatures)


@lru_cache(maxsize=1)
def _nasa_species() -> dict[str, Any]:
    files = ("nasa_gas.yaml", "nasa_condensed.yaml")
    return {s.name: s.thermo for file in files for s in cantera.Species.list_from_file(file)}


def _nasa1993(entry: str, temperatures: tuple[float, ...]) -> Published:
    """``entry``: names of the forms in order, joined by "+"; each counts in its own range only."""
    H, S = {}, {}
    for name in entry.split("+"):
        thermo = _nasa_species()[name]
        for T in temperatures:
            if thermo.min_temp <= T <= thermo.max_temp and T not in H:
                H[T], S[T] = thermo.h(T) / 1e6, thermo.s(T) / 1e3
    return Published(H, S)


def _janaf1998(entry: str, temperatures: tuple[float, ...]) -> Published:
    """``entry``: the number of the table. H is the printed H - H(Tr) plus the heat of formation at Tr."""
    H: dict[float, float] = {}
    S: dict[float, float] = {}
    formation = 0.0
    for cells in _janaf_lines(entry):
        T, entropy, increment = float(cells[0]), float(cells[2]), float(cells[4])
        if T == 298.15:
            formation = float(cells[5])
        if T in temperatures and T not in H:
            H[T], S[T] = increment, entropy
    return Published({T: value + formation for T, value in H.items()}, S)


def read_heat_capacity(entry: str, temperatures: tuple[float, ...]) -> dict[float, tuple[float, float]]:
    """H - H(Tr) [kJ/mol] and Cp [J/(mol K)] of a NIST-JANAF table, by temperature."""
    lines = ((float(cells[0]), cells) for cells in _janaf_lines(entry))
    return {T: (float(cells[4]), float(cells[1])) for T, cells in lines if T in temperatures}


def _janaf_lines(entry: str) -> Iterator[list[str]]:
    """The cells of every line of numbers; lines of text, as at a transition, are left out."""
    for line in janaf.Table(entry).raw.split("\n")[2:]:
        cells = line.split("\t")
        if len(cells) > 5 and all(_NUMBER.fullmatch(cell) for cell in cells[:5]):
            yield cells


def _crc2014(entry: str, temperatures: tuple[float, ...]) -> Published:
    """``entry``: state (s, l, g) and CAS number, "s 1317-39-1"."""
    state, cas = entry.split()
    enthalpy, entropy = (function(cas, method="CRC") for function in _CRC[state])
    return Published(
        {} if enthalpy is None else {298.15: enthalpy / 1e3}, {} if entropy is None else {298.15: entropy}
    )


def crc_heat_of_fusion(cas: str) -> float:
    """kJ/mol."""
    return float(phase_change.Hfus(cas, method="CRC")) / 1e3
