"""Every substance that an independent data set holds, against that data set.

``thermo_tolerances.csv`` pairs a substance with an entry of an oracle. Three quantities are compared:

    H298        tolerance: the uncertainty our own table states, so this tests that column too
    S298        tolerance in the file
    increment   H(T) - H at the lowest temperature, at 500, 1000, 1500 and 2000 K; tolerance in the file

``thermo_conflicts.csv`` names the pairs where published sources contradict each other by more than that. A
conflict must really be one: should the numbers come to agree, the test says so and the line has to go.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from checks import Check, listing
from thermo_oracles import SOURCES, crc_heat_of_fusion, read

from pyrobal.thermo.properties import species
from pyrobal.thermo.tables import find

HERE = Path(__file__).parent
LADDER = (500.0, 1000.0, 1500.0, 2000.0)
PRINTED = 0.05  # kJ/mol; sources print 0.1 kJ/mol
TOPIC = "Thermochemical tables"

# Heats of fusion of the chains [kJ/mol] against the CRC Handbook; tolerance, and why.
FUSION = {
    "Cu2O": ("1317-39-1", 1.5, "King 1973 against the handbook's choice"),
    "FeO": ("1345-25-1", 0.1, "rounding"),
    "Fe3O4": ("1317-61-9", 0.5, "rounding to the kJ"),
    "FeS": ("1317-37-9", 0.1, "rounding"),
    "PbS": ("1314-87-0", 0.1, "rounding"),
    "NiS": ("16812-54-7", 0.1, "rounding"),
    "PbO": ("1317-36-8", 0.1, "rounding"),
    "MoO3": ("1313-27-5", 0.3, "two assessments"),
    "Na2O": ("1313-59-3", 0.1, "rounding"),
    "Cu": ("7440-50-8", 0.2, "CODATA against the handbook"),
    "Fe": ("7439-89-6", 0.05, "same measurement"),
    "Ni": ("7440-02-0", 0.4, "NASA 2002 against the handbook"),
    "Co": ("7440-48-4", 0.05, "same measurement"),
    "Pb": ("7439-92-1", 0.1, "two assessments"),
    "Zn": ("7440-66-6", 0.3, "two assessments"),
    "Cu2S": ("22205-45-4", 1.0, "two assessments"),
}


def rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


CONFLICTS = {(r["substance"], r["oracle"], r["quantity"]): r["why"] for r in rows("thermo_conflicts.csv")}


def thermo_checks() -> list[tuple[tuple[str, str, str], Check]]:
    """(substance, oracle, quantity) and the comparison, for every pair in the file."""
    found = []
    for row in rows("thermo_tolerances.csv"):
        for quantity, check in _compare(row):
            found.append(((row["substance"], row["oracle"], quantity), check))
    for name, (cas, tolerance, why) in FUSION.items():
        liquid = next(k for k, s in enumerate(find(name).segments) if s.form == "liquid")
        heat = find(name).segments[liquid - 1].dH_transition
        assert heat is not None
        published, source = crc_heat_of_fusion(cas), SOURCES["crc2014"]
        what = f"{name}: heat of fusion"
        check = Check(TOPIC, what, source, published, heat / 1e3, "kJ/mol", tolerance, why)
        found.append(((name, "crc2014", "fusion"), check))
    return found


def _compare(row: dict[str, str]) -> list[tuple[str, Check]]:
    name, oracle, substance = row["substance"], row["oracle"], find(row["substance"])
    low = {"nasa1993": 300.0, "janaf1998": 298.15, "crc2014": 298.15}[oracle]
    published = read(oracle, row["entry"], (low, *LADDER))
    source, why = f"{SOURCES[oracle]}, {row['entry']}", row["why"]
    here = {T: (float(h) / 1e3, float(s)) for T, h, s in _ours(name, (low, *LADDER))}
    pairs = []
    if low in published.H:
        stated = max(substance.uncertainty / 1e3, PRINTED)
        what = f"{name}: H at {low:g} K"
        values = published.H[low], here[low][0]
        check = Check(TOPIC, what, source, *values, "kJ/mol", stated, "uncertainty stated in our table")
        pairs.append(("H298", check))
    if low in published.S:
        what = f"{name}: S at {low:g} K"
        values = published.S[low], here[low][1]
        check = Check(TOPIC, what, source, *values, "J/(mol K)", float(row["S298"]), why)
        pairs.append(("S298", check))
    top = min(substance.T_high, float(row["T_max"] or "inf"))
    for T in LADDER:
        if T in published.H and top >= T:
            what = f"{name}: H({T:g} K) - H({low:g} K)"
            rise = published.H[T] - published.H[low], here[T][0] - here[low][0]
            check = Check(TOPIC, what, source, *rise, "kJ/mol", float(row["increment"]), why)
            pairs.append(("increment" if T < 1500.0 else "increment above 1400 K", check))
    return pairs


def _ours(name: str, temperatures: tuple[float, ...]) -> list[tuple[float, float, float]]:
    T, one = np.array(temperatures), species(name)
    return list(zip(temperatures, one.enthalpy(T)[:, 0], one.entropy(T)[:, 0], strict=True))


KEYED = thermo_checks()
CHECKS = [check for key, check in KEYED if key not in CONFLICTS]
CONFLICTING = [replace(check, why=CONFLICTS[key]) for key, check in KEYED if key in CONFLICTS]


@pytest.fixture(scope="module", autouse=True)
def _print_listing() -> None:
    """Seen with ``pytest -s``."""
    print("\n" + listing([*CHECKS, *CONFLICTING]))


def _name(check: Check) -> str:
    return f"{check.what}-{check.source}"


@pytest.mark.parametrize("check", CHECKS, ids=_name)
def test_sources_agree(check: Check) -> None:
    assert check.ok, str(check)


@pytest.mark.parametrize("check", CONFLICTING, ids=_name)
def test_known_conflicts_are_still_there(check: Check) -> None:
    assert not check.ok, f"no conflict any more, take it out of thermo_conflicts.csv: {check}"


def test_every_conflict_is_met() -> None:
    assert set(CONFLICTS) <= {key for key, _ in KEYED}
