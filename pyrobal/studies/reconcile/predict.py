"""How far the balance predicts what it was not fitted to: five folds of the periods.

Each fold is predicted with settings fitted to the others. These follow from the fit to all by one
Gauss-Newton step without the fold, which is where a fit begun there would go.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.flowsheet.solve import solve
from pyrobal.numerics.gross_errors import Linear
from pyrobal.studies.measure import measured as reading_of
from pyrobal.studies.reconcile.fit import scenarios
from pyrobal.studies.reconcile.measured import Column
from pyrobal.studies.reconcile.tests import Found

FOLDS: Final = 5
LEAST: Final = 10  # periods; fewer say nothing of others


@dataclass(frozen=True, eq=False)
class Prediction:
    """Root mean square error of predicting one column, in SI: with the case as it was, and as tuned."""

    column: Column
    periods: int
    before: float
    after: float

    @property
    def better(self) -> bool:
        """Whether tuning helps."""
        return self.after < self.before


def predictions(found: Found) -> list[Prediction]:
    """One for each reading; empty where there are fewer than ``LEAST`` periods or nothing is fitted.

    Settings are taken as measured, less the errors found; readings likewise. What is fitted in each period
    has the mean of the others.
    """
    p = found.problem
    if p.periods < LEAST or not (p.fit or p.each):
        return []
    start = np.array([f.start for f in (*p.each, *p.fit)])
    before = _forward(found, np.broadcast_to(start, (p.periods, len(start))))
    after = _forward(found, _folded(found))
    result = []
    for k, j in enumerate(p.readings):
        column = p.measured.columns[j]
        told = column.values - np.array([p.offset(t, j, found.answer.shared) for t in range(p.periods)])
        told[[o.period for o in p.offsets if o.column == j and o.period is not None]] = np.nan
        used = np.isfinite(told) & np.isfinite(before[:, k]) & np.isfinite(after[:, k])
        if used.sum() >= LEAST:
            errors = (float(np.sqrt(np.mean((x[used, k] - told[used]) ** 2))) for x in (before, after))
            result.append(Prediction(column, int(used.sum()), *errors))
    return result


def _folded(found: Found) -> Floats:
    """(T, each + fit) fitted settings of every period without those of its fold."""
    p = found.problem
    own = np.array([b.own for b in found.answer.blocks]).reshape(p.periods, len(p.each))
    rows = np.empty((p.periods, len(p.each) + len(p.fit)))
    for fold in range(FOLDS):
        out = np.arange(p.periods) % FOLDS == fold
        rest = [int(t) for t in np.flatnonzero(~out)]
        rows[out, : len(p.each)] = own[~out].mean(axis=0)
        rows[out, len(p.each) :] = _without(found, rest)[: len(p.fit)]
    return rows


def _without(found: Found, rest: Sequence[int]) -> FloatN:
    """The shared unknowns as fitted to some of the periods."""
    last = found.last
    part = Linear(
        tuple(last.measured[t] for t in rest), tuple(last.blocks[t] for t in rest), last.free,
        tuple(last.more[t] for t in rest),
    )  # fmt: skip
    shared = found.answer.shared.copy()
    shared[list(last.free)] += part.step
    return shared


def _forward(found: Found, fitted: Floats) -> Floats:
    """(T, readings) in SI, of settings as measured less the errors found."""
    p = found.problem
    measured = p.measurements()
    off = [[p.offset(t, i, found.answer.shared) for i in p.settings] for t in range(p.periods)]
    rows = np.array([
        m.value[: len(p.settings)] - one for m, one in zip(measured, off, strict=True)
    ]).reshape(p.periods, len(p.settings))  # fmt: skip
    results = solve(scenarios(p, rows, fitted))
    return np.array([reading_of(results, key) for key in p.keys]).reshape(len(p.keys), p.periods).T
