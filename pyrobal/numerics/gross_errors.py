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
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from pyrobal.arrays import Bools, FloatN, Floats, IntN
from pyrobal.numerics.reconcile import Block, Measurement, Reconciled, pseudo_inverse

LEVEL: Final = 0.05  # chance of a false alarm
CHECKED: Final = 1e-7  # share of a variance; one whose adjustment has less is checked by nothing
ALIKE: Final = 0.999  # correlation of two errors that nothing tells apart, whatever their size
_RIVAL: Final = 0.9  # correlation of two errors that may explain the same
_NO_BETTER: Final = 3.84  # chi-square of one, 95 %: one explains it no better than the other

Direction = Mapping[int, FloatN]  # block -> (m,): what an error of one adds to its residuals; else nothing


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
        more = tuple(
            np.column_stack([had, direction.get(t, np.zeros(len(had)))]) for t, had in enumerate(self.more)
        )
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
        p = len(self.free)
        return self._move[p:], np.sqrt(np.maximum(np.diag(self._inverse[0])[p:], 0.0))

    @functools.cached_property
    def step(self) -> FloatN:
        """(p,) by which the free shared unknowns would still move: nothing at an answer, something without
        a part."""
        return -self._move[: len(self.free)]

    @functools.cached_property
    def _move(self) -> FloatN:
        parts = zip(self._shares, self._shared, self._residuals, strict=True)
        right = sum((c.T @ s.weight @ r for s, c, r in parts), np.zeros(len(self.information)))
        return self._inverse[0] @ right

    @functools.cached_property
    def _residuals(self) -> tuple[FloatN, ...]:
        pairs = zip(self.measured, self.blocks, strict=True)
        return tuple(b.gap + b.A @ (m.value - b.x) for m, b in pairs)

    @functools.cached_property
    def multipliers(self) -> tuple[FloatN, ...]:
        """(m,) of each block: W r with everything shared projected out."""
        parts = zip(self._shares, self._shared, self._residuals, strict=True)
        return tuple(s.weight @ (r - c @ self._move) for s, c, r in parts)

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

    def own_deviations(self, t: int) -> FloatN:
        """(k,) standard deviations of the unknowns of one block, the shared ones known as well as they
        are."""
        m, b, c = self.measured[t], self.blocks[t], self._shared[t]
        if not b.B.shape[1]:
            return np.zeros(0)
        cover = b.A @ m.covariance @ b.A.T + c @ self._inverse[0] @ c.T
        inner = pseudo_inverse(b.B.T @ pseudo_inverse(cover)[0] @ b.B)[0]
        return np.sqrt(np.maximum(np.diag(inner), 0.0))

    def undetermined(self, loose: float = 1e-8) -> tuple[Floats, Floats]:
        """(u, p) directions of the shared unknowns that the measurements say nothing of.

        Twice: in units of what each unknown alone would be known to, and as they are.
        """
        p = len(self.free)
        if not p:
            return np.zeros((0, 0)), np.zeros((0, 0))
        information = self.information[:p, :p]
        scale = np.sqrt(np.maximum(np.diag(information), 0.0))
        unit = np.where(scale > 0.0, scale, 1.0)
        values, vectors = np.linalg.eigh(information / np.outer(unit, unit))
        found = vectors[:, values <= loose].T
        return found, found / unit

    def scores(self, directions: Sequence[Direction]) -> tuple[FloatN, FloatN]:
        """(d,) s and F of each possible error; F is zero where nothing checks it."""
        s = np.array([sum(float(a @ self.multipliers[t]) for t, a in d.items()) for d in directions])
        f = [self._own(d) - (c := self._crossing(d)) @ self._inverse[0] @ c for d in directions]
        return s, np.array(f, dtype=float)

    def overlaps(self, directions: Sequence[Direction]) -> Floats:
        """(d, d) F of every two possible errors."""
        crossing = np.array([self._crossing(d) for d in directions]).reshape(len(directions), -1)
        found = -crossing @ self._inverse[0] @ crossing.T
        for t, s in enumerate(self._shares):
            here = [i for i, d in enumerate(directions) if t in d]
            if here:
                D = np.column_stack([directions[i][t] for i in here])
                found[np.ix_(here, here)] += D.T @ s.weight @ D
        return found

    def _own(self, d: Direction) -> float:
        return sum(float(a @ self._shares[t].weight @ a) for t, a in d.items())

    def _crossing(self, d: Direction) -> FloatN:
        """(p + q,) F of an error and each shared unknown."""
        parts = (self._shared[t].T @ (self._shares[t].weight @ a) for t, a in d.items())
        return sum(parts, np.zeros(len(self.information)))


def correlation(overlaps: Floats) -> Floats:
    """(d, d) of possible errors, 0 with one that nothing checks; those at 1 cannot be told apart."""
    size = np.sqrt(np.maximum(np.diag(overlaps), 0.0))
    unit = np.where(size > 0.0, size, np.inf)
    return overlaps / np.outer(unit, unit)


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
    linear: Linear,
    directions: Sequence[Direction],
    families: IntN,
    deviations: FloatN,
    kinds: IntN | None = None,
    most: int = 20,
) -> tuple[list[Suspect], Linear]:
    """The errors that stand out, one after the other, each allowed for before the next is looked for.

    families : (d,) candidates of one family are told apart from each other, those of two are not compared
    deviations : (d,) standard deviation of one measurement that the error would be in
    kinds : (d,) kinds of error, 0, 1, ...; each is tested on its own and takes its part of the level
    Serial elimination (Ripps 1965; Rosenberg, Mah & Iordache 1987, Ind. Eng. Chem. Res. 26, 555-564). An
    error that nothing checks is never one. Those that explain the same no worse are named with it. The sizes
    returned are those with all errors allowed for together.
    """
    kinds = np.zeros(len(directions), dtype=np.int64) if kinds is None else kinds
    found: list[tuple[int, tuple[int, ...], float]] = []
    while len(found) < most and linear.freedom > 0:
        s, f = linear.scores(directions)
        checked = f * deviations**2 > CHECKED
        z = np.where(checked, s / np.sqrt(np.where(checked, f, 1.0)), 0.0)
        over = np.abs(z) / _limits(checked, kinds)
        which = int(np.argmax(over))
        if over[which] <= 1.0:
            break
        family = np.flatnonzero(checked & (families == families[which]))
        place = int(np.flatnonzero(family == which)[0])
        same = np.abs(correlation(linear.overlaps([directions[int(i)] for i in family]))[place])
        as_good = (same >= ALIKE) | ((same >= _RIVAL) & (z[which] ** 2 - z[family] ** 2 < _NO_BETTER))
        found.append((which, tuple(int(i) for i in family[as_good]), float(z[which])))
        linear = linear.allowing(directions[which])
    sizes, deviations = linear.estimates
    return [
        Suspect(which, alike, float(size), float(deviation), score)
        for (which, alike, score), size, deviation in zip(found, sizes, deviations, strict=True)
    ], linear


def _limits(checked: Bools, kinds: IntN) -> FloatN:
    """(d,) limit of each candidate's statistic."""
    many = int(kinds.max(initial=0)) + 1
    each = [sidak(int((checked & (kinds == k)).sum()), LEVEL / many) for k in range(many)]
    return np.array(each)[kinds]


def columns(linear: Linear, index: Sequence[Sequence[int]]) -> list[Direction]:
    """Effects of a constant error in each column.

    index : of each block, for each column, the place of its measurement in x; -1 where it was not measured
    """
    return [
        {t: linear.blocks[t].A[:, at[i]] for t, at in enumerate(index) if at[i] >= 0}
        for i in range(len(index[0]))
    ]


def cells(linear: Linear) -> list[tuple[int, int, Direction]]:
    """Effects of an error in one measurement of one block: block, place in x, direction."""
    return [(t, i, {t: b.A[:, i]}) for t, b in enumerate(linear.blocks) for i in range(len(b.x))]
