"""Linear programs, some of whose unknowns may be whole numbers, by HiGHS (Huangfu & Hall 2018, Math. Prog.
Comp. 10, 119-142) as scipy carries it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from pyrobal.arrays import BoolN, FloatN, Floats

_PATIENCE: Final = 20.0  # seconds for one program with whole numbers, which then gives the best it has
_GAP: Final = 1e-8  # of the value; what may be left between the best and the proof that none is better


@dataclass(frozen=True, eq=False)
class Region:
    """Points with A x <= b and low <= x <= high.

    low, high : (n,) finite; A : (k, n); b : (k,)
    whole : (n,) where x counts things
    linear : (n,) where the problem is linear in x, which may so move as far as it likes
    """

    low: FloatN
    high: FloatN
    A: Floats
    b: FloatN
    whole: BoolN
    linear: BoolN

    @staticmethod
    def of(
        low: FloatN,
        high: FloatN,
        A: Floats | None = None,
        b: FloatN | None = None,
        whole: BoolN | None = None,
        linear: BoolN | None = None,
    ) -> Region:
        """A box, with what else is said of it."""
        none = np.zeros(len(low), dtype=bool)
        return Region(
            low,
            high,
            np.zeros((0, len(low))) if A is None else A,
            np.zeros(0) if b is None else b,
            none if whole is None else whole,
            none if linear is None else linear,
        )

    @property
    def width(self) -> FloatN:
        """(n,) from low to high."""
        return self.high - self.low

    def holds(self, x: FloatN) -> bool:
        """Whether x (n,) is a point of it, round-off aside."""
        slack = 1e-9 * (1.0 + np.abs(self.b))
        box = (self.low <= x) & (x <= self.high)
        return bool(box.all() and (self.A @ x <= self.b + slack).all())

    def at(self, whole: FloatN) -> Region:
        """The same with the whole numbers at those of a point (n,)."""
        kept = np.round(whole)
        low, high = (np.where(self.whole, kept, end) for end in (self.low, self.high))
        return replace(self, low=low, high=high, whole=np.zeros(len(low), dtype=bool))

    @property
    def empty(self) -> bool:
        """Whether no point is in it."""
        return bool((self.low > self.high).any()) or maximise(np.zeros(len(self.low)), self) is None


@dataclass(frozen=True, eq=False)
class Optimum:
    """x : (n,); value : of the objective
    worth : (k,) what one more unit of each bound adds to the value, never negative; nan with whole numbers
    gap : share of the value by which a better one is not ruled out
    """

    x: FloatN
    value: float
    worth: FloatN
    gap: float = 0.0


def maximise(c: FloatN, region: Region) -> Optimum | None:
    """The greatest c.x of a region, c : (n,); None where it is empty."""
    from scipy import optimize

    if region.whole.any():
        return _with_whole(c, region)
    ends = list(zip(region.low.tolist(), region.high.tolist(), strict=True))
    found = optimize.linprog(-c, A_ub=region.A, b_ub=region.b, bounds=ends, method="highs")
    if found.status == 2:
        return None
    if found.status != 0:
        raise ArithmeticError(f"the linear program was not solved: {found.message}")
    x = np.asarray(found.x)
    return Optimum(x, float(c @ x), -np.asarray(found.ineqlin.marginals) + 0.0)


def _with_whole(c: FloatN, region: Region) -> Optimum | None:
    from scipy import optimize, sparse

    rows = optimize.LinearConstraint(sparse.csr_array(region.A), -np.inf, region.b)
    found = optimize.milp(
        -c,
        integrality=region.whole.astype(int),
        bounds=optimize.Bounds(region.low, region.high),
        constraints=[rows] if len(region.b) else [],
        options={"time_limit": _PATIENCE, "mip_rel_gap": _GAP},
    )
    if found.x is None:
        if found.status in (2, 4):
            return None
        raise ArithmeticError(f"the mixed-integer program was not solved: {found.message}")
    x = np.where(region.whole, np.round(found.x), found.x)
    gap = 0.0 if found.mip_gap is None else float(found.mip_gap)
    return Optimum(x, float(c @ x), np.full(len(region.b), np.nan), 0.0 if gap <= _GAP else gap)


def conflict(region: Region, rows: Sequence[int]) -> list[int]:
    """Those of ``rows`` that no x can meet together, none of which could be left out of the quarrel.

    Rows that take part in a proof by multipliers (Farkas) are looked at first; then the deletion filter: a
    row without which there is still no x takes no part (Chinneck 2008, Feasibility and Infeasibility in
    Optimization, ch. 6). Empty where there is an x; rows not named are kept throughout.
    """
    every = np.arange(len(region.b))
    if not region.empty:
        return []
    kept = _witness(region)
    if not _without(region, kept).empty:  # whole numbers take part
        kept = every.tolist()
    for row in rows:
        fewer = [k for k in kept if k != row]
        if row in kept and _without(region, fewer).empty:
            kept = fewer
    return [row for row in rows if row in kept]


def _without(region: Region, kept: Sequence[int]) -> Region:
    rows = np.asarray(kept, dtype=np.int64)
    return replace(region, A=region.A[rows], b=region.b[rows])


def _witness(region: Region) -> list[int]:
    """Rows with a multiplier where all are broken the least in sum; whole numbers may be parts."""
    k, n = region.A.shape
    scale = np.maximum(np.abs(region.A).max(axis=1, initial=0.0), 1e-300)
    worst = (
        1.0
        + np.abs(region.b / scale)
        + (np.abs(region.A) / scale[:, None]) @ np.maximum(np.abs(region.low), np.abs(region.high))
    )
    eased = Region.of(
        np.concatenate([region.low, np.zeros(k)]),
        np.concatenate([region.high, worst]),
        np.hstack([region.A / scale[:, None], -np.eye(k)]),
        region.b / scale,
    )
    found = maximise(np.concatenate([np.zeros(n), -np.ones(k)]), eased)
    return [] if found is None else np.flatnonzero(found.worth > 1e-9).tolist()
