"""What the fit says of the instruments: which are off, which nothing checks, which cannot be told apart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.numerics.gross_errors import (
    ALIKE,
    CHECKED,
    Linear,
    cells,
    columns,
    correlation,
    suspects,
)
from pyrobal.numerics.reconcile import SQUARES, Reconciled
from pyrobal.studies.reconcile.fit import Offset, Problem, fitted
from pyrobal.studies.reconcile.measured import Column

_PASSES: Final = 3  # of looking for errors, each with those before allowed for


@dataclass(frozen=True, eq=False)
class Instrument:
    """One column over the periods.

    redundancy : share of its variance that the other measurements check, mean of the periods
    bias, deviation : the constant error that fits best, and its standard deviation, in SI; nan if unchecked
    score : bias over deviation
    off : True where the bias is beyond chance
    alike : keys of columns whose constant error would look the same
    """

    column: Column
    periods: int
    redundancy: float
    bias: float
    deviation: float
    score: float
    off: bool
    alike: tuple[str, ...]

    @property
    def checked(self) -> bool:
        """False where nothing checks it, or a fitted setting takes up its error."""
        return bool(np.isfinite(self.bias))


@dataclass(frozen=True, eq=False)
class Outlier:
    """One measurement that does not fit: size and deviation in SI; alike : others of the period it may be."""

    column: Column
    period: str
    size: float
    deviation: float
    score: float
    alike: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Found:
    """The fit with every error allowed for that stands out.

    first : as measured, before any was allowed for; last : after
    scores : of each offset, when it was found; alike : column numbers it cannot be told from
    """

    problem: Problem
    answer: Reconciled
    first: Linear
    last: Linear
    scores: tuple[float, ...]
    alike: tuple[tuple[int, ...], ...]


def with_errors_found(
    problem: Problem, loss: str = SQUARES, progress: Callable[[int], object] = lambda _: None
) -> Found | None:
    """Fit, look for errors, allow for them, fit again; None where there is no answer to begin with."""
    answer = fitted(problem, loss, progress=progress)
    if answer is None:
        return None
    first = last = Linear.at(answer)
    scores: list[float] = []
    alike: list[tuple[int, ...]] = []
    for _ in range(_PASSES):
        more = _standing_out(problem, last)
        if not more:
            break
        wider = replace(problem, offsets=(*problem.offsets, *(offset for offset, _, _ in more)))
        again = fitted(wider, loss, answer, progress)
        if again is None or not again.settled:
            break
        problem, answer, last = wider, again, Linear.at(again)
        scores += [score for _, score, _ in more]
        alike += [same for _, _, same in more]
    return Found(problem, answer, first, last, tuple(scores), tuple(alike))


def _standing_out(problem: Problem, linear: Linear) -> list[tuple[Offset, float, tuple[int, ...]]]:
    """New errors, each with its score and the columns it may be in."""
    index = [problem.index(t) for t in range(problem.periods)]
    at = [{place: i for i, place in enumerate(row) if place >= 0} for row in index]
    single = [(t, k, d) for t, k, d in cells(linear) if k in at[t]]
    offsets = [Offset(i, None) for i in range(len(problem.measured.columns))]
    offsets += [Offset(at[t][k], t) for t, k, _ in single]
    directions = [*columns(linear, index), *(d for _, _, d in single)]
    deviations = [_mean(c.deviation) for c in problem.measured.columns]
    deviations += [float(linear.measured[t].deviation[k]) for t, k, _ in single]
    if problem.periods == 1:  # a constant error and one of the period are the same
        keep = len(problem.measured.columns)
        offsets, directions, deviations = offsets[:keep], directions[:keep], deviations[:keep]
    families = np.array([0 if o.period is None else 1 + o.period for o in offsets])
    kinds = np.minimum(families, 1)  # constant, or of one period
    errors, _ = suspects(linear, directions, families, np.array(deviations), kinds)
    return [
        (offsets[e.which], e.score, tuple(offsets[i].column for i in e.alike))
        for e in errors
        if offsets[e.which] not in problem.offsets
    ]


def _mean(values: FloatN) -> float:
    return float(np.nanmean(values))


def sizes(found: Found) -> tuple[FloatN, FloatN]:
    """(q,) of the errors allowed for, and their standard deviations, in SI."""
    p = len(found.problem.fit)
    free = found.last.free
    spread = np.full(len(found.answer.shared), np.nan)
    spread[list(free)] = np.sqrt(np.maximum(np.diag(found.last.covariance), 0.0))
    return found.answer.shared[p:], spread[p:]


def instruments(found: Found) -> list[Instrument]:
    """Every column but those of stocks."""
    p = found.problem
    index = [p.index(t) for t in range(p.periods)]
    directions = columns(found.last, index)
    s, f = found.last.scores(directions)
    same = np.abs(correlation(found.first.overlaps(columns(found.first, index)))) >= ALIKE
    offsets, spreads = sizes(found)
    redundancy = _redundancy(found, index)
    off = {o.column: k for k, o in enumerate(p.offsets) if o.period is None}
    result = []
    for i, column in enumerate(p.measured.columns):
        if column.stock:
            continue
        if i in off:
            bias, deviation = float(offsets[off[i]]), float(spreads[off[i]])
        elif f[i] * _mean(column.deviation) ** 2 > CHECKED:
            bias, deviation = float(s[i] / f[i]), float(1.0 / np.sqrt(f[i]))
        else:
            bias = deviation = float("nan")
        others = found.alike[off[i]] if i in off else np.flatnonzero(same[i])
        alike = [p.measured.columns[j].key for j in others if j != i]
        count = int(np.isfinite(column.values).sum())
        score = bias / deviation if deviation else float("nan")
        result.append(
            Instrument(column, count, redundancy[i], bias, deviation, score, i in off, tuple(alike))
        )
    return result


def _redundancy(found: Found, index: Sequence[Sequence[int]]) -> FloatN:
    """(n,) variance of the adjustment over that of the measurement, mean of the periods."""
    n = len(found.problem.measured.columns)
    total, count = np.zeros(n), np.zeros(n)
    for t, places in enumerate(index):
        _, spread = found.first.adjustments(t)
        share = np.diag(spread) / np.diag(found.first.measured[t].covariance)
        for i, k in enumerate(places):
            if k >= 0:
                total[i], count[i] = total[i] + share[k], count[i] + 1
    return np.where(total > CHECKED * count, total / np.maximum(count, 1), 0.0)


def outliers(found: Found) -> list[Outlier]:
    """Single measurements that do not fit."""
    p = found.problem
    offsets, spreads = sizes(found)
    return [
        Outlier(
            p.measured.columns[o.column],
            p.measured.periods[o.period],
            float(size),
            float(spread),
            score,
            tuple(p.measured.columns[j].key for j in alike if j != o.column),
        )
        for o, size, spread, score, alike in zip(
            p.offsets, offsets, spreads, found.scores, found.alike, strict=True
        )
        if o.period is not None
    ]


@dataclass(frozen=True, eq=False)
class Adjusted:
    """(T, n) by columns, in SI, nan where nothing was measured.

    reconciled : true values that fit best; deviation : theirs; score : adjustment over its own deviation
    """

    reconciled: Floats
    deviation: Floats
    score: Floats


def adjusted(found: Found) -> Adjusted:
    """Every measurement after reconciliation."""
    p = found.problem
    shape = p.periods, len(p.measured.columns)
    reconciled, deviation, score = (np.full(shape, np.nan) for _ in range(3))
    for t in range(p.periods):
        block, m = found.answer.blocks[t], found.last.measured[t]
        moved, spread = found.last.adjustments(t)
        for i, k in enumerate(p.index(t)):
            if k >= 0:
                reconciled[t, i] = block.x[k] - p.offset(t, i, found.answer.shared)
                deviation[t, i] = np.sqrt(max(m.covariance[k, k] - spread[k, k], 0.0))
                checked = spread[k, k] > CHECKED * m.covariance[k, k]
                score[t, i] = moved[k] / np.sqrt(spread[k, k]) if checked else np.nan
    return Adjusted(reconciled, deviation, score)
