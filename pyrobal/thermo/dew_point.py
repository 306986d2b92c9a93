"""Where sulfuric acid begins to condense out of a gas: two correlations, and so a band.

Both were fitted to flue gas with parts per million of SO3. A smelter gas holds ten to a hundred times more,
where they differ by 10 to 15 K: what is reported is the band, and that it is extrapolated.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pyrobal.arrays import BoolN, FloatN
from pyrobal.constants import KELVIN, P_NORMAL, PASCAL, T_NORMAL
from pyrobal.thermo.water import LOWEST_SATURATION, saturation_temperature

MMHG = P_NORMAL / 760.0  # Pa

# Flue gases the correlations were made for, as partial pressures [Pa]; from memory.
WATER_RANGE = (2e3 * PASCAL, 30e3 * PASCAL)
SO3_RANGE = (0.05 * PASCAL, 20.0 * PASCAL)


class DewPoint(NamedTuple):
    """low, high : (N,) [K] band of the correlations; extrapolated : (N,) outside their range.

    Where the gas holds no SO3, or so little that water condenses first, both are the dew point of water.
    """

    low: FloatN
    high: FloatN
    extrapolated: BoolN


def verhoff_banchero(p_water: FloatN, p_so3: FloatN) -> FloatN:
    """Acid dew point (N,) [K]; p_water, p_so3 (N,) [Pa], SO3 counted with what is hydrated to H2SO4.

    Verhoff & Banchero 1974, Predicting dew points of flue gases, Chem. Eng. Prog. 70(8), 71-72 (issue from
    memory):
    1000 / T = 2.276 - 0.0294 ln pw - 0.0858 ln pa + 0.0062 ln pw ln pa, pressures in mmHg.
    """
    w, a = np.log(p_water / MMHG), np.log(p_so3 / MMHG)
    return 1000.0 * KELVIN / (2.276 - 0.0294 * w - 0.0858 * a + 0.0062 * w * a)


def okkes(p_water: FloatN, p_so3: FloatN) -> FloatN:
    """Acid dew point (N,) [K]; p_water, p_so3 (N,) [Pa].

    Okkes 1987, Get acid dew point of flue gas, Hydrocarbon Process. 66(7), 53-55 (issue and bracket from
    memory):
    t = 203.25 + 27.6 log pw + 10.83 log pa + 1.06 (log pa + 8)^2.19, pressures in atm, t in degC.
    Below 1e-8 atm of SO3 the correlation ends; the bracket is then held at zero.
    """
    w, a = np.log10(p_water / P_NORMAL), np.log10(p_so3 / P_NORMAL)
    bracket = np.where(a > -8.0, a + 8.0, 0.0)
    t = 203.25 + 27.6 * w + 10.83 * a + 1.06 * np.power(bracket, 2.19)
    return T_NORMAL + t * KELVIN


def acid_dew_point(p_water: FloatN, p_so3: FloatN) -> DewPoint:
    """Band of the acid dew point (N,) [K] at partial pressures (N,) [Pa]."""
    with np.errstate(all="ignore"):  # no SO3 or no water: answered by the dew point of water
        both = np.stack(np.broadcast_arrays(verhoff_banchero(p_water, p_so3), okkes(p_water, p_so3)))
    both = np.where((p_so3 > 0.0) & (p_water > 0.0), both, 0.0)
    water = water_dew_point(p_water)
    outside = (p_so3 > SO3_RANGE[1]) | (p_water < WATER_RANGE[0]) | (p_water > WATER_RANGE[1])
    outside = outside | ((p_so3 > 0.0) & (p_so3 < SO3_RANGE[0]))
    return DewPoint(
        np.maximum(both.min(axis=0), water), np.maximum(both.max(axis=0), water), outside & (p_so3 > 0.0)
    )


def water_dew_point(p_water: FloatN) -> FloatN:
    """Dew point of water (N,) [K]; a gas drier than ice at 0 degC is given as 273.15 K."""
    return saturation_temperature(np.maximum(p_water, LOWEST_SATURATION))
