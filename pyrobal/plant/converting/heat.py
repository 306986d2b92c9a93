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
_CORRECTIONS = 2  # of a rise that begins with the curvature: round-off up to 30 K, 1e-7 K at 280 K
_BENT = 0.5  # of the heat capacity; curvature that is believed


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
    melt, leaving = Curve(*content), Curve(*gas)
    with paused():
        capacity = Curve(*(content + 0.5 * gas)).heat_capacity(before)
        slope = Curve(*(content + 0.25 * gas)).slope(before)
        rise = (H - Curve(*(content + gas)).enthalpy(before)) / capacity
        bend = np.minimum(np.maximum(rise * slope / capacity, -_BENT), _BENT)
        rise, capacity = rise * (1.0 - 0.5 * bend), capacity * (1.0 + bend)  # at the end of the rise
        for _ in range(_CORRECTIONS):
            short = H - melt.enthalpy(before + rise) - leaving.enthalpy(before + 0.5 * rise)
            rise = rise + short / capacity
        T = before + rise

    def over(T: FloatN) -> FloatN:
        return H - melt.enthalpy(T) - leaving.enthalpy(0.5 * (before + T))

    T = solved(T, over, "heat balance", "K")
    return T, leaving.enthalpy(0.5 * (before + T))
