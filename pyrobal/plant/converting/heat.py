"""Heat content of melts and gases, and the temperature that belongs to it."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import FloatN, FloatNS, Floats
from pyrobal.plant.converting.deportment import phases
from pyrobal.thermo.curve import Curve
from pyrobal.trace.graph import paused
from pyrobal.trace.solved import remembered, solved

_HOT = 1500.0  # K; no species of bath, slag and gas has a transition between 1200 and 2000 K
_NEWTON = 3  # quadratic: from 200 K away it is round-off, 1e-11 K


@remembered()
def coefficients(phase: str) -> Floats:
    """(S, 5) a, b, c, d, h of the enthalpy curves of a phase where melts are, 1200 to 2000 K.

    Curves are linear in their coefficients, so a mixture has one curve of its own: n @ coefficients.
    """
    hot = phases()[phase].curve(_HOT)
    return np.stack([getattr(hot, name) for name in "abcdh"], axis=1)


def curve(phase: str, n: FloatNS) -> Curve:
    """Enthalpy [J] over temperature of amounts n (N, S) [mol], one curve for all of it."""
    return Curve(*(n @ coefficients(phase)).T)


def temperature(content: Curve, H: FloatN, guess: FloatN) -> FloatN:
    """T (N,) [K] at which a mixture holds H (N,) [J]; Newton, the curve being almost straight."""
    with paused():
        T = guess
        for _ in range(_NEWTON):
            T = T + (H - content.enthalpy(T)) / content.heat_capacity(T)
    return solved(T, lambda T: H - content.enthalpy(T), "heat balance", "K")


def temperature_after(content: Floats, gas: Floats, H: FloatN, before: FloatN) -> tuple[FloatN, FloatN]:
    """T (N,) [K] of a melt when it, and the gas that left it at the mean of before and after, hold H; and the
    heat (N,) [J] of that gas.

    content, gas : (5, N) a, b, c, d, h of their curves
    """
    with paused():
        both, of_rise = Curve(*np.array([content, gas]).swapaxes(0, 1)), np.array([[1.0], [0.5]])
        T = before
        for _ in range(_NEWTON):
            at = before + of_rise * (T - before)
            melt_heat, gas_heat = both.enthalpy(at)
            melt_capacity, gas_capacity = both.heat_capacity(at)
            T = T + (H - melt_heat - gas_heat) / (melt_capacity + 0.5 * gas_capacity)
    melt, leaving = Curve(*content), Curve(*gas)

    def over(T: FloatN) -> FloatN:
        return H - melt.enthalpy(T) - leaving.enthalpy(0.5 * (before + T))

    T = solved(T, over, "heat balance", "K")
    return T, leaving.enthalpy(0.5 * (before + T))
