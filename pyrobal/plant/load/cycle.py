"""The gas of one batch vessel over its cycle, laid on an even grid of time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import FloatN, Floats, IntN, take, zeros

STEPS = 120  # of a period; evenly parted by one to five vessels. T in the shapes below.
_TOUCH = 1e-9  # share of a step; spans that end with a step do not touch the next
MEASURES = ("flow", "so2")  # what a plant can have too much of; C in the shapes below


@dataclass(frozen=True, eq=False)
class Cycle:
    """Spans that follow each other, each with a steady gas; what a vessel does once.

    duration : (N, M) [s]; flow, so2 : (N, M) [mol/s] that reaches the acid plant, SO2 within the flow
    """

    duration: Floats
    flow: Floats
    so2: Floats

    @property
    def span(self) -> FloatN:
        """(N,) [s] from the first to the last."""
        total: FloatN = self.duration.sum(axis=1)
        return total

    def made(self) -> Floats:
        """(N, C) [mol] in one cycle, C as ``MEASURES``."""
        return np.stack([(self.duration * rate).sum(axis=1) for rate in (self.flow, self.so2)], axis=1)

    def highest(self) -> Floats:
        """(N, C) [mol/s] of the strongest span that lasts."""
        lasting = self.duration > 0
        return np.stack([np.where(lasting, rate, 0.0).max(axis=1) for rate in (self.flow, self.so2)], axis=1)

    def take(self, rows: IntN) -> Cycle:
        """The cycle of some of the scenarios."""
        part: Cycle = take(self, rows)
        return part

    def on_grid(self, period: FloatN) -> Floats:
        """Mean over each step when the cycle repeats every ``period`` (N,) [s] >= span: (N, C, T) [mol/s].

        The integral is kept exactly: each span gives to a step what it overlaps of it.
        """
        grid = zeros((len(period), len(MEASURES), STEPS), period, self.duration, self.flow, self.so2)
        for rate, share in self._overlaps(period):
            grid += rate * share
        return grid

    def envelope(self, period: FloatN) -> Floats:
        """The strongest span that touches each step, (N, C, T) [mol/s]: no instant is above it."""
        grid = zeros((len(period), len(MEASURES), STEPS), period, self.duration, self.flow, self.so2)
        for rate, share in self._overlaps(period):
            np.maximum(grid, np.where(share > _TOUCH, rate, 0.0), out=grid)
        return grid

    def _overlaps(self, period: FloatN) -> Iterator[tuple[Floats, Floats]]:
        """Rates (N, C, 1) of each span and the share (N, 1, T) it fills of every step."""
        moments = period[:, None] * np.linspace(0.0, 1.0, STEPS + 1)
        begin = np.zeros_like(period)
        for lasts, flow, so2 in zip(self.duration.T, self.flow.T, self.so2.T, strict=True):
            within = np.clip(moments - begin[:, None], 0.0, lasts[:, None])
            share = np.diff(within, axis=1) * (STEPS / period)[:, None]
            yield np.stack([flow, so2], axis=1)[:, :, None], share[:, None, :]
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
