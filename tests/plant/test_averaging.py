"""Highest means over an averaging time against sums by hand and against brute force."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.plant.emissions.averaging import highest_mean

SQUARE = np.array([[0.0, 0.0, 8.0, 4.0]])  # kg/s over a quarter of an hour each
PERIOD = np.array([3600.0])


@pytest.mark.parametrize(
    ("minutes", "most"), [(10, 8.0), (15, 8.0), (20, (15 * 8 + 5 * 4) / 20), (30, 6.0), (60, 3.0), (120, 3.0),
                          (75, (60 * 3 + 15 * 8) / 75)]
)  # fmt: skip
def test_by_hand(minutes: float, most: float) -> None:
    assert highest_mean(SQUARE, PERIOD, 60.0 * minutes)[0] == pytest.approx(most, rel=1e-12)


def test_of_a_ratio_no_window_is_missed_and_the_mean_is_never_above() -> None:
    """Part over whole of a window, slid in steps far finer than the moments."""
    rng = np.random.default_rng(3)
    part, whole = rng.uniform(0, 5, (4, 24)), rng.uniform(1, 9, (4, 24))
    period = np.array([3000.0, 7200.0, 90000.0, 600.0])
    for window in (600.0, 3600.0, 86400.0):
        found = highest_mean(part, period, window, whole)
        assert (found >= part.sum(axis=1) / whole.sum(axis=1) * (1 - 1e-12)).all()
        for i in range(4):
            t = np.linspace(0.0, period[i] + window, 400_001)
            k = np.floor(t / period[i] * 24).astype(int) % 24
            areas = [np.concatenate([[0.0], np.cumsum(x[i][k][:-1] * np.diff(t))]) for x in (part, whole)]
            starts = t[t <= period[i]]
            brought = [np.interp(starts + window, t, area) - np.interp(starts, t, area) for area in areas]
            assert found[i] == pytest.approx((brought[0] / brought[1]).max(), rel=1e-3)


def test_a_stack_through_which_nothing_flows_has_nothing() -> None:
    none = np.zeros((1, 4))
    assert highest_mean(none, PERIOD, 600.0, none)[0] == 0.0


@pytest.mark.parametrize("share", [1.0, 1.0 - 1e-14, 1.0 + 1e-14])
def test_a_window_that_only_touches_a_moment_counts_for_nothing(share: float) -> None:
    """Gas of one strength for part of the period: no window has another, whatever the round-off."""
    flow = np.concatenate([np.zeros((1, 7)), np.full((1, 5), 0.1)], axis=1)
    for window in np.array([300.0, 600.0, 2100.0, 3600.0]) * share:
        assert highest_mean(0.3 * flow, PERIOD, window, flow)[0] == pytest.approx(0.3, rel=1e-9)


def test_against_windows_slid_in_small_steps() -> None:
    rng = np.random.default_rng(7)
    series, period = rng.uniform(0, 5, (3, 24)), np.array([3000.0, 7200.0, 90000.0])
    for window in (600.0, 3600.0, 86400.0):
        found = highest_mean(series, period, window)
        for i in range(3):
            t = np.linspace(0.0, period[i] + window, 400_001)
            x = series[i][np.floor(t / period[i] * 24).astype(int) % 24]
            area = np.concatenate([[0.0], np.cumsum(x[:-1] * np.diff(t))])
            starts = t[t <= period[i]]
            means = (np.interp(starts + window, t, area) - np.interp(starts, t, area)) / window
            assert found[i] == pytest.approx(means.max(), rel=2e-4)
