"""The highest mean over an averaging time, of what repeats itself."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import FloatN, Floats, column, zeros

AVERAGING_TIMES = {"10_min": 600.0, "1_h": 3600.0, "24_h": 86400.0}  # s


def highest_mean(series: Floats, period: FloatN, window: float) -> FloatN:
    """(N,) most of the means over ``window`` [s], wherever it begins.

    series : (N, T) held over T equal moments of a period (N,) [s], which repeats itself
    Whole periods in the window bring their mean; of what is left, the best begins or ends with a moment.
    """
    count = series.shape[1]
    whole = np.floor(window / period.real * (1.0 + 1e-12))
    rest = np.maximum(window / period - whole, 0.0) * count  # moments, of the part period
    held = np.concatenate([zeros((len(series), 1), series), np.cumsum(np.tile(series, 3), axis=1)], axis=1)
    first = np.arange(count, 2 * count)
    begins = _held_at(held, first + column(rest)) - held[:, first]
    ends = held[:, first] - _held_at(held, first - column(rest))
    most = np.maximum(begins.max(axis=1), ends.max(axis=1))
    return (whole * held[:, count] + most) / (whole * count + rest)


def _held_at(held: Floats, at: Floats) -> Floats:
    """What has come up to ``at`` (N, K) moments, between the moments in proportion."""
    below = np.floor(at.real).astype(int).clip(0, held.shape[1] - 2)
    low = np.take_along_axis(held, below, axis=1)
    high = np.take_along_axis(held, below + 1, axis=1)
    return low + (at - below) * (high - low)
