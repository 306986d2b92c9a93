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
