"""Sobol indices: which part of a variance each source brings, alone and with all it acts together with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal.arrays import Floats

RESAMPLES: Final = 400
CONFIDENCE: Final = 0.95


@dataclass(frozen=True, eq=False)
class Indices:
    """Shares of the variance, (G,) by source.

    first : by the source alone; total : with every interaction it takes part in
    first_range, total_range : (G, 2) interval of ``CONFIDENCE`` by resampling
    """

    first: Floats
    total: Floats
    first_range: Floats
    total_range: Floats


def sobol_indices(a: Floats, b: Floats, mixed: Floats, seed: int = 0) -> Indices:
    """Indices of one quantity from three sets of runs.

    a, b : (n,) runs of two independent draws of all sources
    mixed : (G, n) runs of the first draw with source g taken from the second

    First order: mean of b (mixed - a) over the variance (Saltelli et al. 2010, Comput. Phys. Commun. 181,
    259-270, table 2, b). Total: mean of (a - mixed)^2 / 2 over the variance (Jansen 1999, Comput. Phys.
    Commun. 117, 35-43). nan where nothing varies or fewer than two runs are finite; a row with a run that is
    not finite is left out.
    """
    good = np.isfinite(a) & np.isfinite(b) & np.isfinite(mixed).all(axis=0)
    a, b, mixed = a[good], b[good], mixed[:, good]
    if len(a) < 2 or np.ptp(np.concatenate([a, b])) == 0.0:
        none = np.full(len(mixed), np.nan)
        return Indices(none, none, np.full((len(mixed), 2), np.nan), np.full((len(mixed), 2), np.nan))
    first, total = _estimate(a, b, mixed)
    rng = np.random.default_rng(seed)
    rows = rng.integers(0, len(a), (RESAMPLES, len(a)))
    again = [_estimate(a[i], b[i], mixed[:, i]) for i in rows]
    tails = [50.0 * (1.0 - CONFIDENCE), 50.0 * (1.0 + CONFIDENCE)]
    ranges = np.nanpercentile(np.array(again), tails, axis=0)  # (2, first or total, G)
    return Indices(first, total, ranges[:, 0].T, ranges[:, 1].T)


def _estimate(a: Floats, b: Floats, mixed: Floats) -> tuple[Floats, Floats]:
    both = np.concatenate([a, b])
    variance = both.var()
    if variance == 0.0:
        return np.full(len(mixed), np.nan), np.full(len(mixed), np.nan)
    centred = b - both.mean()  # the estimate does not need it, its error does
    first = (centred * (mixed - a)).mean(axis=1) / variance
    total = 0.5 * ((a - mixed) ** 2).mean(axis=1) / variance
    return first, total
