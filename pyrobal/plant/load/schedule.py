"""When the vessels begin: starts that keep the peak low, and the shortest repeat that keeps the limits."""

from __future__ import annotations

import numpy as np

from pyrobal.arrays import BoolN, FloatN, Floats, IntN
from pyrobal.plant.load.cycle import STEPS, Cycle, shifted, together

_PLACES = 4  # of the second vessel; none of 30 random cycles of three vessels was then above the true optimum
_SWEEPS = 6  # over the vessels; the peak has settled before
_AT_ONCE = 4_000_000  # numbers held while all shifts of a vessel are tried
_STRETCH = 1.0 / 48.0  # of a cycle: how finely the repeat is lengthened
_ROUNDING = 1e-9  # relative, so that a load equal to the limit keeps it
_CIRCLE = (np.arange(STEPS)[None, :] - np.arange(STEPS)[:, None]) % STEPS  # row: a shift


def peak(series: Floats) -> FloatN:
    """(N,) highest of any measure at any step of (N, C, T)."""
    highest: FloatN = series.max(axis=(1, 2))
    return highest


def even_starts(rows: int, vessels: int) -> IntN:
    """(N, K) steps, evenly spaced."""
    return np.tile(np.arange(vessels) * STEPS // vessels, (rows, 1))


def flattest(one: Floats, base: Floats, vessels: int) -> IntN:
    """Starts (N, K) [steps] that make the peak low, the first vessel at zero.

    one : (N, C, T) utilisation of the plant by one vessel; base : (N, C) by the steady gas

    Vessels are put in one after another, each where the peak is lowest, every step tried; then each is tried
    again with the others as they are until nothing moves. Begun from even spacing and from some places of the
    second vessel; the lowest peak counts. For two vessels that is the optimum on the grid; for more a good
    one, not proven the best.
    """
    rest = np.broadcast_to(base[:, :, None], one.shape)
    best = _settle(one, rest, even_starts(len(one), vessels))
    for second in range(0, STEPS if vessels > 2 else 0, STEPS // _PLACES):
        starts = _settle(one, rest, _put_in(one, rest, vessels, second))
        lower = peak(rest + together(one, starts)) < peak(rest + together(one, best)) * (1.0 - _ROUNDING)
        best = np.where(lower[:, None], starts, best)
    return best


def _put_in(one: Floats, rest: Floats, vessels: int, second: int) -> IntN:
    """Starts (N, K) with the second vessel at a step, the others one by one where the peak is lowest."""
    starts = np.zeros((len(one), vessels), dtype=np.int64)
    starts[:, 1] = second
    filled = rest + together(one, starts[:, :2])
    for k in range(2, vessels):
        starts[:, k] = _peaks(filled, one).argmin(axis=1)
        filled = filled + shifted(one, starts[:, k])
    return starts


def _settle(one: Floats, rest: Floats, starts: IntN) -> IntN:
    starts = starts.copy()
    total = rest + together(one, starts)
    for _ in range(_SWEEPS):
        moved = False
        for k in range(1, starts.shape[1]):
            others = total - shifted(one, starts[:, k])
            peaks = _peaks(others, one)
            best = peaks.argmin(axis=1)
            better = np.take_along_axis(peaks, best[:, None], axis=1)[:, 0] < peak(total) * (1.0 - _ROUNDING)
            starts[:, k] = np.where(better, best, starts[:, k])
            total = others + shifted(one, starts[:, k])
            moved = moved or bool(better.any())
        if not moved:
            break
    return starts


def _peaks(others: Floats, one: Floats) -> Floats:
    """(N, T) peak of others and one vessel, for every shift of it."""
    peaks = np.empty((len(one), STEPS))
    size = max(1, _AT_ONCE // (STEPS * STEPS * one.shape[1]))
    for low in range(0, len(one), size):
        rows = slice(low, low + size)
        peaks[rows] = (others[rows, :, None, :] + one[rows][:, :, _CIRCLE]).real.max(axis=(1, 3))
    return peaks


def shortest(cycle: Cycle, period: FloatN, base: Floats, limit: Floats, vessels: int) -> tuple[FloatN, IntN]:
    """The shortest repeat (N,) [s], not below ``period``, and starts (N, K) at which no limit is passed.

    base : (N, C) [mol/s] steady gas; limit : (N, C) [mol/s], infinite where there is none

    The repeat is lengthened, from where the mean load alone fits, by 1/48 of a cycle at a time. One vessel
    after another always fits where a single one does, so the search ends; nan where a single one does not.
    """
    room = limit - base
    fits = (cycle.highest() <= room * (1.0 + _ROUNDING)).all(axis=1)
    in_turn = np.maximum(period, vessels * cycle.span)
    mean_fits = np.max(vessels * cycle.made() / np.where(room > 0, room, np.inf), axis=1)
    trial = np.minimum(np.maximum(period, mean_fits), in_turn)
    found, starts = np.full_like(trial, np.nan), even_starts(len(period), vessels)
    live = np.flatnonzero(fits)
    while live.size:
        best, ok = _try(cycle.take(live), trial[live], base[live], limit[live], vessels)
        last = trial[live] >= in_turn[live]
        best = np.where((last & ~ok)[:, None], even_starts(len(live), vessels), best)
        done = ok | last
        found[live[done]], starts[live[done]] = trial[live[done]], best[done]
        live = live[~done]
        trial[live] = np.minimum(trial[live] + _STRETCH * cycle.span[live], in_turn[live])
    return found, starts


def _try(cycle: Cycle, period: FloatN, base: Floats, limit: Floats, vessels: int) -> tuple[IntN, BoolN]:
    """Starts at this repeat, and whether they keep the limits at every instant."""
    one, steady = cycle.envelope(period) / limit[:, :, None], base / limit
    starts = flattest(one, steady, vessels)
    return starts, peak(steady[:, :, None] + together(one, starts)) <= 1.0 + _ROUNDING
