"""Non-negative least squares for many scenarios at once."""

from __future__ import annotations

import functools

import numpy as np

from pyrobal.arrays import BoolN, Bools, Floats, zeros
from pyrobal.trace.graph import current, paused

_ROUNDS = 300


def nonnegative(Q: Floats, q: Floats) -> tuple[Floats, BoolN]:
    """Minimise 1/2 x'Qx - q'x over x >= 0, one problem per scenario.

    Q : (M, M) symmetric positive definite, shared by all scenarios
    q : (N, M)
    Returns x (N, M) >= 0, and (N,) True where the optimality conditions hold.

    Active sets after Lawson & Hanson 1974, Solving Least Squares Problems, ch. 23: free the variable that
    helps most, solve, step back to the first that would turn negative. Every round takes all open scenarios
    one exchange further. Scenarios are kin, so they begin where their mean ends.

    A single problem is remembered: searches and aims come back to it while they move something else.
    """
    with paused():
        x, found = _search(Q, q)
    if current() is None:
        return x, found
    return np.where(x > 0.0, _minimum(Q, q, x > 0.0), 0.0), found


def _search(Q: Floats, q: Floats) -> tuple[Floats, BoolN]:
    q = np.array(q)
    if len(q) > 1:
        return _found(Q, q)
    x, solved = _found_before(Q.tobytes(), q.tobytes(), q.dtype.char)
    return x.copy(), solved.copy()


@functools.lru_cache(maxsize=256)
def _found_before(Q: bytes, q: bytes, kind: str) -> tuple[Floats, BoolN]:
    one = np.frombuffer(q, dtype=kind)[None, :]
    return _found(np.frombuffer(Q).reshape(one.shape[1], -1), one)


def _found(Q: Floats, q: Floats) -> tuple[Floats, BoolN]:
    n, m = q.shape
    x = zeros((n, m), q)
    free = np.zeros((n, m), dtype=bool)
    if n > 1:
        mean, _ = nonnegative(Q, q.mean(axis=0, keepdims=True))
        free[:], x[:] = mean > 0.0, mean
    tolerance = 1e-11 * (1.0 + np.abs(q).max(axis=1))
    live = np.arange(n)
    for _ in range(_ROUNDS):
        goal = _solve(Q, q[live], free[live])
        x[live], free[live], arrived = _advance(x[live], goal, free[live])
        descent = np.where(free[live], -np.inf, q[live] - x[live] @ Q)
        best = descent.argmax(axis=1)
        helps = descent[np.arange(len(live)), best] > tolerance[live]
        more = arrived & helps
        free[live[more], best[more]] = True
        live = live[~arrived | helps]
        if live.size == 0:
            break
    solved = np.ones(n, dtype=bool)
    solved[live] = False
    return x, solved


def _minimum(Q: Floats, q: Floats, free: Bools) -> Floats:
    """The minimum over the free variables in one statement, as a trace tells it: the others' rows are
    replaced by the identity."""
    both = free[:, :, None] & free[:, None, :]
    matrix = np.where(both, Q, np.eye(Q.shape[0]))
    return np.linalg.solve(matrix, np.where(free, q, 0.0)[:, :, None])[:, :, 0]


def _solve(Q: Floats, q: Floats, free: Bools) -> Floats:
    """The same as numbers, the others at zero.

    Kin mostly have the same variables free, so the matrix of each such set is inverted once; what its inverse
    misses by round-off is sought once more with it. Sums are row by row, so that no scenario feels another.
    """
    x = np.zeros_like(q)
    left = np.arange(len(q))
    while left.size:
        same = (free[left] == free[left[0]]).all(axis=1)
        rows, which = left[same], np.flatnonzero(free[left[0]])
        matrix, wanted = Q[np.ix_(which, which)], q[np.ix_(rows, which)]
        inverse = np.asarray(np.linalg.inv(matrix), dtype=float)
        found = _times(inverse, wanted)
        x[np.ix_(rows, which)] = found + _times(inverse, wanted - _times(matrix, found))
        left = left[~same]
    return x


def _times(A: Floats, x: Floats) -> Floats:
    """A x for every row of x (N, K); A is real, so x's parts go each by itself."""
    if np.iscomplexobj(x):
        return _times(A, x.real) + 1j * _times(A, x.imag)
    return np.einsum("ij,nj->ni", A, x)


def _advance(x: Floats, goal: Floats, free: Bools) -> tuple[Floats, Bools, BoolN]:
    """Go to the goal, or as far as no variable turns negative; those that reach zero are held there."""
    falls = free & (goal <= 0.0)
    room = np.divide(x, x - goal, out=np.full_like(x, np.inf), where=falls & (x > goal))
    step = np.minimum(room.min(axis=1), 1.0)
    moved = x + step[:, None] * (goal - x)
    held = falls & (room <= step[:, None])
    moved = np.where(held | ~free, 0.0, moved)
    return moved, free & ~held, np.asarray(~falls.any(axis=1))
