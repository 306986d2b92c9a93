"""The copper: what is blown out of it, what is slagged, what the reductant takes, all by difference.

Every amount follows from the two targets in turn, so there is nothing to iterate.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS, zeros
from pyrobal.plant.anode_furnace.settings import AnodeFurnaceSettings
from pyrobal.streams.deportment import GANGUE_IN_SLAG, Shares, read_table, share_out, shares
from pyrobal.thermo.elements import ATOMIC_MASS_OF, ELEMENTS
from pyrobal.thermo.properties import Species, species
from pyrobal.trace.solved import remembered

_CU2O_PER_CU = (2 * ATOMIC_MASS_OF["Cu"] + ATOMIC_MASS_OF["O"]) / (2 * ATOMIC_MASS_OF["Cu"])  # kg/kg

_NOBLE = {e: f"{e}(l)" for e in ("Se", "Te", "Au", "Ag")}
_ANODE = {e: f"{e}(l)" for e in ("Fe", "Pb", "Zn", "Cd", "Ni", "Co", "As", "Sb", "Bi")} | _NOBLE
_SLAG = {
    **GANGUE_IN_SLAG, "Fe": "Fe3O4(slag)", "Pb": "PbO(l)", "Zn": "ZnO(slag)", "Cd": "CdO(slag)",
    "Ni": "NiO(slag)", "Co": "CoO(slag)",
    "As": "As2O3(slag)", "Sb": "Sb2O3(slag)", "Bi": "Bi2O3(slag)", "Mo": "MoO2(slag)", **_NOBLE,
}  # fmt: skip
_DUST = {
    "Rest": "Rest", "Fe": "Fe3O4", "As": "As2O3(dust)", "Sb": "Sb2O3(dust)", "Bi": "Bi2O3(dust)", "Pb": "PbO",
    "Zn": "ZnO", "Cd": "CdO", "Ni": "NiO", "Co": "CoO", "Mo": "MoO3(dust)", "Se": "Se(l)", "Te": "Te(l)",
    "Au": "Au", "Ag": "Ag",
}  # fmt: skip
_ANODE_SOLVED = ("Cu(l)", "Cu2O(l)", "Cu2S(l)")


@remembered()
def carriers() -> Mapping[str, tuple[Species, Mapping[str, str]]]:
    """Outlet -> its S axis and the carrier of each element that is not solved for."""
    return {
        "anode": (species(*_ANODE_SOLVED, *_ANODE.values()), _ANODE),
        "slag": (species("Cu2O(l)", *_SLAG.values()), _SLAG),
        "dust": (species(*_DUST.values()), _DUST),
    }


@dataclass(frozen=True, eq=False)
class Refined:
    """Amounts, those of streams on the axes of ``carriers``.

    anode, slag, dust : (N, S) [mol/s]
    so2 : (N,) [mol/s] sulfur blown out
    taken_up : (N,) [mol/s] O that copper, sulfur and slag take from the air
    removed : (N,) [mol/s] O that the reductant takes from the copper
    """

    anode: FloatNS
    slag: FloatNS
    dust: FloatNS
    so2: FloatN
    taken_up: FloatN
    removed: FloatN


def refine(charged: FloatNE, s: AnodeFurnaceSettings) -> Refined:
    """Blow to the sulfur target, skim, reduce to the oxygen target. ``charged`` : (N, E) [mol/s].

    The blow ends at ``oxygen_after_oxidation``; blister that holds more than that is not blown, and the
    reductant takes out what it has.
    """
    settled = share_out(charged, _shares(s), carriers())
    copper, sulfur, oxygen = (charged[:, ELEMENTS.index(e)] for e in ("Cu", "S", "O"))
    slag_copper = _slagged_copper(settled["slag"], s.slag_copper)
    plain = (copper - slag_copper) * ATOMIC_MASS_OF["Cu"] + settled["anode"] @ carriers()["anode"][
        0
    ].molar_mass
    kept_sulfur, anode_oxygen = _dissolved(plain, sulfur, s)
    oxidised = (
        s.oxygen_after_oxidation
        * (plain + kept_sulfur * ATOMIC_MASS_OF["S"])
        / (1.0 - s.oxygen_after_oxidation)
    )
    so2 = sulfur - kept_sulfur
    bound = _oxygen(settled["slag"], "slag") + _oxygen(settled["dust"], "dust") + slag_copper / 2
    wanted = oxidised / ATOMIC_MASS_OF["O"] + 2 * so2 + bound - oxygen
    taken_up = np.maximum(wanted, 0.0)
    removed = oxygen + taken_up - 2 * so2 - bound - anode_oxygen
    metal = copper - slag_copper - 2 * anode_oxygen - 2 * kept_sulfur
    return Refined(
        anode=_with_first(settled["anode"], metal, anode_oxygen, kept_sulfur),
        slag=_with_first(settled["slag"], slag_copper / 2),
        dust=settled["dust"],
        so2=so2,
        taken_up=taken_up,
        removed=removed,
    )


def _shares(s: AnodeFurnaceSettings) -> Shares:
    """Where everything goes that is not copper, sulfur or oxygen; what is slag already stays slag."""
    slag = {"anode": np.zeros(1), "slag": np.ones(1), "dust": np.zeros(1)}
    return dict.fromkeys(GANGUE_IN_SLAG, slag) | shares(read_table("anode"), s.deportment)


def _slagged_copper(slag: FloatNS, share: FloatN) -> FloatN:
    """Copper (N,) [mol/s] that as Cu2O makes up ``share`` (N,) [kg/kg] of the slag: x = w (m + k x)."""
    other = slag @ carriers()["slag"][0].molar_mass
    copper: FloatN = share * other / (1.0 - _CU2O_PER_CU * share) / ATOMIC_MASS_OF["Cu"]
    return copper


def _dissolved(plain: FloatN, sulfur: FloatN, s: AnodeFurnaceSettings) -> tuple[FloatN, FloatN]:
    """Sulfur and oxygen (N,) [mol/s] left in the copper; no more sulfur than there is.

    plain : (N,) [kg/s] copper and what is dissolved in it but for sulfur and oxygen
    """
    target = s.sulfur * plain / (1.0 - s.sulfur - s.oxygen) / ATOMIC_MASS_OF["S"]
    kept = np.minimum(target, sulfur)
    return kept, s.oxygen * (plain + kept * ATOMIC_MASS_OF["S"]) / (1.0 - s.oxygen) / ATOMIC_MASS_OF["O"]


def _oxygen(amounts: FloatNS, outlet: str) -> FloatN:
    held: FloatN = amounts @ carriers()[outlet][0].composition[:, ELEMENTS.index("O")]
    return held


def _with_first(settled: FloatNS, *solved: FloatN) -> FloatNS:
    """The settled amounts with the solved species, which stand first on the axis."""
    first = np.stack(np.broadcast_arrays(*solved), axis=1)
    rows = max(len(first), len(settled))
    n = settled + zeros((rows, settled.shape[1]), first)
    n[:, : first.shape[1]] += first
    return n
