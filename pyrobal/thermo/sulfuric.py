"""Weak sulfuric acid of a gas washer: the heat of diluting it, and the SO2 it dissolves."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import FloatN

HENRY_SO2 = 1.3e-2  # mol/(m3 Pa) at 298.15 K
HENRY_SO2_SLOPE = 2900.0  # K, d ln H / d(1/T)


def dilution_heat(acid: FloatN, water: FloatN) -> FloatN:
    """Heat given off (N,) [W] when ``acid`` (N,) [mol/s] H2SO4 takes up ``water`` (N,) [mol/s], at 25 degC.

    78.38 n / (n + 1.804) kJ per mol of acid, n = water / acid: Thomsen's form, fitted to the liquid
    hydrates H2SO4.nH2O of the NIST-JANAF Tables 4th ed. (n = 1 to 6.5, within 0.24 kJ/mol). At n = 50 it is
    3 % above handbook values; the slow rise of very dilute acid (second dissociation) is not in it.
    """
    both = acid * water
    return 78_380.0 * np.divide(both, water + 1.804 * acid, out=np.zeros_like(both), where=both > 0.0)


def so2_solubility(T: FloatN) -> FloatN:
    """SO2 dissolved (N,) [mol/(m3 Pa)] in water at T (N,) [K], as SO2: ionisation left out.

    Henry's law, H = 0.013 exp(2900 (1/T - 1/298.15)): Sander 2015, Compilation of Henry's law constants,
    Atmos. Chem. Phys. 15, 4399-4981 (values compiled there run from 0.012 to 0.015). In acid of more than
    1 % the ionisation of SO2 is suppressed, so the physical solubility is the whole.
    """
    return HENRY_SO2 * np.exp(HENRY_SO2_SLOPE * (1.0 / T - 1.0 / 298.15))
