"""What a kilogram of matte is made of: of its own grade by difference, or as a plant's own assay says.

Matte is Cu2S, FeS and magnetite beside the sulfides and metals of the minor elements. Where nothing else is
set its oxygen is the predicted one and FeS is what is left. Iron or sulfur that is set needs something else
that is free, in the order in which a metallurgist would explain an assay:

- iron alone: sulfur is what copper and the iron that is not oxide bind. Less iron than by difference leaves
  room for matter that no assay names (slag held in the matte, elements not looked for); more iron is oxide,
  since iron metal would burn where there is SO2, so the oxygen of the matte rises above the predicted one.
- sulfur alone: what is not sulfide is magnetite, so oxygen is free and iron follows.
- both: iron that sulfur does not bind is magnetite, what is left is other matter; where the whole then comes
  to more than 100 % some of that oxide is metal.
- with oxygen set too: sulfur that is missing is metal. The metal is copper: copper gives up its sulfur to
  iron, FeS + 2 Cu = Cu2S + Fe lies far to the left.

An amount below zero is an assay that no such matte has; ``solve`` names which.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.plant.smelting.settings import SmeltingSettings
from pyrobal.thermo.elements import ATOMIC_MASS_OF

M_CU, M_FE, M_S, M_O, M_REST = (
    ATOMIC_MASS_OF["Cu"],
    ATOMIC_MASS_OF["Fe"],
    ATOMIC_MASS_OF["S"],
    ATOMIC_MASS_OF["O"],
    ATOMIC_MASS_OF["Rest"],
)
M_CU2S, M_FES = 2 * M_CU + M_S, M_FE + M_S
M_FEO, M_FE3O4, M_CU2O = M_FE + M_O, 3 * M_FE + 4 * M_O, 2 * M_CU + M_O


class MatteOf(NamedTuple):
    """(N,) [mol/kg]: sulfides, magnetite, copper metal, and matter that no assay names."""

    cu2s: FloatN
    fes: FloatN
    fe3o4: FloatN
    copper: FloatN
    other: FloatN

    def times(self, mass: FloatN) -> MatteOf:
        """(N,) [mol/s] of ``mass`` (N,) [kg/s]; what no scenario has stays a single zero."""
        return MatteOf(*(x if x is NONE else mass * x for x in self))


NONE = np.zeros(1)


def matte_of(
    s: SmeltingSettings, grade: FloatN, oxygen: FloatN, minor_mass: FloatN, minor_sulfur: FloatN
) -> MatteOf:
    """A kilogram of matte.

    grade, oxygen : (N,) [kg/kg], oxygen as set or predicted; minor_mass : (N,) [kg/kg] of the minor elements
    with their sulfur, minor_sulfur : (N,) [mol/kg] in them
    """
    cu2s = grade / (2 * M_CU)
    room = 1.0 - cu2s * M_CU2S - minor_mass  # for FeS, magnetite and other matter
    fe3o4 = oxygen / (4 * M_O)
    if s.matte_iron is None and s.matte_sulfur is None:
        return MatteOf(cu2s, (room - fe3o4 * M_FE3O4) / M_FES, fe3o4, NONE, NONE)
    free = s.matte_oxygen is None
    if s.matte_sulfur is None:
        assert s.matte_iron is not None
        return _iron(cu2s, room, fe3o4, s.matte_iron / M_FE, free)
    sulfur = s.matte_sulfur / M_S - minor_sulfur - cu2s  # for iron
    if s.matte_iron is None:
        return _sulfur(cu2s, room, fe3o4, sulfur, free)
    return _both(cu2s, room, fe3o4, s.matte_iron / M_FE, sulfur, free)


def _iron(cu2s: FloatN, room: FloatN, fe3o4: FloatN, iron: FloatN, free: bool) -> MatteOf:
    fes = iron - 3 * fe3o4
    spare = room - fes * M_FES - fe3o4 * M_FE3O4
    roomy = spare.real >= 0
    other = np.where(roomy, spare, 0.0) / M_REST
    if free:
        oxide = np.where(roomy, fe3o4, (iron * M_FES - room) / (3 * M_FES - M_FE3O4))
        return MatteOf(cu2s, iron - 3 * oxide, oxide, NONE, other)
    short = np.where(roomy, 0.0, -spare / M_S)  # mol S that there is no room for
    return MatteOf(cu2s - short, fes, fe3o4, 2 * short, other)


def _sulfur(cu2s: FloatN, room: FloatN, fe3o4: FloatN, sulfur: FloatN, free: bool) -> MatteOf:
    if free:
        return MatteOf(cu2s, sulfur, (room - sulfur * M_FES) / M_FE3O4, NONE, NONE)
    short = (room - sulfur * M_FES - fe3o4 * M_FE3O4) / M_FE  # Cu2S that is metal gives its sulfur to FeS
    return MatteOf(cu2s - short, sulfur + short, fe3o4, 2 * short, NONE)


def _both(cu2s: FloatN, room: FloatN, fe3o4: FloatN, iron: FloatN, sulfur: FloatN, free: bool) -> MatteOf:
    if not free:
        short = iron - 3 * fe3o4 - sulfur
        spare = room + short * M_S - (iron - 3 * fe3o4) * M_FES - fe3o4 * M_FE3O4
        return MatteOf(cu2s - short, iron - 3 * fe3o4, fe3o4, 2 * short, spare / M_REST)
    unbound = iron - sulfur
    spare = room - sulfur * M_FES - unbound / 3 * M_FE3O4
    roomy = spare.real >= 0
    short = np.where(roomy, 0.0, -spare / (M_FE3O4 / 3 - M_FE))
    other = np.where(roomy, spare, 0.0) / M_REST
    return MatteOf(cu2s - short, sulfur + short, (unbound - short) / 3, 2 * short, other)
