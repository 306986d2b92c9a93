"""The bath of the electric furnace: cleaned slag, matte and reductant at one guess of the unknowns.

Copper and sulfur that the slag cannot hold settle as matte. Iron oxide, magnetite and the oxygen to be taken
out follow by difference, so every element closes at any guess; the unknowns only have to satisfy

    Cu2O(slag) + FeS(matte) = Cu2S(matte) + FeO(slag)      copper dissolved as oxide
    a(FeS) of the matte                                    sulfur dissolved in the slag
    2 Cu + 1/2 O2 = Cu2O(slag),  3 FeO + 1/2 O2 = Fe3O4    copper metal, where sulfur is short

The matte holds no oxygen: at this oxygen potential it is small (an assumption). Minor elements part by the
distribution ratios of the smelting furnace, moved to the grade of this matte, after a fixed share has fumed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, FloatNE, FloatNS, Floats, IntN, column, take, zeros
from pyrobal.constants import R
from pyrobal.numerics.newton import Roots, newton_from
from pyrobal.plant.slag_cleaning.phases import MINORS, SLAG_SOLVED, SULFIDE_AND_METAL, WITH_COPPER, carriers
from pyrobal.plant.slag_cleaning.settings import SlagCleaningSettings
from pyrobal.streams.deportment import GANGUE_IN_SLAG, carrier_matrix, read_table, share_out, shares
from pyrobal.streams.reductant import Reductant
from pyrobal.thermo import distribution, solutions
from pyrobal.thermo.elements import ATOMIC_MASS, ATOMIC_MASS_OF, ELEMENTS
from pyrobal.thermo.properties import species
from pyrobal.trace.solved import remembered

M_CU, M_S = ATOMIC_MASS_OF["Cu"], ATOMIC_MASS_OF["S"]
M_CU2S, M_FES = 2 * M_CU + M_S, ATOMIC_MASS_OF["Fe"] + M_S
M_FEO, M_FE3O4, M_CU2O = (
    ATOMIC_MASS_OF["Fe"] + ATOMIC_MASS_OF["O"],
    3 * ATOMIC_MASS_OF["Fe"] + 4 * ATOMIC_MASS_OF["O"],
    2 * M_CU + ATOMIC_MASS_OF["O"],
)
_POTENTIAL_SCALE = 0.05  # so that a potential, of order ten, is compared with a share of the copper
_MATTE_SCALE = 0.03  # kg/kg of the slag fed; a usual mass of matte, so that it too is of order one
_EVERYTHING = np.ones(1)
_NOTHING = np.zeros(1)


@dataclass(frozen=True, eq=False)
class Constants:
    """ln K (N,) at the temperature of the slag, over pure liquids and solid magnetite, pressures in bar.

    T : (N,) [K]; exchange, metal, magnetite : (N,) [-]
    """

    T: FloatN
    exchange: FloatN
    metal: FloatN
    magnetite: FloatN

    @staticmethod
    def at(T: FloatN) -> Constants:
        """At ``T`` (N,) [K]: ln K = -dG / (R T)."""
        names = ("FeS(l)", "FeO(l)", "Cu2S(l)", "Cu2O(l)", "Cu(l)", "Fe3O4", "O2(g)")
        fes, feo, cu2s, cu2o, cu, fe3o4, o2 = species(*names).gibbs(T).T / (R * T)
        return Constants(T, cu2o + fes - cu2s - feo, 2 * cu + o2 / 2 - cu2o, 3 * feo + o2 / 2 - fe3o4)


@dataclass(frozen=True, eq=False)
class Melt:
    """One state of the bath, all (N,) but for the species.

    matte, slag, dust : (N, S) [mol/s] on the axes of ``phases.carriers``, suspended matte in the slag
    reductant : [unit/s]
    grade : [kg/kg] copper in the sulfides of the matte
    suspended : [-] share of the matte that does not settle; left : [kg/s] copper that is not dissolved
    metal : [mol/s] metallic copper in all the matte; sulfur : [mol/s] in all its sulfides
    iron_oxide, magnetite, dissolved : [mol/s] FeO, Fe3O4 and all species dissolved in the slag
    silica, sulfide : [mol/s] SiO2 and FeS dissolved in the slag
    """

    matte: FloatNS
    slag: FloatNS
    dust: FloatNS
    reductant: FloatN
    grade: FloatN
    suspended: FloatN
    left: FloatN
    metal: FloatN
    sulfur: FloatN
    iron_oxide: FloatN
    magnetite: FloatN
    dissolved: FloatN
    silica: FloatN
    sulfide: FloatN


@dataclass(frozen=True, eq=False)
class Unknowns:
    """What is sought.

    slag, matte : (N,) [kg/s] tapped; matte is sought as it is, not by its logarithm: it may end at nil
    ratio : (N,) [mol/mol] FeS / Cu2S of the matte
    oxidic_copper, slag_sulfur : (N,) [kg/kg] of the slag
    """

    slag: FloatN
    matte: FloatN
    ratio: FloatN
    oxidic_copper: FloatN
    slag_sulfur: FloatN


@dataclass(frozen=True, eq=False)
class Bath:
    """The problem; implements ``numerics.newton.Problem``.

    fed : (N, E) [mol/s] of all slags; fed_mass : (N,) [kg/s]
    settled : outlet -> (N, S) [mol/s] of all whose place no guess moves
    parted : elements that part between matte and slag, K by ``slag_matte`` and ``exponent``, (N, K), the rest
        as the copper does; parting : (N, L) [mol/s] of each, fume taken out
    """

    s: SlagCleaningSettings
    fed: FloatNE
    fed_mass: FloatN
    reductant: Reductant
    settled: Mapping[str, FloatNS]
    parted: tuple[str, ...]
    parting: Floats
    slag_matte: Floats
    exponent: Floats
    constants: Constants

    @property
    def names(self) -> tuple[str, ...]:
        """The unknowns in the order of z."""
        wanted = {"slag": True, "matte": True, "ratio": True, "oxidic_copper": self.s.slag_copper is None}
        wanted["slag_sulfur"] = self.s.slag_sulfur is None
        return tuple(name for name, there in wanted.items() if there)

    def take(self, rows: slice | IntN) -> Bath:
        """The problem for some of the scenarios."""
        part: Bath = take(self, rows)
        return part

    def element(self, symbol: str) -> FloatN:
        """(N,) [mol/s] fed."""
        return self.fed[:, ELEMENTS.index(symbol)]

    def unknowns(self, z: Floats) -> Unknowns:
        """The guess in physical terms; compositions the user gave stand."""
        v = {name: x if name == "matte" else np.exp(x) for name, x in zip(self.names, z.T, strict=True)}
        oxidic, sulfur = v.get("oxidic_copper"), v.get("slag_sulfur")
        if oxidic is None:
            assert self.s.slag_copper is not None
            oxidic = self.s.slag_copper - entrained_copper(self.s)
        if sulfur is None:
            assert self.s.slag_sulfur is not None
            sulfur = self.s.slag_sulfur
        slag, matte = v["slag"] * self.fed_mass, v["matte"] * _MATTE_SCALE * self.fed_mass
        return Unknowns(slag, matte, v["ratio"], oxidic, sulfur)

    def residual(self, z: Floats) -> Floats:
        """One row per unknown, scaled to order one."""
        u = self.unknowns(z)
        m = melt(self, u)
        molar_mass = carriers()["slag"][0].molar_mass
        by_matte, by_metal, iron_sulfide = self._activities(m, u)
        rows = {"slag": (m.slag * molar_mass).sum(axis=1) / u.slag - 1.0}
        tapped = (m.matte * carriers()["matte"][0].molar_mass).sum(axis=1)
        rows["matte"] = (tapped - u.matte) / (_MATTE_SCALE * self.fed_mass)
        # no metal, or as much as brings the activity of the oxide down to that over metal: whichever binds
        rows["ratio"] = np.minimum(m.metal * M_CU / m.left, _POTENTIAL_SCALE * (by_metal - by_matte))
        if "oxidic_copper" in self.names:
            k = solutions.nagamori_oxidic_copper(np.exp(by_matte), self.constants.T)
            rows["oxidic_copper"] = np.log(u.oxidic_copper / k)
        if "slag_sulfur" in self.names:
            equal = solutions.goto_iron_sulfide(iron_sulfide)
            rows["slag_sulfur"] = np.log(m.sulfide / m.dissolved / equal)
        return np.stack(np.broadcast_arrays(*(rows[name] for name in self.names)), axis=1)

    def _activities(self, m: Melt, u: Unknowns) -> tuple[FloatN, FloatN, FloatN]:
        """ln a(Cu2O) in equilibrium with the matte and with copper metal, and a(FeS)."""
        k, n = self.constants, m.dissolved
        n_cu2s = 1.0 / (1.0 + u.ratio)
        cu2s, fes = solutions.MATTE_ACTIVITIES[self.s.matte_activities](n_cu2s, 1.0 - n_cu2s)
        feo = np.log(solutions.goto_feo(m.iron_oxide / n))
        x = m.magnetite / n / self.s.magnetite_over_equilibrium
        fe3o4 = np.log(solutions.goto_magnetite_activity(x, m.silica / n))
        half_log_po2 = fe3o4 - k.magnetite - 3 * feo
        return np.log(cu2s / fes) + feo - k.exchange, k.metal + half_log_po2, fes


def bath(fed: FloatNE, s: SlagCleaningSettings, reductant: Reductant) -> Bath:
    """Set the problem up. ``fed`` (N, E) [mol/s]: the elements of all slags."""
    minor = shares(read_table("slag_cleaning"), s.deportment)
    by_ratio = tuple(e for e in MINORS if e in distribution.read_ratios() and e not in s.deportment)
    parted = (*by_ratio, *(e for e in WITH_COPPER if e not in s.deportment))
    fumes = {e: minor.pop(e)["dust"] if e in by_ratio else _NOTHING for e in parted}
    fixed = {e: {"matte": _NOTHING, "slag": _NOTHING, "dust": fume} for e, fume in fumes.items()}
    gangue = {"matte": _NOTHING, "slag": _EVERYTHING, "dust": _NOTHING}
    settled = share_out(fed, dict.fromkeys(GANGUE_IN_SLAG, gangue) | minor | fixed, carriers())
    places = [ELEMENTS.index(e) for e in parted]
    parting = fed[:, places] * (1.0 - np.stack(list(fumes.values()), axis=1)) if parted else fed[:, places]
    ratios = distribution.ratios(by_ratio, s.distribution)
    return Bath(
        s,
        fed,
        fed @ ATOMIC_MASS,
        reductant,
        settled,
        parted,
        parting,
        *ratios,
        Constants.at(s.slag_temperature),
    )


# Mass of the matte over that of the slag fed, and FeS / Cu2S in it, from which the search starts in turn.
_STARTS = ((0.03, 1.0), (0.01, 4.0), (0.03, 0.02), (0.01, 1.0), (0.05, 0.2), (0.01, 0.1), (0.003, 10.0))


def converge(b: Bath, near: Roots | None) -> Roots:
    """Newton from ``near`` where it is known, then from a usual cleaned slag, then from others."""
    guesses = [
        {"slag": np.log(0.97), "matte": matte / _MATTE_SCALE, "ratio": np.log(ratio)}
        for matte, ratio in _STARTS
    ]
    starts = [np.array([[guess.get(name, np.log(0.003)) for name in b.names]]) for guess in guesses]
    return newton_from(b, starts if near is None else [near, *starts], longest_step=1.0)


def entrained_copper(s: SlagCleaningSettings) -> FloatN:
    """(N,) [kg/kg]; of the user's own total it is suspended matte first, as far as that goes."""
    if s.slag_copper is None:
        return s.slag_entrained_copper
    return np.minimum(s.slag_entrained_copper, s.slag_copper)


def melt(b: Bath, u: Unknowns) -> Melt:
    """Amounts that follow from a guess."""
    grade = 2 * M_CU / (M_CU2S + u.ratio * M_FES)
    sulfidic = _NOTHING
    if b.s.slag_copper is None:
        sulfidic = solutions.nagamori_sulfidic_copper(u.slag_sulfur, grade)
    left = b.element("Cu") * M_CU - u.slag * (u.oxidic_copper + sulfidic)
    suspended = u.slag * entrained_copper(b.s) / left
    with_matte = _to_matte(b, u, left * (1.0 - suspended) / (b.element("Cu") * M_CU))
    in_matte = b.settled["matte"] + with_matte @ _onto("matte", b.parted)
    in_slag = b.settled["slag"] + (b.parting - with_matte) @ _onto("slag", b.parted)
    dissolved_sulfur = u.slag * u.slag_sulfur / M_S
    sulfur = b.element("S") - dissolved_sulfur - _held(in_matte, "matte", "S")
    cu2s = sulfur / (1.0 + u.ratio)
    fes, metal = cu2s * u.ratio, left / M_CU - 2 * cu2s
    slag_cu2s = u.slag * sulfidic / (2 * M_CU)
    slag_fes = dissolved_sulfur - slag_cu2s
    cu2o = u.slag * u.oxidic_copper / (2 * M_CU)
    iron = b.element("Fe") - fes - slag_fes  # mol/s, as oxides
    bound = _held(in_slag, "slag", "O") + _held(b.settled["dust"], "dust", "O") + cu2o
    magnetite, charged = _reduction(b, u.slag * b.s.slag_magnetite / M_FE3O4, b.element("O") - bound - iron)
    feo = iron - 3 * magnetite
    held_back = (suspended * cu2s + slag_cu2s, suspended * fes + slag_fes, suspended * metal)
    solved = dict(zip(SLAG_SOLVED, (feo, magnetite, cu2o, *held_back), strict=True))
    slag = _with(in_slag, "slag", {**solved, "Rest(slag)": charged * b.reductant.fuel.count("Rest")})
    tapped = ((1.0 - suspended) * x for x in (cu2s, fes, metal))
    return Melt(
        matte=_with(in_matte, "matte", dict(zip(SULFIDE_AND_METAL, tapped, strict=True))),
        slag=slag,
        dust=b.settled["dust"],
        reductant=charged,
        grade=grade,
        suspended=suspended,
        left=left,
        metal=metal,
        sulfur=sulfur,
        iron_oxide=feo,
        magnetite=magnetite,
        dissolved=slag.sum(axis=1) - suspended * (cu2s + fes + metal),
        silica=slag[:, carriers()["slag"][0].index("SiO2(l)")],
        sulfide=slag_fes,
    )


def _reduction(b: Bath, most: FloatN, spare: FloatN) -> tuple[FloatN, FloatN]:
    """Magnetite [mol/s] left in the slag, ``most`` at most, and reductant [unit/s].

    spare : (N,) [mol/s] of oxygen beyond what iron binds as FeO; one O more makes one Fe3O4 of three FeO
    """
    removed = spare - most
    return most + np.minimum(removed, 0.0), np.maximum(removed, 0.0) / b.reductant.oxygen


def _to_matte(b: Bath, u: Unknowns, copper: FloatN) -> Floats:
    """(N, L) [mol/s] of the elements parted that go to the matte; ``copper`` : (N,) share of it that does."""
    n_cu2s = 1.0 / (1.0 + u.ratio)
    oxygen = distribution.oxygen_over_reference(n_cu2s, 1.0 - n_cu2s, b.s.matte_activities)
    tapped = np.where(u.matte.real > 0, u.matte, np.nan)  # without matte undefined: the search steps shorter
    ratio = distribution.at_oxygen(b.slag_matte, b.exponent, oxygen) * column(u.slag / tapped)
    share = zeros((max(len(ratio), len(copper)), b.parting.shape[1]), ratio, copper)
    by_ratio = ratio.shape[1]
    share[:, :by_ratio], share[:, by_ratio:] = 1.0 / (1.0 + ratio), column(copper)
    return b.parting * share


@remembered()
def _onto(outlet: str, elements: tuple[str, ...]) -> Floats:
    """(L, S) [mol of carrier per mol of element]."""
    return carrier_matrix(*carriers()[outlet])[[ELEMENTS.index(e) for e in elements]]


def _held(amounts: FloatNS, outlet: str, element: str) -> FloatN:
    """(N,) [mol/s] of an element in amounts on an outlet's axis."""
    atoms = carriers()[outlet][0].composition[:, ELEMENTS.index(element)]
    held: FloatN = (amounts * atoms).sum(axis=1)  # row by row: a matrix product may round by the batch
    return held


def _with(settled: FloatNS, outlet: str, solved: Mapping[str, FloatN]) -> FloatNS:
    """The settled amounts with those solved for."""
    n = settled + zeros((max(map(len, solved.values())), settled.shape[1]), *solved.values())
    for name, amount in solved.items():
        n[:, carriers()[outlet][0].index(name)] += amount
    return n
