"""Where each element fed to a converter goes, before any equation is solved.

Copper, iron and sulfur are left to the bath. Silica, lime and alumina go to the slag, carbon and hydrogen to
the gas, minor elements in the shares of a table; a little of all that is fed is carried out as dust.
"""

from __future__ import annotations

import csv
import functools
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS, Floats, column, zeros
from pyrobal.constants import PERCENT
from pyrobal.plant.converting.settings import ConvertingSettings
from pyrobal.streams.deportment import GANGUE_IN_DUST, GANGUE_IN_SLAG, carrier_matrix
from pyrobal.thermo.elements import ATOMIC_MASS, ATOMIC_MASS_OF, ELEMENTS
from pyrobal.thermo.files import data_root, survey
from pyrobal.thermo.properties import Species, species
from pyrobal.trace.solved import remembered, tabulated

OUTLETS = ("blister", "slag", "offgas")
MINORS = ("As", "Sb", "Bi", "Pb", "Zn", "Cd", "Ni", "Co", "Mo", "Se", "Te", "Au", "Ag", "Hg", "Cl", "F")
GASEOUS = ("C", "H", "N", "Ar")
CU, FE, SULFUR, OXYGEN = (ELEMENTS.index(e) for e in ("Cu", "Fe", "S", "O"))

# Carrier of each element. Minor elements of the offgas leave as vapour where their oxide is volatile at the
# temperature of the hood, else as the oxide in the dust.
_NOBLE = {e: f"{e}(l)" for e in ("As", "Sb", "Bi", "Co", "Se", "Te", "Au", "Ag")}
CARRIERS: dict[str, dict[str, str]] = {
    "matte": {"Pb": "PbS(l)", "Zn": "ZnS(l)", "Cd": "CdS(l)", "Ni": "Ni3S2(l)", **_NOBLE},
    "copper": {"Pb": "Pb(l)", "Zn": "Zn(l)", "Cd": "Cd(l)", "Ni": "Ni(l)", **_NOBLE},
    "slag": {
        **GANGUE_IN_SLAG, "Pb": "PbO(l)", "Zn": "ZnO(slag)", "Cd": "CdO(slag)", "Ni": "NiO(slag)",
        "Co": "CoO(slag)", "As": "As2O3(slag)", "Sb": "Sb2O3(slag)", "Bi": "Bi2O3(slag)", "Mo": "MoO2(slag)",
        **{e: _NOBLE[e] for e in ("Se", "Te", "Au", "Ag")},
    },
    "gas": {
        "C": "CO2(g)", "H": "H2O(g)", "N": "N2(g)", "Ar": "Ar(g)", "As": "As4O6(g)", "Se": "SeO2(g)",
        "Te": "TeO2(g)", "Hg": "Hg(g)", "Cl": "HCl(g)", "F": "HF(g)",
    },
    "dust": {
        "Cu": "Cu2O", "Fe": "Fe3O4", **GANGUE_IN_DUST, "Cd": "CdO", "Sb": "Sb2O3(dust)",
        "Bi": "Bi2O3(dust)", "Pb": "PbO", "Zn": "ZnO",
        "Ni": "NiO", "Co": "CoO", "Mo": "MoO3(dust)", "Au": "Au", "Ag": "Ag",
    },
}  # fmt: skip
_MATTE = ("Cu2S(l)", "FeS(l)", "Fe3O4(slag)")
_COPPER = ("Cu(l)", "Cu2O(l)", "Cu2S(l)")
_SLAG = ("FeO(slag)", "Fe3O4(slag)", "Cu2O(l)", "Cu2S(l)", "Cu(l)")
_GAS = ("SO2(g)", "O2(g)", "N2(g)", "Ar(g)", "CO2(g)", "H2O(g)")


@remembered()
def phases() -> dict[str, Species]:
    """The S axis of each phase; "bath" is matte and copper side by side."""
    minor = {phase: tuple(names.values()) for phase, names in CARRIERS.items()}
    matte, copper = (*_MATTE, *minor["matte"]), (*_COPPER, *minor["copper"])
    return {
        "bath": species(*dict.fromkeys((*matte, *copper))),
        "blister": species(*copper),
        "slag": species(*_SLAG, *minor["slag"]),
        "gas": species(*dict.fromkeys((*_GAS, *minor["gas"]))),
        "dust": species(*minor["dust"]),
    }


@remembered()
def carried(carriers: str, phase: str) -> Floats:
    """(E, S) [mol species per mol element] of a set of carriers on the S axis of a phase."""
    return carrier_matrix(phases()[phase], CARRIERS[carriers])


@functools.lru_cache
def table_shares() -> dict[str, tuple[tuple[float, dict[str, float], str], ...]]:
    """Element -> ((grade [kg/kg], outlet -> share, source), ...) by rising grade, each row scaled to a sum of
    one."""
    table: dict[str, list[tuple[float, dict[str, float], str]]] = {}
    with (data_root() / "deportment_converting.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(line for line in file if not line.startswith("#")):
            shares = {outlet: float(row[outlet]) for outlet in OUTLETS}
            total = sum(shares.values())
            scaled = {outlet: share / total for outlet, share in shares.items()}
            table.setdefault(row["element"], []).append((float(row["grade"]) * PERCENT, scaled, survey(row)))
    return {element: tuple(rows) for element, rows in table.items()}


def minor_share(element: str, grade: FloatN, s: ConvertingSettings) -> dict[str, FloatN]:
    """Outlet -> (N,) share of a minor element at a matte grade (N,) [kg/kg].

    The user's own figures, scaled to a sum of one (outlets not named get nothing), or the table's, linear
    between its grades and held beyond them.
    """
    given = s.deportment.get(element)
    if given:
        total = sum(given.values(), np.zeros(1))
        return {outlet: given.get(outlet, np.zeros(1)) / total for outlet in OUTLETS}
    (low, at_low, source), (high, at_high, _) = table_shares()[element]
    x = np.clip((grade - low) / (high - low), 0.0, 1.0)

    def share(row: dict[str, float], outlet: str) -> FloatN:
        return tabulated(np.array([row[outlet]]), f"share of {element} to {outlet}", "-", (), source)

    return {o: share(at_low, o) + (share(at_high, o) - share(at_low, o)) * x for o in OUTLETS}


@dataclass(frozen=True, eq=False)
class Shares:
    """Share of each element fed that goes to slag, dust and gas; the rest stays in the bath.

    slag, dust, gas : (N, E) [-]
    """

    slag: FloatNE
    dust: FloatNE
    gas: FloatNE


def shares(grade: FloatN, s: ConvertingSettings) -> Shares:
    """The shares of a converter fed with matte of a grade (N,) [kg/kg]."""
    held = [grade, s.dust, *(x for t in s.deportment.values() for x in t.values())]
    slag, dust, gas = (zeros((max(map(len, held)), len(ELEMENTS)), *held) for _ in range(3))
    for element in ("Cu", "Fe", *GANGUE_IN_SLAG):
        dust[:, ELEMENTS.index(element)] = s.dust
    for element in GANGUE_IN_SLAG:
        slag[:, ELEMENTS.index(element)] = 1.0 - s.dust
    for element in GASEOUS:
        gas[:, ELEMENTS.index(element)] = 1.0
    for element in MINORS:
        i, share = ELEMENTS.index(element), minor_share(element, grade, s)
        slag[:, i] = share["slag"]
        (gas if element in CARRIERS["gas"] else dust)[:, i] = share["offgas"]
    return Shares(slag, dust, gas)


@dataclass(frozen=True, eq=False)
class Settled:
    """What becomes of a feed, amounts in mol, per second, per step or per kilogram alike.

    slag, dust, gas : (N, S) species settled there
    bath : (N, E) elements that stay in the bath, sulfur and oxygen not among them
    sulfur, oxygen : (N,) atoms the feed brings beyond those in what has settled
    """

    slag: FloatNS
    dust: FloatNS
    gas: FloatNS
    bath: FloatNE
    sulfur: FloatN
    oxygen: FloatN

    def plus(self, other: Settled, factor: FloatN) -> Settled:
        """This and ``factor`` (N,) times the other."""
        f = column(factor)
        return Settled(
            self.slag + f * other.slag, self.dust + f * other.dust, self.gas + f * other.gas,
            self.bath + f * other.bath, self.sulfur + factor * other.sulfur,
            self.oxygen + factor * other.oxygen,
        )  # fmt: skip

    def scaled(self, factor: float) -> Settled:
        """``factor`` times as much."""
        return Settled(
            *(getattr(self, name) * factor for name in ("slag", "dust", "gas", "bath", "sulfur", "oxygen"))
        )

    @property
    def slag_mass(self) -> FloatN:
        """(N,) kg settled to the slag."""
        mass: FloatN = self.slag @ phases()["slag"].molar_mass
        return mass

    @property
    def silica(self) -> FloatN:
        """(N,) kg SiO2 settled to the slag."""
        return self._slag_part("SiO2(l)")

    @property
    def lime(self) -> FloatN:
        """(N,) kg CaO settled to the slag."""
        return self._slag_part("CaO(slag)")

    def _slag_part(self, name: str) -> FloatN:
        phase = phases()["slag"]
        i = phase.index(name)
        return self.slag[:, i] * phase.molar_mass[i]


def settle(elements: FloatNE, to: Shares) -> Settled:
    """Share out the elements (N, E) mol of a feed."""
    slag = (elements * to.slag) @ carried("slag", "slag")
    dust = (elements * to.dust) @ carried("dust", "dust")
    gas = (elements * to.gas) @ carried("gas", "gas")
    bath = elements * (1.0 - to.slag - to.dust - to.gas)
    bath[:, [SULFUR, OXYGEN]] = 0.0
    p = phases()
    held = slag @ p["slag"].composition + dust @ p["dust"].composition + gas @ p["gas"].composition
    return Settled(
        slag, dust, gas, bath, elements[:, SULFUR] - held[:, SULFUR], elements[:, OXYGEN] - held[:, OXYGEN]
    )


def settle_nothing() -> Settled:
    """A feed of nothing."""
    p, zero = phases(), np.zeros(1)
    slag, dust, gas = (np.zeros((1, len(p[name]))) for name in ("slag", "dust", "gas"))
    return Settled(slag, dust, gas, np.zeros((1, len(ELEMENTS))), zero, zero)


def settle_charged(elements: FloatNE, to: Shares) -> Settled:
    """As ``settle``, of matte that is already in the bath: what settles is taken out of it."""
    fed = settle(elements, to)
    there = elements.copy()
    there[:, [SULFUR, OXYGEN]] = 0.0
    return Settled(
        fed.slag, fed.dust, fed.gas, fed.bath - there,
        fed.sulfur - elements[:, SULFUR], fed.oxygen - elements[:, OXYGEN],
    )  # fmt: skip


def grade_of(elements: FloatNE) -> FloatN:
    """(N,) [kg/kg] copper in a matte of these elements (N, E) mol."""
    grade: FloatN = elements[:, CU] * ATOMIC_MASS_OF["Cu"] / (elements @ ATOMIC_MASS)
    return grade
