"""What reconciled measurements say of themselves: how sure, how well checked, which are off.

All of it follows from the constraints linearised at the answer. An error of size b in a measurement adds b
A e to the residuals r of the constraints; by least squares it is b^ = s / F with s = e'A'W r and F = e'A'W
A e, where W is the inverse covariance of r once every unknown is projected out (Crowe, Garcia Campos &
Hrymak 1983, AIChE J. 29, 881-888). b^ over its deviation is normal where there is no error: the measurement
test (Mah & Tamhane 1982, AIChE J. 28, 828-830), and for an error that stands in every block the likelihood
ratio test of a bias (Narasimhan & Mah 1987, AIChE J. 33, 1514-1521). Errors whose F has a correlation of
one cannot be told apart.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from pyrobal.arrays import FloatN, Floats, IntN
from pyrobal.numerics.reconcile import Block, Measurement, Reconciled, pseudo_inverse

LEVEL: Final = 0.05  # chance of a false alarm
CHECKED: Final = 1e-7  # share of a variance; one whose adjustment has less is checked by nothing
ALIKE: Final = 0.999  # correlation of two errors that cannot be told apart

Direction = Sequence[FloatN]  # of each block, (m,): what an error of one adds to its residuals


@dataclass(frozen=True, eq=False)
class _Share:
    """One block with its own unknowns projected out: W (m, m) and its rank."""

    weight: Floats
    rank: int


@dataclass(frozen=True, eq=False)
class Linear:
    """The problem linearised at its answer.

    more : (m, q) of each block, effects of errors that are allowed for as further shared unknowns
    """

    measured: tuple[Measurement, ...]
    blocks: tuple[Block, ...]
    free: tuple[int, ...]  # shared unknowns not held at an end of their range
    more: tuple[Floats, ...]

    @staticmethod
    def at(answer: Reconciled) -> Linear:
        """Of an answer as it stands."""
        free = tuple(int(k) for k in np.flatnonzero(~answer.held))
        none = tuple(np.zeros((len(b.gap), 0)) for b in answer.blocks)
        return Linear(answer.measured, answer.blocks, free, none)

    def allowing(self, direction: Direction) -> Linear:
        """The same with one more error allowed for."""
        more = tuple(np.column_stack([had, d]) for had, d in zip(self.more, direction, strict=True))
        return replace(self, more=more)

    @functools.cached_property
    def _shares(self) -> tuple[_Share, ...]:
        return tuple(_share(m, b) for m, b in zip(self.measured, self.blocks, strict=True))

    @functools.cached_property
    def _shared(self) -> tuple[Floats, ...]:
        """(m, p + q) of each block: effects of all that is shared."""
        return tuple(
            np.hstack([b.C[:, list(self.free)], more]) for b, more in zip(self.blocks, self.more, strict=True)
        )

    @functools.cached_property
    def information(self) -> Floats:
        """(p + q, p + q): the inverse of the covariance of the shared unknowns."""
        pairs = zip(self._shares, self._shared, strict=True)
        return sum((c.T @ s.weight @ c for s, c in pairs), np.zeros((self._shared[0].shape[1],) * 2))

    @functools.cached_property
    def _inverse(self) -> tuple[Floats, int]:
        return pseudo_inverse(self.information)

    @functools.cached_property
    def estimates(self) -> tuple[FloatN, FloatN]:
        """(q,) sizes of the errors that are allowed for, and their standard deviations."""
        right = sum(
            c.T @ s.weight @ r for s, c, r in zip(self._shares, self._shared, self._residuals, strict=True)
        )
        found = self._inverse[0] @ right
        p = len(self.free)
        return found[p:], np.sqrt(np.maximum(np.diag(self._inverse[0])[p:], 0.0))

    @functools.cached_property
    def _residuals(self) -> tuple[FloatN, ...]:
        pairs = zip(self.measured, self.blocks, strict=True)
        return tuple(b.gap + b.A @ (m.value - b.x) for m, b in pairs)

    @functools.cached_property
    def multipliers(self) -> tuple[FloatN, ...]:
        """(m,) of each block: W r with everything shared projected out."""
        parts = list(zip(self._shares, self._shared, self._residuals, strict=True))
        right = sum((c.T @ s.weight @ r for s, c, r in parts), np.zeros(len(self.information)))
        move = self._inverse[0] @ right
        return tuple(s.weight @ (r - c @ move) for s, c, r in parts)

    @property
    def statistic(self) -> float:
        """The weighted sum of squared adjustments; chi-square where nothing is off."""
        return float(sum(r @ w for r, w in zip(self._residuals, self.multipliers, strict=True)))

    @functools.cached_property
    def freedom(self) -> int:
        """Degrees of freedom: the rank of the constraints with every unknown projected out."""
        return sum(s.rank for s in self._shares) - self._inverse[1]

    @property
    def covariance(self) -> Floats:
        """(p, p) of the shared unknowns that are free; meaningful where ``undetermined`` is empty."""
        p = len(self.free)
        return self._inverse[0][:p, :p]

    def adjustments(self, t: int) -> tuple[FloatN, Floats]:
        """(n,) reconciled less measured, of one block, and the covariance (n, n) of that."""
        m, b, s, c = self.measured[t], self.blocks[t], self._shares[t], self._shared[t]
        weight = s.weight - s.weight @ c @ self._inverse[0] @ c.T @ s.weight
        half = m.covariance @ b.A.T
        return -half @ self.multipliers[t], half @ weight @ half.T

    def undetermined(self, loose: float = 1e-8) -> Floats:
        """(u, p) directions of the shared unknowns that the measurements say nothing of, largest part 1.

        Unknowns are first scaled by what each alone would be known to.
        """
        p = len(self.free)
        information = self.information[:p, :p]
        scale = np.sqrt(np.maximum(np.diag(information), 0.0))
        none = scale <= 0.0
        unit = np.where(none, 1.0, scale)
        values, vectors = np.linalg.eigh(information / np.outer(unit, unit)) if p else (np.zeros(0),) * 2
        found = (
            (vectors[:, values <= loose] / np.where(none, 1.0, scale)[:, None]).T if p else np.zeros((0, 0))
        )
        return found / np.abs(found).max(axis=1, keepdims=True) if found.size else np.zeros((0, p))

    def scores(self, directions: Sequence[Direction]) -> tuple[FloatN, FloatN]:
        """(d,) s and F of each possible error; F is zero where nothing checks it."""
        s = np.array(
            [sum(float(a @ w) for a, w in zip(d, self.multipliers, strict=True)) for d in directions]
        )
        return s, np.array([self._overlap(d, d) for d in directions])

    def alike(self, one: Direction, others: Sequence[Direction]) -> FloatN:
        """(d,) correlation of an error with others, between -1 and 1; 0 with one that nothing checks."""
        own = self._overlap(one, one)
        found = []
        for other in others:
            theirs = self._overlap(other, other)
            found.append(self._overlap(one, other) / np.sqrt(own * theirs) if min(own, theirs) > 0.0 else 0.0)
        return np.array(found)

    def _overlap(self, one: Direction, other: Direction) -> float:
        inner, left, right = 0.0, np.zeros(len(self.information)), np.zeros(len(self.information))
        for s, c, a, b in zip(self._shares, self._shared, one, other, strict=True):
            if a.any() or b.any():
                heavy = s.weight @ b
                inner += float(a @ heavy)
                left += c.T @ (s.weight @ a)
                right += c.T @ heavy
        return inner - float(left @ self._inverse[0] @ right)


def _share(m: Measurement, b: Block) -> _Share:
    cover = b.A @ m.covariance @ b.A.T
    if not b.B.shape[1]:
        return _Share(*pseudo_inverse(cover))
    left, sizes, _ = np.linalg.svd(b.B / np.maximum(np.linalg.norm(b.B, axis=0), 1e-300))
    rest = left[:, int((sizes > 1e-9).sum()) :]
    inner, rank = pseudo_inverse(rest.T @ cover @ rest)
    return _Share(rest @ inner @ rest.T, rank)


@dataclass(frozen=True)
class Global:
    """The test of everything together: chi-square of ``freedom`` degrees."""

    statistic: float
    freedom: int
    limit: float

    @property
    def passes(self) -> bool:
        """Whether what was measured can be what the errors stated make of the truth."""
        return self.statistic <= self.limit


def global_test(linear: Linear, level: float = LEVEL) -> Global:
    """The chi-square test."""
    from scipy.special import chdtri

    limit = float(chdtri(linear.freedom, level)) if linear.freedom > 0 else np.inf
    return Global(linear.statistic, linear.freedom, limit)


def sidak(tests: int, level: float = LEVEL) -> float:
    """The limit of a normal statistic, two-sided, when ``tests`` are made and ``level`` is to hold for
    all."""
    from scipy.special import ndtri

    share = 1.0 - (1.0 - level) ** (1.0 / max(tests, 1))
    return float(ndtri(1.0 - share / 2.0))


@dataclass(frozen=True, eq=False)
class Suspect:
    """An error found.

    which : its number among the candidates; alike : numbers of those it cannot be told from, itself included
    size, deviation : in the unit of the measurement; score : size over deviation when it was found
    """

    which: int
    alike: tuple[int, ...]
    size: float
    deviation: float
    score: float


def suspects(
    linear: Linear, directions: Sequence[Direction], families: IntN, deviations: FloatN, most: int = 20
) -> tuple[list[Suspect], Linear]:
    """The errors that stand out, one after the other, each allowed for before the next is looked for.

    families : (d,) candidates of one family are told apart from each other, those of two are not compared
    deviations : (d,) standard deviation of one measurement that the error would be in
    Serial elimination (Ripps 1965; Rosenberg, Mah & Iordache 1987, Ind. Eng. Chem. Res. 26, 555-564). An
    error that nothing checks is never one. The sizes returned are those with all errors allowed for together.
    """
    found: list[tuple[int, tuple[int, ...], float]] = []
    while len(found) < most and linear.freedom > 0:
        s, f = linear.scores(directions)
        checked = f * deviations**2 > CHECKED
        z = np.where(checked, s / np.sqrt(np.where(checked, f, 1.0)), 0.0)
        which = int(np.argmax(np.abs(z)))
        if np.abs(z[which]) <= sidak(int(checked.sum())):
            break
        family = np.flatnonzero(checked & (families == families[which]))
        same = linear.alike(directions[which], [directions[int(i)] for i in family])
        found.append((which, tuple(int(i) for i in family[np.abs(same) >= ALIKE]), float(z[which])))
        linear = linear.allowing(directions[which])
    sizes, deviations = linear.estimates
    return [
        Suspect(which, alike, float(size), float(deviation), score)
        for (which, alike, score), size, deviation in zip(found, sizes, deviations, strict=True)
    ], linear


def columns(linear: Linear, index: Sequence[Sequence[int]]) -> list[Direction]:
    """Effects of a constant error in each column.

    index : of each block, for each column, the place of its measurement in x; -1 where it was not measured
    """
    return [
        [
            b.A[:, at[i]] if at[i] >= 0 else np.zeros(len(b.gap))
            for b, at in zip(linear.blocks, index, strict=True)
        ]
        for i in range(len(index[0]))
    ]


def cells(linear: Linear) -> list[tuple[int, int, Direction]]:
    """Effects of an error in one measurement of one block: block, place in x, direction."""
    none = [np.zeros(len(b.gap)) for b in linear.blocks]
    return [
        (t, i, [*none[:t], b.A[:, i], *none[t + 1 :]])
        for t, b in enumerate(linear.blocks)
        for i in range(len(b.x))
    ]
