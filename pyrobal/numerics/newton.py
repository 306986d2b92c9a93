"""Damped Newton for many small systems at once, each scenario with its own mask."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import BoolN, Floats, IntN

_STEP = 1e-7  # of the forward difference; unknowns are scaled to order one by their authors

Residual = Callable[[Floats, IntN], Floats]


@dataclass(frozen=True)
class Roots:
    """z : (N, K) unknowns; converged : (N,); iterations : (N,); residual : (N,) largest |f| at z."""

    z: Floats
    converged: BoolN
    iterations: IntN
    residual: Floats


def newton(
    residual: Residual,
    start: Floats,
    *,
    tolerance: float = 1e-10,
    iterations: int = 60,
    longest_step: float | Floats = 1.0,
) -> Roots:
    """Solve f(z) = 0 for every scenario.

    residual : called with z (n, K) and the scenario numbers (n,) it belongs to; returns (n, K), scaled so
        that ``tolerance`` means the same in every row. May return nan: the step is then shortened.
    start : (N, K)
    longest_step : bound on |dz| of one iteration, a number or (K,)

    Only scenarios that have not converged are evaluated again, so a hard one costs the others nothing,
    and one whose equations are undefined stops alone. Damping: step bound, then halving until the
    residual falls (Dennis & Schnabel 1983, Numerical Methods for Unconstrained Optimization, ch. 6).
    """
    n, k = start.shape
    z = start.copy()
    rows = np.arange(n)
    f = residual(z, rows)
    norm = _norm(f)
    count = np.zeros(n, dtype=np.int64)
    live = np.flatnonzero((norm > tolerance) & np.isfinite(norm))
    for _ in range(iterations):
        if live.size == 0:
            break
        step = _newton_step(residual, z[live], f[live], live, longest_step)
        better_z, better_f, better_norm = _line_search(residual, z[live], step, norm[live], f[live], live)
        stuck = better_norm >= norm[live]
        z[live], f[live], norm[live] = better_z, better_f, better_norm
        count[live] += 1
        live = live[(better_norm > tolerance) & ~stuck]
    return Roots(z, norm <= tolerance, count, norm)


def jacobian(residual: Residual, z: Floats, f: Floats, rows: IntN) -> Floats:
    """Forward differences, (n, K, K): d f_i / d z_j."""
    J = np.empty((*z.shape, z.shape[1]))
    for j in range(z.shape[1]):
        shifted = z.copy()
        shifted[:, j] += _STEP
        J[:, :, j] = (residual(shifted, rows) - f) / _STEP
    return J


def _newton_step(residual: Residual, z: Floats, f: Floats, rows: IntN, longest: float | Floats) -> Floats:
    J = jacobian(residual, z, f, rows)
    bad = ~np.isfinite(J).all(axis=(1, 2)) | (np.abs(np.linalg.det(np.where(np.isfinite(J), J, 0.0))) < 1e-200)
    J[bad] = np.eye(z.shape[1])
    step = np.linalg.solve(J, -f[:, :, None])[:, :, 0]
    over = np.max(np.abs(step) / longest, axis=1, initial=1.0)
    shortened: Floats = step / over[:, None]
    return shortened


def _line_search(
    residual: Residual, z: Floats, step: Floats, norm: Floats, f: Floats, rows: IntN
) -> tuple[Floats, Floats, Floats]:
    """Halve the step, for the scenarios that need it, until the residual is smaller than before."""
    new_z, new_f = z + step, residual(z + step, rows)
    new_norm = _norm(new_f)
    for _ in range(12):
        worse = np.flatnonzero(~(new_norm < norm))
        if worse.size == 0:
            return new_z, new_f, new_norm
        step[worse] *= 0.5
        new_z[worse] = z[worse] + step[worse]
        new_f[worse] = residual(new_z[worse], rows[worse])
        new_norm[worse] = _norm(new_f[worse])
    kept = ~(new_norm < norm)
    new_z[kept], new_f[kept], new_norm[kept] = z[kept], f[kept], norm[kept]
    return new_z, new_f, new_norm


def _norm(f: Floats) -> Floats:
    largest: Floats = np.max(np.abs(f), axis=1)
    return np.where(np.isfinite(largest), largest, np.inf)
