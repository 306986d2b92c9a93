"""Minor elements that the furnace shares out by distribution ratio, while its masses are sought.

Vapour rises with the gas: what leaves as fume, over what the matte holds, goes as the gas made per tonne of
matte (the vapour pressure over a melt of given composition is given). Dust and gas share the fume as in the
survey. What does not evaporate leaves by the dust in a fixed share, carried out with the charge.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, Floats, column, ratio
from pyrobal.constants import NM3, TONNE
from pyrobal.dimensions import constant
from pyrobal.plant.smelting.deportment import OUTLETS, by_ratio
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.plant.smelting.supply import WAYS, Supply, Worth, put_back
from pyrobal.streams.deportment import read_table
from pyrobal.streams.material import Material
from pyrobal.thermo import distribution
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.trace.solved import remembered

VOLATILE = ("As", "Sb", "Bi", "Pb", "Zn", "Cd", "Se", "Te")
# Furnace at which the survey's shares to dust and gas are taken to stand, per tonne of matte; an estimate.
REFERENCE_SLAG = 1.16  # t, iron silicate
REFERENCE_GAS = constant(800 * NM3 / TONNE, "mol/kg")  # leaving the melt, before the in-leakage


class Seen(NamedTuple):
    """What minor elements see of the melt, (N,) each.

    silica, lime : [kg/s] of dry flux; grade : [kg/kg] of the matte; slag [kg] and gas [mol] : per kg of matte
    """

    silica: FloatN
    lime: FloatN
    grade: FloatN
    slag: FloatN
    gas: FloatN


@dataclass(frozen=True, eq=False)
class Minors:
    """K elements by ratio. Arrays are (N, K); in memory each element's scenarios stand side by side.

    charge : [mol/s]; silica, lime : [mol/kg] of a flux, None where it holds none of them
    ratio : slag over matte at the grade that is set, at that of reference where the grade is sought
    exponent : power of pO2 that the ratio goes with, None where the grade is set
    fume_matte : [kg/mol] fume over matte, per mole of gas and kilogram of matte
    carried : dust over the rest of it, of what does not evaporate; dusty : dust, of the fume
    leaving, with_fume : see ``held``
    fields, worth : "matte", "slag" or "fume" -> fields of ``Supply`` that it adds to, and (N, K, F) what a
        mole there adds to each; of fume what goes with a mole in matte, per mole of gas and kilogram of matte
    """

    elements: tuple[str, ...]
    charge: Floats
    silica: Floats | None
    lime: Floats | None
    ratio: Floats
    exponent: Floats | None
    grade_model: str
    fume_matte: Floats
    carried: Floats
    dusty: Floats
    leaving: Floats
    with_fume: Floats
    fields: Mapping[str, tuple[str, ...]]
    worth: Mapping[str, Floats]

    @property
    def evaporate(self) -> bool:
        """True where the volume of gas matters."""
        return bool((self.fume_matte != 0).any())

    def held(self, seen: Seen) -> tuple[Floats, Floats]:
        """(K, N) [mol/s] in matte and in slag; fume goes with the matte, and dust that is carried with all.

        Dust that is put back goes round until the other outlets have carried off what came in, so that

            fed = matte (leaving (1 + slag / matte) + with_fume gas / matte)
        """
        fed = self.charge.T
        for flux, rate in ((self.silica, seen.silica), (self.lime, seen.lime)):
            if flux is not None:
                fed = fed + flux.T * rate
        over = self._ratio(seen.grade).T * seen.slag
        matte = fed / (self.leaving.T * (1.0 + over) + self.with_fume.T * seen.gas)
        return matte, matte * over

    def _ratio(self, grade: FloatN) -> Floats:
        if self.exponent is None:
            return self.ratio
        return _at_grade(grade, self.ratio, self.exponent, self.grade_model)

    def amounts(self, seen: Seen) -> dict[str, Floats]:
        """Outlet -> (N, K) [mol/s]; dust as blown out."""
        matte, slag = (x.T for x in self.held(seen))
        fume = matte * self.fume_matte * column(seen.gas)
        dust = self.carried * (matte + slag + fume) + self.dusty * fume
        return dict(zip(OUTLETS, (matte, slag, dust, (1.0 - self.dusty) * fume), strict=True))

    def sums(self, seen: Seen) -> dict[str, FloatN]:
        """What they add to the fields of ``Supply``."""
        matte, slag = self.held(seen)
        sums: dict[str, FloatN] = {}
        for part, worth in self.worth.items():
            each = np.einsum("nkf,kn->fn", worth, slag if part == "slag" else matte)
            each = each * seen.gas if part == "fume" else each
            for name, x in zip(self.fields[part], each, strict=True):
                sums[name] = sums[name] + x if name in sums else x
        return sums


def with_minors(supply: Supply, sums: dict[str, FloatN]) -> Supply:
    """The supply of the charge with what its minor elements add."""
    return supply._replace(**{name: getattr(supply, name) + x for name, x in sums.items()})


def minors(
    charge: Material, silica: Material | None, lime: Material | None, s: SmeltingSettings, worth: Worth
) -> Minors | None:
    """The minor elements that anything charged holds, None where there is none to share out by ratio."""
    materials = [m for m in (charge, silica, lime) if m is not None]
    places = {e: ELEMENTS.index(e) for e in by_ratio(s)}
    elements = tuple(
        e for e, i in places.items() if any((m.entry.elements[:, i] != 0).any() for m in materials)
    )
    if not elements:
        return None
    held, fume, dusty = _survey(elements)
    slag_matte, exponent = distribution.ratios(elements, s.distribution)
    at_reference = fume / (1.0 - fume) * (1.0 + slag_matte * REFERENCE_SLAG)
    set_ = s.oxygen_per_tonne is None
    carried, lost = held / (1.0 - held), column(1.0 - s.dust_return)
    index = [places[e] for e in elements]
    fume_matte = at_reference / REFERENCE_GAS
    fields, each = _worth(index, s, worth, carried, dusty, fume_matte)
    leaving = 1.0 + lost * carried
    in_flux = [None if m is None else _each(m.entry.elements, index) for m in (silica, lime)]
    in_flux = [x if x is not None and x.any() else None for x in in_flux]
    return Minors(
        elements=elements,
        charge=_each(charge.entry.elements, index),
        silica=in_flux[0],
        lime=in_flux[1],
        ratio=_at_grade(s.matte_grade, slag_matte, exponent, s.matte_activities) if set_ else slag_matte,
        exponent=None if set_ else exponent,
        grade_model=s.matte_activities,
        fume_matte=fume_matte,
        carried=carried,
        dusty=dusty,
        leaving=leaving,
        with_fume=(leaving - (1.0 - lost) * dusty) * fume_matte,
        fields=fields,
        worth=each,
    )


def _each(elements: FloatNE, index: list[int]) -> Floats:
    return np.stack([elements[:, i] for i in index]).T


def _at_grade(grade: FloatN, slag_matte: Floats, exponent: Floats, model: str) -> Floats:
    """(N, K) slag over matte, from what it is at the grade of reference."""
    oxygen = distribution.oxygen_over_reference(*distribution.matte_fractions(grade), model)
    return distribution.at_oxygen(slag_matte, exponent, oxygen)


@remembered()
def _survey(elements: tuple[str, ...]) -> tuple[Floats, Floats, Floats]:
    """Of the survey's shares, (1, K): carried out, leaving as fume, and dust of the fume."""
    table = read_table("smelting")
    dust, gas = (np.stack([table.share(e, o) for e in elements], axis=1) for o in ("dust", "gas"))
    volatile = np.array([[e in VOLATILE for e in elements]])
    fume = np.where(volatile, dust + gas, 0.0)
    return np.where(volatile, 0.0, dust), fume, np.where(volatile, ratio(dust, fume), 0.0)


def _worth(
    index: list[int], s: SmeltingSettings, worth: Worth, carried: Floats, dusty: Floats, fume_matte: Floats
) -> tuple[dict[str, tuple[str, ...]], dict[str, Floats]]:
    """``Minors.fields`` and ``Minors.worth``.

    With a mole in matte, slag or fume goes ``carried`` dust; of the fume ``dusty`` is dust, the rest gas.
    """
    none, share = np.zeros((1, len(index))), put_back(s)
    at = {way: worth.of(way, index) for way in WAYS}
    parts: dict[str, dict[str, Floats]] = {"matte": {}, "slag": {}, "fume": {}}
    for name in Supply._fields:
        by = {way: fields.get(name, none) for way, fields in at.items()}
        dust = by["dust"] + sum(column(part) * by[way] for way, part in share.items())
        dusts = carried * dust
        parts["matte"][name], parts["slag"][name] = by["matte"] + dusts, by["slag"] + dusts
        parts["fume"][name] = fume_matte * (dusts + dusty * dust + (1.0 - dusty) * by["gas"])
    used = {part: {name: x for name, x in each.items() if x.any()} for part, each in parts.items()}
    fields = {part: tuple(each) for part, each in used.items() if each}
    return fields, {part: np.stack(np.broadcast_arrays(*used[part].values()), axis=2) for part in fields}
