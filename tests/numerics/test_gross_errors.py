"""What the statistics promise, by simulation: 300 seeded data sets of ten periods of one network.

Eight flows, four nodes, and two meters that read a share of a flow which has to be fitted: the share of the first
is in every period the same. So there are constraints, shared unknowns and a product of both.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from pyrobal.numerics.gross_errors import Linear, cells, columns, global_test, sidak, suspects
from pyrobal.numerics.reconcile import Block, Measurement, Point, Reconciled, reconcile

SETS, PERIODS = 300, 10
NODES = np.array([
    [1, -1, 0, 0, 0, 0, -1, 0],
    [0, 1, -1, 0, 0, 0, 0, 1],
    [0, 0, 1, 1, -1, 0, 0, 0],
    [0, 0, 0, 0, 0, -1, 1, -1],
], dtype=float)  # fmt: skip
TRUE_FLOWS = np.array([100.0, 40.0, 80.0, 30.0, 110.0, 20.0, 60.0, 40.0])
SHARES = np.array([0.31, 0.55])  # of flow 1, in meter 9, and of flow 3, in meter 10
OF = (0, 2)
SIGMA = np.array([1.8, 1.3, 1.3, 1.0, 1.8, 0.65, 1.8, 1.3, 0.6, 0.9])


class Network:
    """The constraints of every period."""

    def points(self, x: Sequence[Any], own: Sequence[Any], shared: Any) -> list[Point]:
        return [Point(p, o, self._gap(p, shared)) for p, o in zip(x, own, strict=True)]

    def blocks(self, points: Sequence[Point], shared: Any) -> list[Block]:
        A = np.zeros((6, 10))
        A[:4, :8] = NODES
        for k, flow in enumerate(OF):
            A[4 + k, flow], A[4 + k, 8 + k] = -shared[k], 1.0
        none = np.zeros((6, 0))
        found = []
        for point in points:
            C = np.zeros((6, 2))
            for k, flow in enumerate(OF):
                C[4 + k, k] = -point.x[flow]
            found.append(Block(point, A, none, C))
        return found

    def _gap(self, x: Any, shared: Any) -> Any:
        return np.concatenate([NODES @ x[:8], [x[8 + k] - shared[k] * x[flow] for k, flow in enumerate(OF)]])


def truth(rng: np.random.Generator) -> np.ndarray:
    """(T, 10) flows that keep every constraint, another level each period."""
    flows = TRUE_FLOWS * rng.uniform(0.8, 1.2, (PERIODS, 1))
    return np.column_stack([flows, *(SHARES[k] * flows[:, flow] for k, flow in enumerate(OF))])


def fit(values: np.ndarray) -> Reconciled:
    measured = [Measurement(v, np.diag(SIGMA**2)) for v in values]
    found = reconcile(measured, Network(), [np.zeros(0)] * PERIODS, np.array([0.3, 0.5]), close=1e-4)
    assert found is not None and found.settled
    return found


@functools.cache
def clean() -> list[tuple[np.ndarray, Reconciled, Linear]]:
    """Data sets without gross errors: the truth, the answer, and it linearised."""
    rng = np.random.default_rng(20)
    sets = []
    for _ in range(SETS):
        real = truth(rng)
        found = fit(real + SIGMA * rng.normal(size=real.shape))
        sets.append((real, found, Linear.at(found)))
    return sets


def candidates(linear: Linear) -> tuple[list[Any], np.ndarray, np.ndarray, np.ndarray]:
    """Directions, families, deviations, kinds: constant errors, then those of one period."""
    single = cells(linear)
    directions = [*columns(linear, [list(range(10))] * PERIODS), *(d for _, _, d in single)]
    families = np.array([0] * 10 + [1 + t for t, _, _ in single])
    return directions, families, np.concatenate([SIGMA, np.tile(SIGMA, PERIODS)]), np.minimum(families, 1)


def test_intervals_cover_as_often_as_they_say():
    inside = np.zeros(2)
    flows = []
    for real, found, linear in clean():
        spread = np.sqrt(np.diag(linear.covariance))
        inside += np.abs(found.shared - SHARES) < 1.96 * spread
        _, moved = linear.adjustments(0)
        after = np.sqrt(np.diag(np.diag(SIGMA**2) - moved))
        flows.append(np.abs(found.blocks[0].x - real[0]) < 1.96 * after)
    assert ((inside / SETS > 0.92) & (inside / SETS < 0.98)).all()
    assert 0.92 < np.mean(flows) < 0.98


def test_the_global_test_alarms_falsely_as_often_as_it_says():
    alarms = np.mean([not global_test(linear).passes for _, _, linear in clean()])
    assert 0.03 <= alarms <= 0.07


def test_the_measurement_test_alarms_falsely_no_more_than_it_says():
    alarms = np.mean([bool(suspects(linear, *candidates(linear))[0]) for _, _, linear in clean()])
    assert alarms <= 0.07


@pytest.mark.parametrize("column", range(10))
def test_a_bias_that_stands_is_found_or_its_set_is_named(column: int):
    """Five deviations in every period, wherever something checks it and no fitted share takes it up."""
    rng = np.random.default_rng(30 + column)
    linear = clean()[0][2]
    _, f = linear.scores(columns(linear, [list(range(10))] * PERIODS))
    redundancy = float(f[column]) * SIGMA[column] ** 2 / PERIODS
    if redundancy <= 0.03:  # a meter of a share, which the fitted share takes up
        assert column >= 8
        return
    found, count = 0, SETS // 10
    for _ in range(count):
        values = truth(rng) + SIGMA * rng.normal(size=(PERIODS, 10))
        values[:, column] += 5.0 * SIGMA[column]
        at = Linear.at(fit(values))
        errors, _ = suspects(at, *candidates(at))
        found += any(column in e.alike for e in errors)
    assert found >= 0.95 * count


ONE_DAY = {0: 0, 4: 3, 5: 6}  # column that is off -> the period in which it is


@functools.cache
def one_day_errors() -> tuple[np.ndarray, np.ndarray]:
    """(SETS, 3) whether each of three errors, on days of their own, is found, and with what chance."""
    limit, places = sidak(10 * PERIODS, 0.025), [10 * t + column for column, t in ONE_DAY.items()]
    hits, expected = [], []
    for _, found, linear in clean():
        values = np.array([m.value for m in found.measured])
        for column, t in ONE_DAY.items():
            values[t, column] += 7.0 * SIGMA[column]
        at = Linear.at(fit(values))
        s, f = at.scores([cells(at)[i][2] for i in places])
        hits.append(np.abs(s) / np.sqrt(f) > limit)
        _, f = linear.scores([cells(linear)[i][2] for i in places])
        mean = 7.0 * SIGMA[[*ONE_DAY]] * np.sqrt(f)
        expected.append(norm.sf(limit - mean) + norm.cdf(-limit - mean))
    return np.array(hits), np.array(expected)


@pytest.mark.parametrize("k", range(len(ONE_DAY)), ids=ONE_DAY)
def test_an_error_of_one_day_is_found_as_often_as_theory_says(k: int):
    """Power of a two-sided normal test: its mean is the error over its deviation, times the root of redundancy."""
    hits, expected = (x[:, k].mean() for x in one_day_errors())
    assert 0.2 < expected < 0.999
    assert abs(hits - expected) < 0.05
