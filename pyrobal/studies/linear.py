"""Linear programs, by HiGHS (Huangfu & Hall 2018, Math. Prog. Comp. 10, 119-142) as scipy carries it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, Floats


@dataclass(frozen=True, eq=False)
class Optimum:
    """x : (n,); value : of the objective
    worth : (m,) what one more unit of each bound adds to the value; never negative
    """

    x: FloatN
    value: float
    worth: FloatN


def maximise(c: FloatN, A: Floats, b: FloatN, low: FloatN, high: FloatN) -> Optimum | None:
    """The greatest c.x with A x <= b and low <= x <= high; None where no x is allowed.

    c, low, high : (n,), bounds finite; A : (m, n); b : (m,)
    """
    from scipy.optimize import linprog

    found = linprog(
        -c, A_ub=A, b_ub=b, bounds=list(zip(low.tolist(), high.tolist(), strict=True)), method="highs"
    )
    if found.status == 2:
        return None
    if found.status != 0:
        raise ArithmeticError(f"the linear program was not solved: {found.message}")
    x = np.asarray(found.x)
    return Optimum(x, float(c @ x), -np.asarray(found.ineqlin.marginals) + 0.0)


def conflict(A: Floats, b: FloatN, low: FloatN, high: FloatN, rows: Sequence[int]) -> list[int]:
    """Those of ``rows`` that no x can meet together, none of which could be left out of the quarrel.

    Deletion filter: a row without which there is still no x takes no part (Chinneck 2008, Feasibility and
    Infeasibility in Optimization, ch. 6). Empty where there is an x; rows not named are kept throughout.
    """
    nothing = np.zeros(A.shape[1])
    kept = list(range(len(A)))
    if maximise(nothing, A, b, low, high) is not None:
        return []
    for row in rows:
        fewer = [k for k in kept if k != row]
        if maximise(nothing, A[fewer], b[fewer], low, high) is None:
            kept = fewer
    return [row for row in rows if row in kept]
