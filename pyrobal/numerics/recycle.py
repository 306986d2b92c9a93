"""Recycle loops: the fixed point of a plant whose products come back, for many scenarios at once."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np

from pyrobal.arrays import BoolN, Floats, IntN

_DEPTH = 4  # passes remembered by the acceleration
_TANGENT_PASSES, _TANGENT_CLOSE = 60, 1e-12  # of the imaginary part, which converges as the tears do
_REACH = 4.0  # how far mixing may go beyond a plain pass, as a factor of each tear
_TINY = 1e-12  # of a scenario's largest tear: below it a difference is round-off


class Loop(Protocol):
    """A plant cut open at its recycles."""

    def around(self, tears: Floats) -> tuple[Floats, Self]:
        """What comes back, (N, K), where ``tears`` (N, K) are sent in, never negative, or what it foresees
        to come back in the end; and the loop that next time seeks from what it found now."""
        ...

    def take(self, rows: IntN) -> Self:
        """The same loop for some of the scenarios."""
        ...


@dataclass(frozen=True)
class FixedPoint:
    """tears : (N, K); converged, passes : (N,); change : (N,) largest relative change of the last pass."""

    tears: Floats
    converged: BoolN
    passes: IntN
    change: Floats


def fixed_point(
    loop: Loop,
    start: Floats,
    *,
    tolerance: float = 5e-10,
    passes: int = 60,
) -> FixedPoint:
    """Tears that come back as they were sent, every one of them to ``tolerance`` relative at the last pass,
    which is mixed with those before it once more.

    start : (N, K), zero for a plant that starts empty

    Plain substitution, sped up by the mixing of the last passes that would have changed least (Anderson
    1965, J. ACM 12, 547-560; Walker & Ni 2011, SIAM J. Numer. Anal. 49, 1715-1735), each column in proportion
    to its own size. Where mixing would reach far beyond a plain pass, the plain pass stands. A scenario that
    has converged is frozen, so it does not depend on its neighbours; one that turns nan stops alone, at what
    was last sent in, so that one more pass shows where it breaks. An imaginary part of what comes back is
    carried over to the tears to first order, see ``arrays.zeros``.
    """
    came, loop = loop.around(start)
    tears, whole = _last_good(came, start), loop
    if np.iscomplexobj(tears):
        tears, loop = tears.real.copy(), _Real(loop)
    change = np.full(len(tears), np.inf)
    count = np.ones(len(tears), dtype=np.int64)
    live, part = np.arange(len(tears)), loop
    sent_first = np.broadcast_to(start.real, tears.shape)
    history = [(sent_first, tears.copy())]  # sent in, came back, of the live scenarios
    for _ in range(passes):
        sent = tears[live]
        back, part = part.around(sent)
        change[live] = _change(sent, back)
        count[live] += 1
        history = [*history[-(_DEPTH - 1) :], (sent, back)]
        tears[live] = _last_good(_mixed(history), sent)
        open_ = (change[live] > tolerance) & np.isfinite(change[live])
        if not open_.all():
            live, part = live[open_], part.take(np.flatnonzero(open_))
            history = [(s[open_], b[open_]) for s, b in history]
        if live.size == 0:
            break
    if whole is not loop:
        tears = _carried(whole, tears)
    return FixedPoint(tears, change <= tolerance, count, change)


def _last_good(back: Floats, sent: Floats) -> Floats:
    """What came back, and where that is nan what was sent in."""
    return np.where(np.isfinite(back).all(axis=1, keepdims=True), back, sent)


@dataclass(frozen=True)
class _Real:
    """The real part of a loop that carries a derivative."""

    whole: Loop

    def around(self, tears: Floats) -> tuple[Floats, _Real]:
        back, whole = self.whole.around(tears)
        return np.ascontiguousarray(back.real), _Real(whole)

    def take(self, rows: IntN) -> _Real:
        return _Real(self.whole.take(rows))


def _carried(loop: Loop, tears: Floats) -> Floats:
    """The tears with the imaginary part that comes back as it was sent; the loop is linear in it."""
    back, loop = loop.around(tears)
    part = back.imag
    history: list[tuple[Floats, Floats]] = []
    for _ in range(_TANGENT_PASSES):
        back = loop.around(tears + 1j * part)[0].imag
        history = [*history[-(_DEPTH - 1) :], (part, back)]
        least = _TANGENT_CLOSE * np.abs(back).max(axis=1, initial=0.0, keepdims=True)
        if not (np.abs(back - part) > least).any():
            break
        part = _mixed(history, signed=True)
    return tears + 1j * back


def _change(sent: Floats, back: Floats) -> Floats:
    """(N,) largest change, relative to the tear itself."""
    size = np.abs(back) + _TINY * np.abs(back).max(axis=1, initial=0.0, keepdims=True) + 1e-300
    largest: Floats = (np.abs(back - sent) / size).max(axis=1, initial=0.0)
    return np.where(np.isfinite(largest), largest, np.inf)


def _mixed(history: list[tuple[Floats, Floats]], signed: bool = False) -> Floats:
    """The next tears: a mixture of what came back, weighed so that the mixed change is least.

    Unless they are ``signed``, a mixture far beyond the plain pass is not taken.
    """
    _, latest = history[-1]
    if len(history) == 1:
        return latest
    size = np.abs(latest) + 1e-12 * np.abs(latest).max(axis=1, keepdims=True) + 1e-300
    change = [(back - sent) / size for sent, back in history]
    moved = [later - earlier for earlier, later in itertools.pairwise(change)]
    inner = [[np.einsum("nk,nk->n", one, other) for other in (*moved, change[-1])] for one in moved]
    normal, right = np.split(np.array(inner).transpose(2, 0, 1), [len(moved)], axis=2)  # (N, m, m), (N, m, 1)
    ridge = 1e-12 * np.einsum("nii->n", normal)[:, None, None] + 1e-300
    gamma = np.linalg.solve(normal + ridge * np.eye(len(moved)), right)
    mixed = latest.copy()
    for k, ((_, earlier), (_, later)) in enumerate(itertools.pairwise(history)):
        mixed -= gamma[:, k] * (later - earlier)
    near = (mixed >= latest / _REACH) & (mixed <= latest * _REACH)
    usable = np.asarray((np.isfinite(mixed) & (signed | near)).all(axis=1))
    return np.where(usable[:, None], mixed, latest)
