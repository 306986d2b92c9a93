"""One root of one equation per scenario, enclosed from both sides."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from pyrobal.arrays import BoolN, FloatN
from pyrobal.trace.graph import paused
from pyrobal.trace.solved import solved

_MOST = 120
_WIDTH = 4.0 * np.finfo(float).eps
_TINY = 1e-20  # relative; of an imaginary step, which knows no cancellation


@dataclass(frozen=True)
class Root:
    """x : (N,) where f changes sign; found : (N,) False where it does not between the bounds."""

    x: FloatN
    found: BoolN


def root(f: Callable[[FloatN], FloatN], low: FloatN, high: FloatN) -> Root:
    """Root of f between ``low`` and ``high`` (N,), to the last digits of x.

    Inverse quadratic interpolation where it is safe, else bisection: Chandrupatla 1997, A new hybrid
    quadratic/bisection algorithm, Adv. Eng. Software 28, 145-149. A scenario that has converged is frozen,
    so its result does not depend on its neighbours; one without a change of sign carries nan. An imaginary
    part of f is carried over to x to first order, see ``arrays.zeros``. In a trace x is known by f.
    """
    with paused():
        found = _search(f, low, high)
    return replace(found, x=solved(found.x, f, "bracketing", low))


def _search(f: Callable[[FloatN], FloatN], low: FloatN, high: FloatN) -> Root:
    """The root as a number."""
    whole, f = f, lambda x: np.real(whole(x))
    low, high = np.real(low), np.real(high)
    with np.errstate(all="ignore"):
        a, b = np.broadcast_arrays(low, high)
        fa, fb = f(a), f(b)
        a, b, fa, fb = (np.array(v, dtype=float) for v in np.broadcast_arrays(a, b, fa, fb))
        found = np.isfinite(fa) & np.isfinite(fb) & (np.sign(fa) * np.sign(fb) <= 0.0)
        c, fc, t = a.copy(), fa.copy(), np.full_like(a, 0.5)
        live = found & (fa != 0.0) & (fb != 0.0)
        for _ in range(_MOST):
            if not live.any():
                break
            x = np.where(live, a + t * (b - a), a)
            fx = np.where(live, f(x), fa)
            same = np.sign(fx) == np.sign(fa)
            c, fc = np.where(live, np.where(same, a, b), c), np.where(live, np.where(same, fa, fb), fc)
            b, fb = np.where(live & ~same, a, b), np.where(live & ~same, fa, fb)
            a, fa = np.where(live, x, a), np.where(live, fx, fa)
            width = _WIDTH * np.maximum(np.abs(a), np.abs(b)) / np.abs(b - a)
            live = live & (width < 0.5) & (fa != 0.0)
            t = np.clip(_step(a, b, c, fa, fb, fc), width, 1.0 - width)
        x = _carried(whole, np.where(np.abs(fa) <= np.abs(fb), a, b))
    return Root(np.where(found, x, np.nan), found)


def _carried(f: Callable[[FloatN], FloatN], x: FloatN) -> FloatN:
    """x, or where f has an imaginary part, x with the one that keeps f zero to first order: -df / f'(x)."""
    there = f(x)
    if not np.iscomplexobj(there):
        return x
    step = _TINY * np.maximum(np.abs(x), 1.0)
    slope = (f(x + 1j * step).imag - there.imag) / step
    return x - 1j * there.imag / slope


def _step(a: FloatN, b: FloatN, c: FloatN, fa: FloatN, fb: FloatN, fc: FloatN) -> FloatN:
    """Share of the way from a to b: inverse quadratic through the three points where that is safe."""
    xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
    safe = (phi**2 < xi) & ((1.0 - phi) ** 2 < 1.0 - xi)
    quadratic = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
    return np.where(safe, quadratic, 0.5)


def rise(f: Callable[[FloatN], FloatN], flat: FloatN, risen: FloatN) -> FloatN:
    """Where f begins to be above nil on the way from ``flat`` to ``risen`` (N,), to the last digits of x; nan
    where it is not above nil at ``risen``.

    On the flat side f tells nothing of how far it is, so the secant goes through the two last points of the
    slope. Where it ends on the flat side, the next point is a share of the way back up, a smaller one each
    time that this is on the slope: there secants go on with closer points.
    """
    with paused(), np.errstate(all="ignore"):
        a, b = np.array(flat, dtype=float), np.array(risen, dtype=float)
        fb = f(b)
        found = fb > 0.0
        c, fc, share, back = b.copy(), fb.copy(), np.full(len(b), 0.5), np.ones(len(b), dtype=bool)
        for _ in range(_MOST):
            width = _WIDTH * np.maximum(np.abs(a), np.abs(b)) / np.abs(b - a)
            live = found & (width < 0.5)
            if not live.any():
                break
            t = 1.0 - fb * (c - b) / ((fc - fb) * (b - a))  # of the way from a to b
            back = back | ~((t > 0.0) & (t < 1.0))
            t = np.clip(np.where(back, share, t), width, 1.0 - width)
            x = np.where(live, a + t * (b - a), b)
            fx = f(x)
            up = fx > 0.0
            share = np.where(back, np.where(up, share**2, 0.5), share)
            back = ~up
            c, fc = np.where(live & up, b, c), np.where(live & up, fb, fc)
            b, fb = np.where(live & up, x, b), np.where(live & up, fx, fb)
            a = np.where(live & ~up, x, a)
        return np.where(found, b, np.nan)


def bisect(f: Callable[[FloatN], FloatN], low: FloatN, high: FloatN, steps: int = 40) -> FloatN:
    """Roughly where the rising function f changes sign between ``low`` and ``high``, both (N,).

    Where f has one sign throughout, the answer is the end nearer to a root: ``low`` for a positive f,
    ``high`` for a negative one; so it always serves as a start. Each step halves the bracket; nan counts
    as positive.
    """
    with paused():
        low, high = low.copy(), high.copy()
        for _ in range(steps):
            middle = 0.5 * (low + high)
            below = f(middle) < 0
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return 0.5 * (low + high)
