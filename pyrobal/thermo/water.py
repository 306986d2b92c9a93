"""Water and steam of a boiler: IAPWS Industrial Formulation 1997, over arrays.

Revised Release IAPWS R7-97(2012). The polynomials of regions 1 and 2 are those of ``chemicals.iapws``; the
saturation line is written out here. Enthalpies are per kilogram, zero near the triple point: only their
differences are used, never together with the enthalpies of the tables.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.constants import KELVIN, PASCAL
from pyrobal.dimensions import constant

R_WATER = constant(461.526, "J/(kg K)", "R7-97 eq. 1")
# 273.15 K to 623.15 K, end of regions 1 and 2
LOWEST_SATURATION, HIGHEST_SATURATION = 611.213 * PASCAL, 16.529e6 * PASCAL

# R7-97 table 34.
_N = (
    0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
    0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
)  # fmt: skip


def saturation_temperature(p: FloatN) -> FloatN:
    """Boiling temperature (N,) [K] at p (N,) [Pa], 611.213 Pa to 22.064 MPa.

    R7-97 eq. 31: the positive root of the quadratic in theta = T + n9 / (T - n10) that both sides of the
    saturation line share.
    """
    beta = np.power(p / (1e6 * PASCAL), 0.25)
    e = beta * beta + _N[2] * beta + _N[5]
    f = _N[0] * beta * beta + _N[3] * beta + _N[6]
    g = _N[1] * beta * beta + _N[4] * beta + _N[7]
    d = 2.0 * g / (-f - np.sqrt(f * f - 4.0 * e * g))
    return (_N[9] + d - np.sqrt((_N[9] + d) ** 2 - 4.0 * (_N[8] + _N[9] * d))) / 2.0 * KELVIN


def liquid_enthalpy(T: FloatN, p: FloatN) -> FloatN:
    """Enthalpy of liquid water (N,) [J/kg], region 1: T (N,) 273.15 to 623.15 K, p (N,) [Pa] to 100 MPa.

    h = R T tau dgamma/dtau, R7-97 table 3.
    """
    tau = 1386.0 * KELVIN / T
    h: FloatN = (
        R_WATER * (1386.0 * KELVIN) * _polynomials().iapws97_dG_dtau_region1(tau, p / (16.53e6 * PASCAL))
    )
    return h


def steam_enthalpy(T: FloatN, p: FloatN) -> FloatN:
    """Enthalpy of steam (N,) [J/kg], region 2: from the saturation line (to 623.15 K) up to 1073.15 K.

    h = R T tau (dgamma0/dtau + dgammar/dtau), R7-97 table 12.
    """
    tau, pi = 540.0 * KELVIN / T, p / (1e6 * PASCAL)
    ideal, real = _polynomials().iapws97_dG0_dtau_region2, _polynomials().iapws97_dGr_dtau_region2
    h: FloatN = R_WATER * (540.0 * KELVIN) * (ideal(tau, pi) + real(tau, pi))
    return h


def _polynomials() -> Any:
    from chemicals import iapws  # loaded when steam is first asked for: it takes a tenth of a second

    return iapws
