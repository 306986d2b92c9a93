"""Sulfur dioxide dissolved in wash water and weak acid."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.constants import T_STANDARD
from pyrobal.dimensions import constant

HENRY_SO2 = constant(1.3e-2, "mol/(m3 Pa)", "Sander 2015")  # at 298.15 K
HENRY_SO2_SLOPE = constant(2900.0, "K", "Sander 2015")  # d ln H / d(1/T)


def so2_solubility(T: FloatN) -> FloatN:
    """SO2 dissolved (N,) [mol/(m3 Pa)] in water at T (N,) [K], as SO2: ionisation left out.

    Henry's law, H = 0.013 exp(2900 (1/T - 1/298.15)): Sander 2015, Compilation of Henry's law constants,
    Atmos. Chem. Phys. 15, 4399-4981 (values compiled there run from 0.012 to 0.015). In acid of more than
    1 % the ionisation of SO2 is suppressed, so the physical solubility is the whole.
    """
    return HENRY_SO2 * np.exp(HENRY_SO2_SLOPE * (1.0 / T - 1.0 / T_STANDARD))
