"""The highest mean over an averaging time, of what repeats itself."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import FloatN, Floats, column, ratio, zeros
from pyrobal.constants import SECOND

AVERAGING_TIMES = {"10_min": 600.0 * SECOND, "1_h": 3600.0 * SECOND, "24_h": 86400.0 * SECOND}

_TOUCH = 1e-9  # of what a period brings; a window with less of it is one that only touches a moment


def highest_mean(series: Floats, period: FloatN, window: float, per: Floats | None = None) -> FloatN:
    """(N,) most of the means over ``window`` [s], wherever it begins.

    series : (N, T) held over T equal moments of a period (N,) [s], which repeats itself
    per : (N, T) the mean is over what this brings in the window, as SO2 over gas; None for over the time

    Between two moments what a window brings is linear in its beginning, and a ratio of such is monotone: so
    the highest begins or ends with a moment.
    """
    per = np.ones((1, series.shape[1])) if per is None else per
    part, whole = _brought(series, period, window), _brought(per, period, window)
    whole = np.where(whole.real > _TOUCH * per.real.sum(axis=1, keepdims=True), whole, 0.0)
    return ratio(part, whole).max(axis=1)


def _brought(series: Floats, period: FloatN, window: float) -> Floats:
    """(N, 2 T) of the windows that begin, and that end, with a moment: whole periods and a rest."""
    count = series.shape[1]
    whole = np.floor(window / period.real * (1.0 + 1e-12))
    rest = np.maximum(window / period - whole, 0.0) * count  # moments, of the part period
    held = np.concatenate([zeros((len(series), 1), series), np.cumsum(np.tile(series, 3), axis=1)], axis=1)
    first = np.arange(count, 2 * count)
    begins = _held_at(held, first + column(rest)) - held[:, first]
    ends = held[:, first] - _held_at(held, first - column(rest))
    return column(whole * held[:, count]) + np.concatenate([begins, ends], axis=1)


def _held_at(held: Floats, at: Floats) -> Floats:
    """What has come up to ``at`` (N, K) moments, between the moments in proportion."""
    below = np.floor(at.real).astype(int).clip(0, held.shape[1] - 2)
    low = np.take_along_axis(held, below, axis=1)
    high = np.take_along_axis(held, below + 1, axis=1)
    return low + (at - below) * (high - low)
