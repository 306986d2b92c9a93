"""Heat content of melts and gases, and the temperature that belongs to it."""

from __future__ import annotations

import functools

import numpy as np

from pyrobal.arrays import FloatN, FloatNS, Floats
from pyrobal.plant.converting.deportment import phases
from pyrobal.thermo.curve import Curve

_HOT = 1500.0  # K; no species of bath, slag and gas has a transition between 1200 and 2000 K
_NEWTON = 3  # quadratic: from 200 K away it is round-off, 1e-11 K


@functools.lru_cache
def coefficients(phase: str) -> Floats:
    """(S, 5) a, b, c, d, h of the enthalpy curves of a phase where melts are, 1200 to 2000 K.

    Curves are linear in their coefficients, so a mixture has one curve of its own: n @ coefficients.
    """
    hot = phases()[phase].curve(_HOT)
    return np.stack([getattr(hot, name) for name in "abcdh"], axis=1)


def curve(phase: str, n: FloatNS) -> Curve:
    """Enthalpy [J] over temperature of amounts n (N, S) [mol], one curve for all of it."""
    return Curve(*(n @ coefficients(phase)).T)


def together(*curves: Curve) -> Curve:
    """The curve of several melts at one temperature."""
    return Curve(*(sum((getattr(c, name) for c in curves), np.zeros(1)) for name in "abcdh"))


def temperature(content: Curve, H: FloatN, guess: FloatN) -> FloatN:
    """T (N,) [K] at which a mixture holds H (N,) [J]; Newton, the curve being almost straight."""
    T = guess
    for _ in range(_NEWTON):
        T = T + (H - content.enthalpy(T)) / content.heat_capacity(T)
    return T


def temperature_after(content: Curve, gas: Curve, H: FloatN, before: FloatN) -> FloatN:
    """T (N,) [K] of a melt when it and the gas that left it, at the mean of before and after, hold H."""
    T = before
    for _ in range(_NEWTON):
        mean = 0.5 * (before + T)
        miss = H - content.enthalpy(T) - gas.enthalpy(mean)
        T = T + miss / (content.heat_capacity(T) + 0.5 * gas.heat_capacity(mean))
    return T
