"""Where each element of the charge goes: what is settled before any equation is solved.

Copper, iron and sulfur are left to the melt, minor elements by distribution ratio to ``minors``. Everything
else has one place by nature (silica, lime, alumina to the slag; carbon and hydrogen to the gas) or is shared
out by the user's own shares or the table's.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS, Floats, column, ratio, zeros
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.streams import sulfation
from pyrobal.streams.deportment import GANGUE_IN_DUST, GANGUE_IN_SLAG, carrier_matrix, read_table
from pyrobal.streams.deportment import shares as minor_shares
from pyrobal.streams.material import Material
from pyrobal.streams.mixing import cold
from pyrobal.streams.stream import Stream
from pyrobal.streams.sulfation import sulfated
from pyrobal.thermo.distribution import read_ratios
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import Species, species
from pyrobal.trace.solved import remembered

OUTLETS = ("matte", "slag", "dust", "gas")
_TRACE_METALS = {e: f"{e}(l)" for e in ("Se", "Te", "Au", "Ag")}

# Carrier of each element in each outlet; copper, iron and sulfur of the melt are solved for instead.
_MATTE = {
    "Pb": "PbS(l)", "Zn": "ZnS(l)", "Cd": "CdS(l)", "Ni": "Ni3S2(l)", "Co": "Co(l)", "As": "As(l)",
    "Sb": "Sb(l)", "Bi": "Bi(l)",
    **_TRACE_METALS,
}  # fmt: skip
_SLAG = {
    **GANGUE_IN_SLAG, "Pb": "PbO(l)", "Zn": "ZnO(slag)", "Cd": "CdO(slag)", "Ni": "NiO(slag)",
    "Co": "CoO(slag)",
    "As": "As2O3(slag)", "Sb": "Sb2O3(slag)", "Bi": "Bi2O3(slag)", "Mo": "MoO2(slag)", **_TRACE_METALS,
}  # fmt: skip
_GAS = {
    "C": "CO2(g)", "H": "H2O(g)", "N": "N2(g)", "Ar": "Ar(g)", "As": "As4O6(g)",
    "Pb": "PbO(g)", "Sb": "Sb(g)",
    "Bi": "Bi(g)", "Zn": "Zn(g)", "Cd": "Cd(g)", "Se": "SeO2(g)", "Te": "TeO2(g)",
    "Hg": "Hg(g)", "Cl": "HCl(g)", "F": "HF(g)",
}  # fmt: skip
_DUST = {
    "Cu": "Cu2O", "Fe": "Fe3O4", **GANGUE_IN_DUST, "Cd": "CdO", "As": "As2O3(dust)", "Sb": "Sb2O3(dust)",
    "Bi": "Bi2O3(dust)", "Pb": "PbO", "Zn": "ZnO",
    "Ni": "NiO", "Co": "CoO", "Mo": "MoO3(dust)", "Se": "Se(l)", "Te": "Te(l)", "Au": "Au", "Ag": "Ag",
    "Hg": "Hg", "Cl": "Cl", "F": "F",
}  # fmt: skip
_MECHANICAL = ("Cu", "Fe", *GANGUE_IN_SLAG)  # carried out as they are charged
MATTE_SOLVED = ("Cu2S(l)", "FeS(l)", "Fe3O4(slag)", "Cu(l)", "Rest(slag)")
SLAG_SOLVED = ("FeO(slag)", "Fe3O4(slag)", "Cu2O(l)", "Cu2S(l)", "FeS(l)", "Cu(l)", "Rest(slag)")
_GAS_SOLVED = ("SO2(g)", "O2(g)", "N2(g)", "Ar(g)", "CO2(g)", "H2O(g)")


@remembered()
def phases() -> dict[str, Species]:
    """The S axis of each outlet."""
    return {
        "matte": species(*MATTE_SOLVED, *_MATTE.values()),
        "slag": species(*dict.fromkeys((*SLAG_SOLVED, *_SLAG.values()))),
        "dust": species(*_DUST.values()),
        "gas": species(*dict.fromkeys((*_GAS_SOLVED, *_GAS.values()))),
    }


@remembered()
def carriers(outlet: str) -> Floats:
    """(E, S) [mol species per mol element] of the carrier of each element; nil where there is none."""
    return carrier_matrix(
        phases()[outlet], {"matte": _MATTE, "slag": _SLAG, "dust": _DUST, "gas": _GAS}[outlet]
    )


def by_ratio(s: SmeltingSettings) -> tuple[str, ...]:
    """Elements shared out by distribution ratio: those of the table without shares of the user's own."""
    return tuple(e for e in read_ratios() if e not in s.deportment)


@dataclass(frozen=True, eq=False)
class Allotment:
    """Elements whose place is settled in advance, (N, E) each; per kilogram where they are of a flux.

    matte, slag, dust, gas : what leaves there, in its ``carriers``; dust as blown out
    """

    matte: FloatNE
    slag: FloatNE
    dust: FloatNE
    gas: FloatNE

    def plus(self, other: Allotment, factor: FloatN) -> Allotment:
        """This and ``factor`` (N,) times the other."""
        pairs = ((getattr(self, outlet), getattr(other, outlet)) for outlet in OUTLETS)
        return Allotment(*(own + column(factor) * more if more.any() else own for own, more in pairs))

    def streams(self) -> dict[str, FloatNS]:
        """Outlet -> (N, S) of its phase."""
        return {outlet: getattr(self, outlet) @ carriers(outlet) for outlet in OUTLETS}


def settled(s: SmeltingSettings) -> dict[str, FloatNE]:
    """Outlet -> (N, E) share of each element that leaves there, whatever material brings it.

    A minor element leaves in the shares of the table, taken of all that enters: where dust is put back
    its share goes round until the other outlets have carried off what came in.
    """
    minors = minor_shares(read_table("smelting"), s.deportment, apart=by_ratio(s))
    held = [s.dust_return, *(share for by_outlet in minors.values() for share in by_outlet.values())]
    shares = {o: zeros((max(map(len, held)), len(ELEMENTS)), *held) for o in OUTLETS}
    for element in ("C", "H", "N", "Ar"):
        shares["gas"][:, ELEMENTS.index(element)] = 1.0
    for element, share in minors.items():
        i = ELEMENTS.index(element)
        round_trip = 1.0 - s.dust_return * share["dust"]
        for outlet in OUTLETS:
            shares[outlet][:, i] = share[outlet] / round_trip
    return shares


def allot(material: Material, s: SmeltingSettings, shares: Mapping[str, FloatNE]) -> Allotment:
    """Share out the elements of one material, by the shares that are ``settled``.

    Mechanical dust is ``s.dust`` of the dry mass, each of the material's solids in proportion, as oxides;
    of what is gangue the slag keeps the rest.
    """
    v = material.entry.elements
    carried = ratio(s.dust * material.dry_mass, v @ _oxide_mass_per_mole())
    kept = 1.0 - (1.0 - s.dust_return) * carried
    return Allotment(
        matte=v * shares["matte"],
        slag=v * (shares["slag"] + column(kept) * _among(GANGUE_IN_SLAG)),
        dust=v * (shares["dust"] + column(carried) * _among(_MECHANICAL)),
        gas=v * shares["gas"],
    )


def _among(elements: Container[str]) -> Floats:
    """(E,) one for each of them."""
    return np.array([float(e in elements) for e in ELEMENTS])


def returned(dust: FloatNS, s: SmeltingSettings) -> Stream:
    """What comes back of the dust blown out (N, S) [mol/s], cold, its oxides part sulfate."""
    return sulfated(_back(dust, s), s.dust_sulfation)


def taken_up(dust: FloatNS, s: SmeltingSettings, gas_temperature: FloatN) -> Stream:
    """SO2 and O2 of the gas behind the furnace that have become part of it."""
    return sulfation.taken_up(_back(dust, s), s.dust_sulfation, gas_temperature)


def _back(dust: FloatNS, s: SmeltingSettings) -> Stream:
    return Stream(phases()["dust"], dust, cold()).scaled(s.dust_return)


@remembered()
def _oxide_mass_per_mole() -> Floats:
    """(E,) [kg of dust oxide per mol element] of the elements that are carried out mechanically."""
    return _among(_MECHANICAL) * (carriers("dust") @ phases()["dust"].molar_mass)
