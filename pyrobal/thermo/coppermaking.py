"""Equilibria where copper metal, white metal or slag meet the gas.

    Cu2S + O2 = 2 Cu + SO2                        oxygen potential from the sulfur left in the copper
    2 Cu + 1/2 O2 = Cu2O(slag)                    copper oxide in slag beside copper
    Cu2O(slag) + FeS(matte) = Cu2S(matte) + FeO(slag)     copper oxide in slag beside matte

Constants from the project's own tables, over pure liquids; solution behaviour as each function says.
"""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.constants import P_NORMAL, P_STANDARD, PERCENT, R
from pyrobal.thermo.properties import species

# Sulfur in copper saturated with white metal, about 1200 degC: the miscibility gap Cu-Cu2S, from memory.
SULFUR_SATURATION = 1.2 * PERCENT

_REACTING = ("Cu2S(l)", "O2(g)", "Cu(l)", "SO2(g)", "Cu2O(l)", "FeS(l)", "FeO(l)")


def _gibbs(T: FloatN) -> dict[str, FloatN]:
    return dict(zip(_REACTING, species(*_REACTING).gibbs(T).T, strict=True))


def oxygen_pressure(sulfur: FloatN, p_so2: FloatN, T: FloatN) -> FloatN:
    """pO2 (N,) in bar over copper that holds ``sulfur`` (N,) [kg/kg] under SO2 of ``p_so2`` (N,) [Pa].

    pO2 = pSO2 a(Cu)^2 / (K a(Cu2S)), a(Cu) = 1, a(Cu2S) = sulfur / saturation (Henry's law, at most 1).
    """
    g = _gibbs(T)
    log_k: FloatN = (g["Cu2S(l)"] + g["O2(g)"] - 2 * g["Cu(l)"] - g["SO2(g)"]) / (R * T)
    activity = np.minimum(sulfur / SULFUR_SATURATION, 1.0)
    return p_so2 / P_STANDARD / (np.exp(log_k) * activity)


def cuprous_oxide_beside_copper(p_o2: FloatN, T: FloatN) -> FloatN:
    """a(Cu2O) (N,) over the pure liquid, of a slag beside copper: K pO2^1/2, at most 1; pO2 (N,) [bar]."""
    g = _gibbs(T)
    activity = np.exp((2 * g["Cu(l)"] + 0.5 * g["O2(g)"] - g["Cu2O(l)"]) / (R * T)) * np.sqrt(p_o2)
    return np.minimum(activity, 1.0)


def cuprous_oxide_beside_matte(a_cu2s: FloatN, a_fes: FloatN, a_feo: FloatN, T: FloatN) -> FloatN:
    """a(Cu2O) (N,) over the pure liquid, of a slag beside matte: a(Cu2S) a(FeO) / (K a(FeS))."""
    g = _gibbs(T)
    log_k = (g["Cu2O(l)"] + g["FeS(l)"] - g["Cu2S(l)"] - g["FeO(l)"]) / (R * T)
    return a_cu2s * a_feo / (a_fes * np.exp(log_k))


def ferrite_oxidic_copper(activity: FloatN) -> FloatN:
    """Copper dissolved as oxide in a lime-iron oxide slag, (N,) [kg/kg]: 100 w = 17.6 a(CuO0.5).

    a(CuO0.5)^2 = a(Cu2O). Palacios & Gaskell, liquid iron oxide saturated with lime, 1300 degC,
    pO2 1e-7 to 1e-10 atm.
    """
    return 17.6 * np.sqrt(activity) * PERCENT


def log10_atm(p_bar: FloatN) -> FloatN:
    """(N,) log10 of a pressure [bar] in atmospheres."""
    return np.log10(p_bar * (P_STANDARD / P_NORMAL))
