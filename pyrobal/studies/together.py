"""Several readings at wanted values by the choice of several settings: Newton's method on exact derivatives.

Each step is the least-squares solution of the linearised targets, cut at the ends of the settings' ranges and
shortened until the targets come closer (Nocedal & Wright 2006, Numerical Optimization, ch. 11).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal.arrays import BoolN, FloatN, Floats, IntN, take
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.flowsheet.solve import solve
from pyrobal.studies.measure import measured
from pyrobal.studies.tangent import tangent
from pyrobal.studies.target import Target
from pyrobal.studies.variable import Variable

_ROUNDS: Final = 40
_CLOSE: Final = 1e-10  # of a target's scale; a miss below that is none
_HALVINGS: Final = 8
_HEADWAY: Final = 1e-4  # share of the miss a step has to gain
_NEAR: Final = 6  # steps of Newton's method from one that is nearly there
_LAST: Final = 1e-8  # likewise; one step from there ends within ``_CLOSE``, as its slopes hold to a hundredth
_BESIDE: Final = 1e-4  # of a range; a step for a difference quotient
_FLAT: Final = 0.1  # of the slope to the other side; less is a bend, beside which a target may hold
_FELT: Final = 1e-3  # of the steepest slope; a target hardly answers to a setting of less
_MOST_STARTS: Final = 17


@dataclass(frozen=True, eq=False)
class Together:
    """Targets met by settings that need not be as many: with more settings the shortest step is taken.

    settings : with ``low`` and ``high`` (K,) in SI
    """

    targets: tuple[Target, ...]
    settings: tuple[Variable, ...]
    low: Floats
    high: Floats

    def solved(self, inputs: Inputs) -> tuple[Floats, BoolN, Floats]:
        """Settings (N, K) in SI, where they meet every target (N,), and readings less targets (N, T) there.

        Sought from the settings of the case, then from other places within the ranges. Where no start ends
        at all targets, the settings are those that miss them the least.
        """
        scale = self._scale(inputs)
        first, *others = self._starts(inputs)
        best, misses = self._from(inputs, first, scale)
        rows = np.flatnonzero(~(_norm(misses / scale) <= _CLOSE))
        if rows.size:
            x, found = self._from_each(take(inputs, rows), [start[rows] for start in others], scale[rows])
            tries = np.concatenate([best[None, rows], x]), np.concatenate([misses[None, rows], found])
            miss = np.array([_norm(one / scale[rows]) for one in tries[1]])  # (starts, rows)
            chosen = np.argmin(np.where(miss <= _CLOSE, 0.0, miss), axis=0), np.arange(rows.size)
            best[rows], misses[rows] = (one[chosen] for one in tries)
        nowhere = np.isinf(_norm(misses))
        best[nowhere], misses[nowhere] = np.nan, np.inf
        return best, _norm(misses / scale) <= _CLOSE, misses

    def _from_each(self, inputs: Inputs, starts: Sequence[Floats], scale: Floats) -> tuple[Floats, Floats]:
        """``_from`` of every start (n, K), side by side as scenarios: (starts, n, K) and (starts, n, T)."""
        every = np.tile(np.arange(len(scale)), len(starts))
        x, misses = self._from(take(inputs, every), np.concatenate(starts), scale[every])
        shape = (len(starts), len(scale), -1)
        return x.reshape(shape), misses.reshape(shape)

    def near(self, inputs: Inputs) -> FloatN | None:
        """Settings (K,) of one scenario that nearly meets the targets as it is, by plain Newton steps, whose
        slopes are difference quotients: rows beside the trial cost next to nothing.

        None where these lead out of the ranges or do not end, and where a target does not answer to the
        settings there, be it to one side: it may be met over a whole stretch.
        """
        wanted, width = np.array([t.value for t in self.targets]), self.high - self.low
        scale = np.maximum(np.abs(wanted), [t.noise for t in self.targets])
        scale = np.where(scale > 0.0, scale, 1.0)
        x, k = next(self._starts(inputs))[0], len(width)
        rows, beside = take(inputs, np.zeros(2 * k + 1, dtype=np.int64)), np.diag(_BESIDE * width)
        for _ in range(_NEAR):
            if (x <= self.low + _BESIDE * width).any() or (x >= self.high - _BESIDE * width).any():
                return None
            misses = self._misses(rows, x + np.vstack([np.zeros((1, k)), beside, -beside])) / scale
            above, below = misses[1 : k + 1] - misses[0], misses[0] - misses[k + 1 :]
            J = (above + below).T / (2.0 * _BESIDE)
            if not np.isfinite(J).all() or np.linalg.matrix_rank(J) < len(self.targets):
                return None
            less, more = np.sort(np.abs([above, below]), axis=0)
            if ((less < _FLAT * more) & (more > _FELT * more.max())).any():
                return None
            if np.abs(misses[0]).max() <= _CLOSE:
                return x
            x = x + np.linalg.lstsq(J, -misses[0], rcond=None)[0] * width
            if np.abs(misses[0]).max() <= _LAST:
                return x
        return None

    def put(self, inputs: Inputs, x: Floats) -> Inputs:
        """The inputs with settings x (N, K)."""
        for variable, column in zip(self.settings, x.T, strict=True):
            inputs = variable.put(inputs, np.ascontiguousarray(column))
        return inputs

    def _misses(self, inputs: Inputs, x: Floats) -> Floats:
        results = solve(self.put(inputs, x))
        found = [measured(results, t.reading) - t.value for t in self.targets]
        return np.stack(np.broadcast_arrays(*found), axis=1)

    def _scale(self, inputs: Inputs) -> Floats:
        """(N, T) the size of each target, or of its reading in the case where it is nought."""
        results = solve(inputs)
        sizes = []
        for target in self.targets:
            size = np.maximum(abs(target.value), np.nan_to_num(np.abs(measured(results, target.reading))))
            sizes.append(np.where(size > target.noise, size, max(target.noise, 1e-300)))
        return np.stack(sizes, axis=1)

    def _starts(self, inputs: Inputs) -> Iterator[Floats]:
        n = inputs.scenarios
        middle = 0.5 * (self.low + self.high)
        held = [v.value(inputs) for v in self.settings]
        present = [m if x is None else x for m, x in zip(middle, held, strict=True)]
        columns = [np.broadcast_to(x, (n,)) for x in present]
        yield np.clip(np.stack(columns, axis=1), self.low, self.high)
        yield np.tile(middle, (n, 1))
        for corner in itertools.islice(itertools.product((0.15, 0.85), repeat=len(middle)), _MOST_STARTS):
            yield np.tile(self.low + np.array(corner) * (self.high - self.low), (n, 1))

    def _from(self, inputs: Inputs, x: Floats, scale: Floats) -> tuple[Floats, Floats]:
        """Where the search from x (n, K) ends, and the misses (n, T) there."""
        x, misses = x.copy(), self._misses(inputs, x)
        live = np.flatnonzero(np.isfinite(misses).all(axis=1))
        for _ in range(_ROUNDS):
            live = live[_norm(misses[live] / scale[live]) > 1e-3 * _CLOSE]
            if live.size == 0:
                break
            part = take(inputs, live)
            step = self._step(part, x[live], misses[live] / scale[live], scale[live])
            moved, found = self._shortened(part, x[live], step, misses[live], scale[live])
            gained = _norm(found / scale[live]) < (1.0 - _HEADWAY) * _norm(misses[live] / scale[live])
            live = live[gained]
            x[live], misses[live] = moved[gained], found[gained]
        return x, misses

    def _step(self, inputs: Inputs, x: Floats, misses: Floats, scale: Floats) -> Floats:
        """(n, K) in shares of the ranges, none out of the range it is at the end of."""
        readings = [t.reading for t in self.targets]
        slopes = tangent(self.put(inputs, x), self.settings, readings).slopes  # (n, K, T)
        width = self.high - self.low
        J = np.swapaxes(slopes * width[None, :, None] / scale[:, None, :], 1, 2)
        place = (x - self.low) / width
        steps = np.zeros_like(x)
        for i in np.flatnonzero(np.isfinite(J).all(axis=(1, 2))):
            steps[i] = _within(J[i], misses[i], place[i])
        return steps

    def _shortened(
        self, inputs: Inputs, x: Floats, step: Floats, misses: Floats, scale: Floats
    ) -> tuple[Floats, Floats]:
        """The longest of ever shorter steps that brings the targets closer, and the misses after it."""
        moved, found = x.copy(), misses.copy()
        waiting: IntN = np.arange(len(x))
        share = 1.0
        for _ in range(_HALVINGS):
            trial = np.clip(x[waiting] + share * step[waiting] * (self.high - self.low), self.low, self.high)
            there = self._misses(take(inputs, waiting), trial)
            before = _norm(misses[waiting] / scale[waiting])
            better = _norm(there / scale[waiting]) < (1.0 - _HEADWAY * share) * before  # False for nan
            moved[waiting[better]], found[waiting[better]] = trial[better], there[better]
            waiting, share = waiting[~better], share / 2.0
            if waiting.size == 0:
                break
        return moved, found


def _within(J: Floats, misses: Floats, place: Floats) -> Floats:
    """The least-squares step (K,) from ``place`` within nought and one."""
    from scipy.optimize import lsq_linear  # only where several targets are met together

    free = np.linalg.lstsq(J, -misses, rcond=1e-12)[0]
    if (place + free >= 0.0).all() and (place + free <= 1.0).all():
        return np.asarray(free)
    edge = 1e-12
    found = lsq_linear(J, -misses, (-place - edge, 1.0 - place + edge), method="bvls")
    return np.asarray(found.x)


def _norm(misses: Floats) -> Floats:
    """(n,) the largest; infinite without an answer."""
    return np.nan_to_num(np.abs(misses).max(axis=1), nan=np.inf, posinf=np.inf)


def conflict(inputs: Inputs, together: Together) -> Sequence[Target]:
    """Targets of one scenario that cannot be met together, of which none can be left out."""
    kept = list(together.targets)
    for target in together.targets:
        rest = tuple(one for one in kept if one is not target)
        if rest:
            fewer = Together(rest, together.settings, together.low, together.high)
            if not fewer.solved(inputs)[1].all():
                kept = list(rest)
    return kept
