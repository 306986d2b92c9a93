"""The gas of one batch vessel over its cycle, laid on an even grid of time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, Floats, IntN, take, zeros

STEPS = 120  # of a period; evenly parted by one to five vessels. T in the shapes below.
_TOUCH = 1e-9  # share of a step; spans that end with a step do not touch the next


@dataclass(frozen=True, eq=False)
class Cycle:
    """Spans that follow each other, each with steady rates; what a vessel does once.

    duration : (N, M) [s]; rates : (N, C, M) [mol/s], C gases or measures of a gas
    """

    duration: Floats
    rates: Floats

    @property
    def span(self) -> FloatN:
        """(N,) [s] from the first to the last."""
        total: FloatN = self.duration.sum(axis=1)
        return total

    def made(self) -> Floats:
        """(N, C) [mol] in one cycle."""
        total: Floats = (self.rates * self.duration[:, None, :]).sum(axis=2)
        return total

    def highest(self) -> Floats:
        """(N, C) [mol/s] of the strongest span that lasts."""
        lasting = (self.duration > 0)[:, None, :]
        strongest: Floats = np.where(lasting, self.rates, 0.0).max(axis=2)
        return strongest

    def take(self, rows: IntN) -> Cycle:
        """The cycle of some of the scenarios."""
        part: Cycle = take(self, rows)
        return part

    def on_grid(self, period: FloatN) -> Floats:
        """Mean over each step when the cycle repeats every ``period`` (N,) [s] >= span: (N, C, T) [mol/s].

        The integral is kept exactly: each span gives to a step what it overlaps of it.
        """
        grid = self._empty(period)
        for rate, share in self._overlaps(period):
            grid += rate * share
        return grid

    def envelope(self, period: FloatN) -> Floats:
        """The strongest span that touches each step, if above zero, (N, C, T): no instant is above it."""
        grid = self._empty(period)
        for rate, share in self._overlaps(period):
            np.maximum(grid, np.where(share > _TOUCH, rate, 0.0), out=grid)
        return grid

    def _empty(self, period: FloatN) -> Floats:
        return zeros((len(period), self.rates.shape[1], STEPS), period, self.duration, self.rates)

    def _overlaps(self, period: FloatN) -> Iterator[tuple[Floats, Floats]]:
        """Rates (N, C, 1) of each span and the share (N, 1, T) it fills of every step."""
        moments = period[:, None] * np.linspace(0.0, 1.0, STEPS + 1)
        begin = np.zeros_like(period)
        for k, lasts in enumerate(self.duration.T):
            within = np.clip(moments - begin[:, None], 0.0, lasts[:, None])
            share = np.diff(within, axis=1) * (STEPS / period)[:, None]
            yield self.rates[:, :, k, None], share[:, None, :]
            begin = begin + lasts


def shifted(series: Floats, steps: IntN) -> Floats:
    """(N, C, T) begun ``steps`` (N,) later, round the period."""
    index = (np.arange(STEPS) - steps[:, None]) % STEPS
    return np.take_along_axis(series, np.broadcast_to(index[:, None, :], series.shape), axis=2)


def together(series: Floats, starts: IntN) -> Floats:
    """(N, C, T) of vessels with the same cycle, begun at ``starts`` (N, K) steps."""
    total = np.zeros_like(series)
    for steps in starts.T:
        total = total + shifted(series, steps)
    return total
