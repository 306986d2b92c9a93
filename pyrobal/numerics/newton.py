"""Damped Newton for many small systems at once, each scenario with its own mask."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Protocol, Self

import numpy as np

from pyrobal.arrays import BoolN, Floats, IntN, take
from pyrobal.trace.graph import paused
from pyrobal.trace.solved import solved

_STEP = 1e-7  # of the forward difference; unknowns are scaled to order one by their authors
_HALVINGS = 12
_FAST = 0.2  # of the residual before: a step that leaves more has outrun the Jacobian it was made with
_SINGULAR = 1e-3  # of the step: a correction that makes the Jacobian flatter than this is not made
_HEADWAY = 1e-3  # of the residual; a search that gains less twice running is where there is no root
_BLOCK = 8192  # scenarios solved together; beyond it their arrays no longer fit the processor's cache


class Problem(Protocol):
    """Equations f(z) = 0 of N scenarios."""

    def residual(self, z: Floats) -> Floats:
        """f (N, K) at z (N, K), each row scaled alike; nan where the equations are undefined."""
        ...

    def take(self, rows: slice | IntN) -> Self:
        """The same equations for some of the scenarios."""
        ...


@dataclass(frozen=True)
class Roots:
    """z : (N, K) unknowns; converged : (N,); iterations : (N,); residual : (N,) largest |f| at z;
    inverse : (N, K, K) of the Jacobian that the last step was made with, nan where none was made."""

    z: Floats
    converged: BoolN
    iterations: IntN
    residual: Floats
    inverse: Floats


def newton(
    problem: Problem,
    start: Floats | Roots,
    *,
    tolerance: float = 1e-11,
    iterations: int = 60,
    longest_step: float = 1.0,
) -> Roots:
    """Solve f(z) = 0 for every scenario.

    start : (N, K), or (1, K) that all share, or roots of a problem close by, whose Jacobian serves until a
    step fails with it; longest_step bounds |dz| in one iteration.

    A scenario that has converged is not moved again, nor evaluated again once half of them have, so a hard
    one costs the others little, and one whose equations are undefined stops alone. Damping: step bound, then
    halving until the residual falls (Dennis & Schnabel 1983, Numerical Methods for Unconstrained
    Optimization, ch. 6). While it falls fast the Jacobian is not made anew but corrected by what the step has
    shown (Broyden 1965, Math. Comp. 19, 577-593).

    Equations with an imaginary part are solved for their real part; z then carries the imaginary part that
    keeps them zero to first order, dz = -J^-1 df: the implicit derivative. In a trace z is known by them.
    """
    with paused():
        roots = _search(problem, start, tolerance=tolerance, iterations=iterations, longest_step=longest_step)
    return replace(roots, z=solved(roots.z, problem.residual, "Newton's method"))


def _search(
    problem: Problem, start: Floats | Roots, *, tolerance: float, iterations: int, longest_step: float
) -> Roots:
    """The roots as numbers."""
    n = len(start.z if isinstance(start, Roots) else start)
    if n > _BLOCK:
        edges = np.linspace(0, n, -(-n // _BLOCK) + 1).astype(int).tolist()
        search = functools.partial(
            _search, tolerance=tolerance, iterations=iterations, longest_step=longest_step
        )
        blocks = [slice(*pair) for pair in itertools.pairwise(edges)]
        return _join([search(problem.take(rows), take(start, rows)) for rows in blocks])
    z, H = _begun(start)
    with np.errstate(all="ignore"):  # undefined equations are answered by a shorter step, not a warning
        f, whole = problem.residual(z), problem
        if len(f) > len(z):
            z, H = np.repeat(z.T, len(f), axis=1).T, np.repeat(H.T, len(f), axis=2).T
        if len(z) > _BLOCK:
            return _search(problem, z, tolerance=tolerance, iterations=iterations, longest_step=longest_step)
        if np.iscomplexobj(f):
            f, problem = f.real.copy(), _Real(problem)
        norm, part = _norm(f), problem
        count, slow = np.zeros((2, len(z)), dtype=np.int64)
        held, sought = np.arange(len(z)), (norm > tolerance) & np.isfinite(norm)
        stale = np.asarray(~np.isfinite(H).all(axis=(1, 2)))
        for _ in range(iterations):
            if not sought.any():
                break
            held, part = _thinned(held, part, sought[held])
            rows = slice(None) if held.size == len(z) else held
            if (made := sought[rows] & stale[rows]).any():
                anew, where = (rows, part) if made.all() else _keep(held, part, made)
                H[anew] = _inverse(jacobian(where, z[anew], f[anew]))
            old, at_old, before, moving = z[rows], f[rows], norm[rows], sought[rows]
            step = np.where(moving[:, None], _newton_step(H[rows], at_old, longest_step), 0.0)
            new, at_new, after = _line_search(part, old, at_old, before, step, moving)
            H[rows] += _correction(H[rows], new - old, at_new - at_old)
            slow[rows] = np.where(after >= before * (1.0 - _HEADWAY), slow[rows] + 1, 0)
            stale[rows] = after > _FAST * before
            count[rows] += moving
            sought[rows] = moving & (after > tolerance) & (slow[rows] < 2)
            z[rows], f[rows], norm[rows] = new, at_new, after
        found = (norm <= tolerance) & (count > 0)
        if found.any():
            rows, part = _thinned(np.arange(len(z)), problem, found)
            z[rows], norm[rows] = _last_step(part, z[rows], f[rows], H[rows], longest_step, found[rows])
        if whole is not problem:
            z = _carried(whole, z)
    return Roots(z, norm <= tolerance, count, norm, H)


def _begun(start: Floats | Roots) -> tuple[Floats, Floats]:
    """z to start from, and the inverse of its Jacobian, nan where it is not known. In memory the scenarios
    stand side by side."""
    if isinstance(start, Roots):
        return start.z.real.copy(order="F"), start.inverse.copy(order="F")
    n, k = start.shape
    return start.real.copy(order="F"), np.full((n, k, k), np.nan, order="F")


def _last_step(
    problem: Problem, z: Floats, f: Floats, H: Floats, longest: float, found: BoolN
) -> tuple[Floats, Floats]:
    """z and its residual after one more step of those ``found``, with the Jacobian at hand: from just below
    the tolerance it goes to round-off, so that readings do not show where a search began."""
    new_z = z + _newton_step(H, f, longest)
    before, after = _norm(f), _norm(problem.residual(new_z))
    better = found & (after < before)
    return np.where(better[:, None], new_z, z), np.where(better, after, before)


def newton_from(problem: Problem, starts: Iterable[Floats | Roots], *, longest_step: float = 1.0) -> Roots:
    """Newton from each of the starts in turn, for the scenarios that none before it has solved.

    Those that no start solves keep the end of the search that came nearest.
    """
    with paused():
        roots = _first_found(problem, iter(starts), longest_step)
    return replace(roots, z=solved(roots.z, problem.residual, "Newton's method"))


def _first_found(problem: Problem, untried: Iterator[Floats | Roots], longest_step: float) -> Roots:
    roots = newton(problem, next(untried), longest_step=longest_step)
    while (left := np.flatnonzero(~roots.converged)).size > 0:
        start = next(untried, None)
        if start is None:
            break
        again = newton(problem.take(left), take(start, left), longest_step=longest_step)
        better = again.residual < roots.residual[left]
        for name in ("z", "converged", "iterations", "residual", "inverse"):
            getattr(roots, name)[left[better]] = getattr(again, name)[better]
    return roots


@dataclass(frozen=True)
class _Real:
    """The real part of equations that carry a derivative."""

    whole: Problem

    def residual(self, z: Floats) -> Floats:
        return np.ascontiguousarray(self.whole.residual(z).real)

    def take(self, rows: slice | IntN) -> _Real:
        return _Real(self.whole.take(rows))


def _carried(problem: Problem, z: Floats) -> Floats:
    """z with the imaginary part that goes with that of the equations; the second round mends what the
    differences of the Jacobian are off by."""
    real = _Real(problem)
    H = _inverse(jacobian(real, z, real.residual(z)))
    for _ in range(2):
        z = z - 1j * np.einsum("nij,nj->ni", H, problem.residual(z).imag)
    return z


def _join(parts: list[Roots]) -> Roots:
    columns = zip(*((p.z, p.converged, p.iterations, p.residual, p.inverse) for p in parts), strict=True)
    return Roots(*(np.concatenate(column) for column in columns))


def jacobian(problem: Problem, z: Floats, f: Floats) -> Floats:
    """Forward differences, (N, K, K): d f_i / d z_j; as many columns in one call as fit a block."""
    n, k = z.shape
    J = np.empty((n, k, k), order="F")
    for columns in np.array_split(np.arange(k), min(k, -(-n * k // _BLOCK))):
        m = columns.size
        shifted = np.tile(z.T, m).reshape(k, m, n)
        shifted[columns, np.arange(m)] += _STEP
        part = problem if m == 1 else problem.take(np.tile(np.arange(n), m))
        moved = part.residual(shifted.reshape(k, m * n).T).T.reshape(k, m, n)
        J[:, :, columns] = np.transpose((moved - f.T[:, None]) / _STEP, (2, 0, 1))
    return J


def _keep(rows: IntN, part: Problem, kept: BoolN) -> tuple[IntN, Problem]:
    return rows[kept], part if kept.all() else part.take(np.flatnonzero(kept))


def _thinned(rows: IntN, part: Problem, sought: BoolN) -> tuple[IntN, Problem]:
    """Only those sought, once they are few: a part of a problem is a copy, as dear as its equations."""
    return (rows, part) if 2 * sought.sum() > rows.size else _keep(rows, part, sought)


def _correction(H: Floats, step: Floats, change: Floats) -> Floats:
    """To H (N, K, K), for the inverse of the Jacobian nearest to its own that gives the ``change`` of f seen
    over a ``step``; nil where that is close to singular."""
    expected = np.einsum("nij,nj->ni", H, change)
    along = np.einsum("nj,nj->n", step, expected)
    sound = np.abs(along) > _SINGULAR * np.einsum("nj,nj->n", step, step)
    miss = (step - expected) / np.where(sound, along, np.inf)[:, None]
    return miss[:, :, None] * np.einsum("ni,nij->nj", step, H)[:, None, :]


def _inverse(J: Floats) -> Floats:
    """Of each of a batch; the least-squares one where a matrix of it is singular; where it is undefined one
    that steps a tenth of the residual down."""
    undefined = ~np.isfinite(J).all(axis=(1, 2))
    J[undefined] = 10.0 * np.eye(J.shape[1])
    try:
        return np.asarray(np.linalg.inv(J), dtype=np.float64)
    except np.linalg.LinAlgError:
        return np.asarray(np.linalg.pinv(J), dtype=np.float64)


def _newton_step(H: Floats, f: Floats, longest: float) -> Floats:
    step = -np.einsum("nij,nj->ni", H, f)
    return step / np.maximum(_largest(step) / longest, 1.0)[:, None]


def _line_search(
    problem: Problem, z: Floats, f: Floats, norm: Floats, step: Floats, moving: BoolN
) -> tuple[Floats, Floats, Floats]:
    """Halve the step, for the scenarios of those ``moving`` that need it, until the residual is smaller than
    before; the others stay."""
    new_z = z + step
    new_f = problem.residual(new_z)
    new_norm = _norm(new_f)
    for _ in range(_HALVINGS):
        worse = np.flatnonzero(moving & ~(new_norm < norm))
        if worse.size == 0:
            break
        step[worse] *= 0.5
        new_z[worse] = z[worse] + step[worse]
        new_f[worse] = problem.take(worse).residual(new_z[worse])
        new_norm[worse] = _norm(new_f[worse])
    if (back := ~(moving & (new_norm < norm))).any():
        new_z[back], new_f[back], new_norm[back] = z[back], f[back], norm[back]
    return new_z, new_f, new_norm


def _norm(f: Floats) -> Floats:
    largest = _largest(f)
    return np.where(np.isfinite(largest), largest, np.inf)


def _largest(x: Floats) -> Floats:
    """(N,) of the magnitudes in a row; column by column, as rows are short and many."""
    largest: Floats = functools.reduce(np.maximum, np.abs(x).T)
    return largest
