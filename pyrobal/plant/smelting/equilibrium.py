"""Local equilibrium of matte, slag and gas at slag temperature.

    FeS(matte) + 3/2 O2 = FeO(slag) + SO2          sets the oxygen potential from the gas's own SO2
    3 FeO(slag) + 1/2 O2 = Fe3O4(slag)             gives magnetite
    Cu2O(slag) + FeS(matte) = Cu2S(matte) + FeO(slag)   gives copper dissolved as oxide

Equilibrium constants from the project's own tables, over the pure liquids and solid magnetite.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.constants import P_NORMAL, P_STANDARD, R
from pyrobal.thermo import solutions
from pyrobal.thermo.properties import species

_REACTIONS = ("FeS(l)", "O2(g)", "FeO(l)", "SO2(g)", "Fe3O4", "Cu2O(l)", "Cu2S(l)", "S2(g)")
_LN_BAR_IN_ATM = float(np.log(P_NORMAL / P_STANDARD))


@dataclass(frozen=True, eq=False)
class Constants:
    """ln K (N,) at slag temperature, pressures in bar.

    T : (N,) [K]
    sulfide_oxidation, magnetite, copper_exchange, sulfur_oxidation : (N,) [-]
    """

    T: FloatN
    sulfide_oxidation: FloatN
    magnetite: FloatN
    copper_exchange: FloatN
    sulfur_oxidation: FloatN  # 1/2 S2 + O2 = SO2

    @staticmethod
    def at(T: FloatN) -> Constants:
        """At ``T`` (N,) [K]: ln K = -dG / (R T)."""
        g = dict(zip(_REACTIONS, species(*_REACTIONS).gibbs(T).T, strict=True))
        rt = R * T
        return Constants(
            T=T,
            sulfide_oxidation=(g["FeS(l)"] + 1.5 * g["O2(g)"] - g["FeO(l)"] - g["SO2(g)"]) / rt,
            magnetite=(3 * g["FeO(l)"] + 0.5 * g["O2(g)"] - g["Fe3O4"]) / rt,
            copper_exchange=(g["Cu2O(l)"] + g["FeS(l)"] - g["Cu2S(l)"] - g["FeO(l)"]) / rt,
            sulfur_oxidation=(0.5 * g["S2(g)"] + g["O2(g)"] - g["SO2(g)"]) / rt,
        )


@dataclass(frozen=True, eq=False)
class Potentials:
    """Activities, and natural logarithms of pressures in bar, where the three phases meet.

    cu2s, fes, feo, log_po2, log_ps2 : (N,) [-]
    """

    cu2s: FloatN
    fes: FloatN
    feo: FloatN
    log_po2: FloatN
    log_ps2: FloatN

    @property
    def log10_po2_atm(self) -> FloatN:
        """(N,) log10 of the oxygen pressure in atmospheres."""
        return (self.log_po2 - _LN_BAR_IN_ATM) / np.log(10.0)


def potentials(
    k: Constants, n_cu2s: FloatN, n_fes: FloatN, n_feo: FloatN, p_so2: FloatN, matte_model: str
) -> Potentials:
    """Oxygen and sulfur potential from the mole fractions of matte and slag and the SO2 pressure [Pa]."""
    cu2s, fes = solutions.MATTE_ACTIVITIES[matte_model](n_cu2s, n_fes)
    feo = solutions.goto_feo(n_feo)
    log_so2 = np.log(p_so2 / P_STANDARD)
    log_po2 = (np.log(feo) + log_so2 - np.log(fes) - k.sulfide_oxidation) / 1.5
    return Potentials(cu2s, fes, feo, log_po2, 2.0 * (log_so2 - log_po2 - k.sulfur_oxidation))


def magnetite_fraction(k: Constants, p: Potentials, n_sio2: FloatN) -> FloatN:
    """N(Fe3O4) in the slag at equilibrium: a = K a(FeO)^3 pO2^1/2."""
    activity = np.exp(k.magnetite + 3.0 * np.log(p.feo) + 0.5 * p.log_po2)
    return solutions.goto_magnetite(activity, n_sio2)


def cuprous_oxide_activity(k: Constants, p: Potentials) -> FloatN:
    """a(Cu2O) in the slag: a(Cu2S) a(FeO) / (K a(FeS))."""
    return p.cu2s * p.feo / p.fes * np.exp(-k.copper_exchange)


def matte_oxygen(p: Potentials, grade: FloatN, iron: FloatN) -> FloatN:
    """Oxygen in matte (N,) [kg/kg] by Kaiser & Elliott at the potentials; ``iron`` is the Fe of the matte."""
    return solutions.kaiser_elliott_oxygen(
        p.log_po2 - _LN_BAR_IN_ATM, p.log_ps2 - _LN_BAR_IN_ATM, iron / (iron + grade)
    )
