"""Matte, slag and dust of the electric furnace: their species, and the carrier of each element."""

from __future__ import annotations

from collections.abc import Mapping

from pyrobal.streams.deportment import GANGUE_IN_SLAG
from pyrobal.thermo.properties import Species, species
from pyrobal.trace.solved import remembered

MINORS = ("As", "Sb", "Bi", "Pb", "Zn", "Cd", "Ni", "Co", "Mo")
WITH_COPPER = ("Se", "Te", "Au", "Ag")  # carried by suspended matte, so they settle as the copper does
_NOBLE = {e: f"{e}(l)" for e in WITH_COPPER}
MATTE = {
    "Pb": "PbS(l)", "Zn": "ZnS(l)", "Cd": "CdS(l)", "Ni": "Ni3S2(l)", "Co": "Co(l)", "As": "As(l)",
    "Sb": "Sb(l)", "Bi": "Bi(l)", **_NOBLE,
}  # fmt: skip
SLAG = {
    **GANGUE_IN_SLAG, "Pb": "PbO(l)", "Zn": "ZnO(slag)", "Cd": "CdO(slag)", "Ni": "NiO(slag)",
    "Co": "CoO(slag)", "As": "As2O3(slag)",
    "Sb": "Sb2O3(slag)", "Bi": "Bi2O3(slag)", "Mo": "MoO2(slag)", **_NOBLE,
}  # fmt: skip
DUST = {
    "As": "As2O3(dust)", "Sb": "Sb2O3(dust)", "Bi": "Bi2O3(dust)", "Pb": "PbO", "Zn": "ZnO", "Cd": "CdO",
    "Ni": "NiO", "Co": "CoO", "Mo": "MoO3(dust)", "Se": "Se(l)", "Te": "Te(l)", "Au": "Au", "Ag": "Ag",
}  # fmt: skip
SULFIDE_AND_METAL = ("Cu2S(l)", "FeS(l)", "Cu(l)")
SLAG_SOLVED = ("FeO(slag)", "Fe3O4(slag)", "Cu2O(l)", *SULFIDE_AND_METAL)


@remembered()
def carriers() -> Mapping[str, tuple[Species, Mapping[str, str]]]:
    """Outlet -> its S axis and the carrier of each element that is not solved for."""
    return {
        "matte": (species(*SULFIDE_AND_METAL, *MATTE.values()), MATTE),
        "slag": (species(*SLAG_SOLVED, *SLAG.values()), SLAG),
        "dust": (species(*DUST.values()), DUST),
    }
