"""Batched non-negative weighted least squares by principal pivoting."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import BoolN, Bools, Floats

_BLOCK_ROUNDS = 12  # block exchanges before the slower, provably finite single exchange takes over
_ROUNDS = 400


def nonnegative(Q: Floats, q: Floats) -> tuple[Floats, BoolN]:
    """Minimise 1/2 x'Qx - q'x over x >= 0, one problem per scenario.

    Q : (M, M) symmetric positive definite, shared by all scenarios
    q : (N, M)
    Returns x (N, M) >= 0, and (N,) True where the optimality conditions hold.

    Block principal pivoting with Murty's single exchange as the finite fallback: Portugal, Judice &
    Vicente 1994, Math. Comp. 63, 625-643. Every round solves all scenarios at once; a variable that is
    held at zero has its row replaced by the identity.
    """
    n, m = q.shape
    free = np.ones((n, m), dtype=bool)
    tolerance = 1e-12 * (1.0 + np.abs(q).max(axis=1, keepdims=True))
    x, slope = _solve(Q, q, free)
    for round_ in range(_ROUNDS):
        wrong = np.where(free, x < -tolerance, slope < -tolerance)
        todo = wrong.any(axis=1)
        if not todo.any():
            break
        if round_ >= _BLOCK_ROUNDS:
            wrong &= _last_only(wrong)
        free[todo] ^= wrong[todo]
        x[todo], slope[todo] = _solve(Q, q[todo], free[todo])
    return np.where(free, np.maximum(x, 0.0), 0.0), ~todo


def _solve(Q: Floats, q: Floats, free: Bools) -> tuple[Floats, Floats]:
    """x with the held variables at zero, and the gradient of the objective at x."""
    m = Q.shape[0]
    both = free[:, :, None] & free[:, None, :]
    matrix = np.where(both, Q, np.eye(m))
    x = np.linalg.solve(matrix, np.where(free, q, 0.0)[:, :, None])[:, :, 0]
    return x, x @ Q - q


def _last_only(mask: Bools) -> Bools:
    """Keep the last True of each row."""
    last = mask.shape[1] - 1 - np.argmax(mask[:, ::-1], axis=1)
    return np.arange(mask.shape[1]) == last[:, None]
