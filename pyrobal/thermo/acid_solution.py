"""Sulfuric acid mixed with water: strength by mass, and the heat of dilution."""

from __future__ import annotations

import functools

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.dimensions import constant
from pyrobal.thermo.properties import species
from pyrobal.trace.graph import paused

_WATERS = (1.0, 2.0, 3.0, 4.0, 6.5)  # liquid mixtures of the tables, moles of water per mole of acid
_MOLAR_MASS = species("H2SO4(l)", "H2O(l)", "SO3(g)", "SO2(g)").molar_mass
M_ACID, M_WATER, M_TRIOXIDE, M_SO2 = (constant(float(m), "kg/mol", "atomic masses") for m in _MOLAR_MASS)


def water_per_acid(strength: FloatN) -> FloatN:
    """Moles of free water per mole of H2SO4 at a strength (N,) [kg/kg]: (M_A / M_W) (1 - w) / w."""
    return M_ACID / M_WATER * (1.0 - strength) / strength


def strength(acid: FloatN, water: FloatN) -> FloatN:
    """(N,) [kg/kg] of H2SO4 in ``acid`` and free ``water`` (N,) [mol/s] together; zero for water alone."""
    mass = acid * M_ACID + water * M_WATER
    return np.divide(acid * M_ACID, mass, out=np.zeros_like(mass), where=mass > 0)


def mixing_heat(acid: FloatN, water: FloatN) -> FloatN:
    """Enthalpy of the mixture at 25 degC less that of acid and water apart, (N,) [W]; never positive.

    acid, water : (N,) [mol/s] of H2SO4(l) and H2O(l)

    Per mole of acid -(a x + b x^2) with x the mole fraction of water. The coefficients a and b fit the
    enthalpies of formation of H2SO4.nH2O(l), n = 1 to 6.5, of [chase1998] within 0.4 kJ/mol. The form follows
    handbook values on to n = 100 within 1.5 kJ/mol; at infinite dilution the acid dissociates further and
    gives off 20 kJ/mol more.
    """
    a, b = _coefficients()
    total = acid + water
    x = np.divide(water, total, out=np.zeros_like(total), where=total > 0)
    return -acid * (a * x + b * x * x)


@functools.lru_cache(maxsize=1)
def _coefficients() -> tuple[float, float]:
    """a, b [J/mol] by least squares on the mixtures of the tables."""
    with paused():
        return _fitted()


def _fitted() -> tuple[float, float]:
    waters = np.array(_WATERS)
    mixtures = species(*("H2SO4.H2O(l)" if n == 1 else f"H2SO4.{n:g}H2O(l)" for n in _WATERS)).H298
    pure = species("H2SO4(l)", "H2O(l)").H298
    released: Floats = pure[0] + waters * pure[1] - mixtures
    x = waters / (1.0 + waters)
    (a, b), *_ = np.linalg.lstsq(np.stack([x, x * x], axis=1), released, rcond=None)
    source = "least squares on H2SO4.nH2O(l) of [chase1998]"
    return constant(float(a), "J/mol", source), constant(float(b), "J/mol", source)
