"""Moments that are equal are found, each within its own scenario."""

from __future__ import annotations

import numpy as np

from pyrobal.streams.time_steps import TimeSteps


def test_equal_moments_are_one_and_scenarios_stay_apart() -> None:
    pattern = np.array([[1.0, 0.0], [2.0, 0.5], [1.0, 0.0], [2.0, 0.5], [3.0, np.nan], [3.0, np.nan]])
    x = np.concatenate([pattern, pattern])
    first, of = TimeSteps(6).distinct(x)
    assert len(first) == 6
    np.testing.assert_array_equal(x[first][of], x)
    np.testing.assert_array_equal(first[of] // 6, np.arange(12) // 6)


def test_a_derivative_makes_moments_differ() -> None:
    x = np.array([[1.0 + 0j], [1.0 + 1e-30j]])
    assert len(TimeSteps(2).distinct(x)[0]) == 2
