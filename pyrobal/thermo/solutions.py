"""Activities in matte and slag, and oxygen, copper and sulfur where only a distribution is known.

Every function is a published correlation with the range it was made for; outside it the furnace says so.
N : mole fraction of the named species in its phase.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN
from pyrobal.constants import KELVIN, PASCAL_SECOND, PERCENT, celsius


@dataclass(frozen=True)
class Correlation:
    """A correlation by name: where it comes from, and the range it holds in.

    seen : True where the coefficients were read in the source, False where they are from memory
    low, high : range of the matte grade [kg/kg]
    """

    name: str
    source: str
    seen: bool
    low: float
    high: float


GOTO = Correlation(
    "goto", "Goto 1974, Goto & Shimpo; Nagamori & Mackey 1978 (from memory)", False, 0.40, 0.78
)
IONIC = Correlation("ionic", "ideal ionic mixing of Cu+ and Fe2+ in sulfide (Temkin 1945)", False, 0.40, 0.78)
MATOUSEK = Correlation(
    "matousek", "Matousek 1996, CIM Bulletin 89(1002), compositions of copper mattes", True, 0.40, 0.795
)
KAISER_ELLIOTT = Correlation(
    "kaiser_elliott", "Kaiser & Elliott 1986, Metall. Trans. B 17, 147 (1195 degC)", True, 0.40, 0.78
)
KRESS = Correlation(
    "kress_carmichael",
    "Kress & Carmichael 1991, Contrib. Mineral. Petrol. 108, 82: natural silicate melts, extrapolated in "
    "iron; its slope is flatter than what plants report, so no constant factor on it spans their bands",
    True, 0.40, 0.78,
)  # fmt: skip
NAGAMORI = Correlation(
    "nagamori",
    "Nagamori 1974, Metall. Trans. 5, 531; Nagamori, Mackey & Tarassoff 1975 (from memory); Palacios "
    "& Gaskell",
    False, 0.40, 0.78,
)  # fmt: skip


def goto_matte(n_cu2s: FloatN, n_fes: FloatN) -> tuple[FloatN, FloatN]:
    """a(Cu2S), a(FeS) over pure liquids: gamma(Cu2S) = 1, gamma(FeS) = 0.925 / (1 + N(Cu2S))."""
    return n_cu2s, 0.925 / (1.0 + n_cu2s) * n_fes


def ionic_matte(n_cu2s: FloatN, n_fes: FloatN) -> tuple[FloatN, FloatN]:
    """a(Cu2S) = x^2, a(FeS) = 1 - x, with x the cation fraction Cu / (Cu + Fe)."""
    x = 2 * n_cu2s / (2 * n_cu2s + n_fes)
    return x**2, 1.0 - x


MATTE_ACTIVITIES: dict[str, Callable[[FloatN, FloatN], tuple[FloatN, FloatN]]] = {
    "goto": goto_matte,
    "ionic": ionic_matte,
}


def goto_feo(n_feo: FloatN) -> FloatN:
    """a(FeO) over the pure liquid: gamma = 1.42 N(FeO) - 0.044."""
    return np.where(n_feo > 0.1, 1.42 * n_feo - 0.044, 0.098) * n_feo


def goto_magnetite(activity: FloatN, n_sio2: FloatN) -> FloatN:
    """N(Fe3O4) in the slag at a given activity: N (0.69 + 5.45 N(SiO2) + 56.8 N) = a."""
    b = 0.69 + 5.45 * n_sio2
    return 2.0 * activity / (b + np.sqrt(b * b + 4.0 * 56.8 * activity))


def goto_magnetite_activity(n_fe3o4: FloatN, n_sio2: FloatN) -> FloatN:
    """a(Fe3O4) over the solid at N(Fe3O4): gamma = 0.69 + 5.45 N(SiO2) + 56.8 N(Fe3O4)."""
    return n_fe3o4 * (0.69 + 5.45 * n_sio2 + 56.8 * n_fe3o4)


def goto_cuprous_oxide(activity: FloatN) -> FloatN:
    """N(Cu2O) in the slag at a given activity over the pure liquid: 57.14 N^2 = a."""
    return np.sqrt(activity / 57.14)


def goto_iron_sulfide(activity: FloatN) -> FloatN:
    """N(FeS) dissolved in the slag at a given activity: gamma = 70."""
    return activity / 70.0


# Terms of Kress & Carmichael by the formula in which they count the oxide, per mole fraction.
KRESS_CARMICHAEL_TERMS = {"Al2O3": -2.243, "CaO": 3.201, "Na2O": 5.854, "K2O": 6.215}


def kress_carmichael(log_fo2: FloatN, T: FloatN, x_feo_total: FloatN, terms: FloatN) -> FloatN:
    """X(Fe2O3) / X(FeO) (N,) of a silicate melt at 1 bar.

    log_fo2 : natural logarithm of the fugacity [bar]; x_feo_total : mole fraction of all iron as FeO
    terms : sum of ``KRESS_CARMICHAEL_TERMS`` times mole fractions
    ln r = 0.196 ln fO2 + 11492/T - 6.675 - 1.828 X(FeOt) + terms - 3.36 (1 - T0/T - ln(T/T0)), T0 = 1673 K.
    Kress & Carmichael 1991, Contrib. Mineral. Petrol. 108, 82. Fitted to natural silicate melts; at the
    0.5 to 0.6 of FeO in iron silicate slag it is an extrapolation.
    """
    t0 = 1673.0
    t = T / KELVIN
    heat = -3.36 * (1.0 - t0 / t - np.log(t / t0))
    return np.exp(0.196 * log_fo2 + 11492.0 / t - 6.675 - 1.828 * x_feo_total + terms + heat)


def nagamori_oxidic_copper(activity: FloatN, T: FloatN) -> FloatN:
    """Copper dissolved as oxide, (N,) [kg Cu per kg slag]: 100 w = k a(CuO0.5), a(CuO0.5)^2 = a(Cu2O).

    k rises linearly from 27 at 1200 degC to 35 at 1300 degC (silica-saturated iron silicate).
    """
    k = 27.0 + 8.0 * (T - celsius(1200)) / (100.0 * KELVIN)
    return k * np.sqrt(activity) * PERCENT


def nagamori_sulfidic_copper(sulfur: FloatN, grade: FloatN) -> FloatN:
    """Copper dissolved as sulfide, (N,) [kg/kg]: %Cu = 0.00495 %S(slag) %Cu(matte)."""
    return 0.00495 * sulfur * grade / PERCENT


def matousek_oxygen(grade: FloatN) -> FloatN:
    """Oxygen in matte (N,) [kg/kg]: %O = 10 - 0.225 %Cu + 0.00125 %Cu^2."""
    cu = grade / PERCENT
    return (10.0 - 0.225 * cu + 0.00125 * cu**2) * PERCENT


def matousek_iron(grade: FloatN) -> FloatN:
    """Iron in matte (N,) [kg/kg]: %Fe = 62 - 0.775 %Cu."""
    return (62.0 - 0.775 * grade / PERCENT) * PERCENT


def matousek_sulfur(grade: FloatN) -> FloatN:
    """Sulfur in matte (N,) [kg/kg]: %S = 28 - 0.00125 %Cu^2 (the sign follows from the sum of 100 %)."""
    return (28.0 - 0.00125 * (grade / PERCENT) ** 2) * PERCENT


def kaiser_elliott_oxygen(log_po2: FloatN, log_ps2: FloatN, iron_share: FloatN) -> FloatN:
    """Oxygen in matte (N,) [kg/kg] short of magnetite saturation, never above that limit.

    log_po2, log_ps2 : natural logarithms of the pressures [atm]
    iron_share : W = wFe / (wFe + wCu)
    Unsaturated %O = 2.50 pO2^0.200 pS2^-0.142 (1 + 9 W)^2.19; saturated %O = 0.14 + 2.39 W + 12 W^2.
    """
    unsaturated = 2.50 * np.exp(0.200 * log_po2 - 0.142 * log_ps2) * (1.0 + 9.0 * iron_share) ** 2.19
    saturated = 0.14 + 2.39 * iron_share + 12.0 * iron_share**2
    return np.where(unsaturated < saturated, unsaturated, saturated) * PERCENT


def utigard_warczok(w: dict[str, FloatN], T: FloatN) -> FloatN:
    """Viscosity of a molten iron silicate slag, (N,) [Pa s].

    w : oxide -> (N,) [kg/kg], of FeO, Fe2O3, SiO2, CaO, MgO, Al2O3, K2O, Na2O, Cu2O, PbO (others ignored)
    T : (N,) [K]
    log10 mu = -0.49 - 5.1 VR^0.5 + (-3660 + 12080 VR^0.5) / T, VR = acids / bases.
    Utigard & Warczok 1995 (coefficients from memory); for slag free of solids, 1150 to 1400 degC.
    """
    zero = np.zeros(1)
    x = {name: value / PERCENT for name, value in w.items()}
    acid = x["SiO2"] + 1.8 * x.get("Al2O3", zero)
    base = (
        1.2 * x["FeO"]
        + 0.5 * (x.get("Fe2O3", zero) + x.get("PbO", zero))
        + 0.8 * x.get("MgO", zero)
        + 0.7 * x.get("CaO", zero)
        + 2.3 * (x.get("Na2O", zero) + x.get("K2O", zero))
        + 0.7 * x.get("Cu2O", zero)
    )
    root = np.sqrt(acid / base)
    log10 = -0.49 - 5.1 * root + (-3660.0 + 12080.0 * root) / (T / KELVIN)
    return 10.0**log10 * PASCAL_SECOND
