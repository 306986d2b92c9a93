"""Measurements brought to agree with equations that hold exactly: weighted least squares with constraints.

Measured x with covariance S, unmeasured u, constraints g(x, u) = 0. The reconciled x^ minimises
(x^ - x)' S^-1 (x^ - x) subject to g(x^, u) = 0 (VDI 2048 Part 1; Narasimhan & Jordache 2000, Data
Reconciliation and Gross Error Detection). The problem comes in blocks, periods for instance: each has
measurements, constraints and unknowns of its own, and some unknowns are shared by all. A block is
eliminated on its own, so the work grows with their number and no faster.

Gauss-Newton steps, kept within reach by damping (Levenberg 1944; More 1978, Lecture Notes in Mathematics 630,
105-116): a damped unknown is one that is measured where it stands, the less surely the longer the reach.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np

from pyrobal.arrays import Bools, FloatN, Floats

SQUARES, HUBER = "squares", "huber"
_TUNING: Final = 1.345  # deviations within which Huber's loss is quadratic: 95 % as efficient as squares
_ROUNDS: Final = 400
CLOSE: Final = 1e-7  # of a standard deviation: a smaller step settles nothing
_FIRST, _LEAST, _MOST = 1e-3, 1e-9, 1e15  # damping
_SHORTER, _LONGER = 8.0, 10.0  # more damping after a step that failed, less after one that did not
_RANK: Final = 1e-10  # of the largest eigenvalue; less is nothing


@dataclass(frozen=True, eq=False)
class Measurement:
    """What was measured in one block.

    value : (n,); covariance : (n, n), positive definite
    """

    value: FloatN
    covariance: Floats

    @property
    def deviation(self) -> FloatN:
        """(n,) standard deviations."""
        return np.sqrt(np.diag(self.covariance))


@dataclass(frozen=True, eq=False)
class Point:
    """Where one block stands.

    x : (n,) measured quantities; own : (k,) unknowns of this block
    gap : (m,) what its constraints come to, zero where they hold
    """

    x: FloatN
    own: FloatN
    gap: FloatN


@dataclass(frozen=True, eq=False)
class Block:
    """The constraints of one block, seen from a point.

    A, B, C : (m, n), (m, k), (m, p) their derivatives to x, to own and to the shared unknowns; a constraint
    that holds a shared unknown needs something of the block's own in it
    """

    point: Point
    A: Floats
    B: Floats
    C: Floats

    @property
    def x(self) -> FloatN:
        """(n,) measured quantities."""
        return self.point.x

    @property
    def own(self) -> FloatN:
        """(k,) unknowns of this block."""
        return self.point.own

    @property
    def gap(self) -> FloatN:
        """(m,) what the constraints come to."""
        return self.point.gap


class Model(Protocol):
    """The constraints of every block."""

    def points(self, x: Sequence[FloatN], own: Sequence[FloatN], shared: FloatN) -> Sequence[Point] | None:
        """What they come to; None where there is no answer. It may move x and own onto them, or into
        ranges."""
        ...

    def blocks(self, points: Sequence[Point], shared: FloatN) -> Sequence[Block]:
        """With their derivatives."""
        ...


@dataclass(frozen=True, eq=False)
class Reconciled:
    """The answer.

    measured : with the covariance that the loss has left them
    blocks : at the answer; shared : (p,); held : (p,) True where one stands at an end of its range
    settled : False where the rounds ran out or no step was any better
    """

    measured: tuple[Measurement, ...]
    blocks: tuple[Block, ...]
    shared: FloatN
    held: Bools
    settled: bool
    rounds: int


def reconcile(
    measured: Sequence[Measurement],
    model: Model,
    own: Sequence[FloatN],
    shared: FloatN,
    low: FloatN | None = None,
    high: FloatN | None = None,
    loss: str = SQUARES,
    close: float = CLOSE,
    enough: float = 0.0,
    progress: Callable[[int], object] = lambda _: None,
) -> Reconciled | None:
    """The nearest quantities that keep every constraint; None where the start itself has no answer.

    own : (k,) of each block, where to begin; shared : (p,) likewise, kept between ``low`` and ``high``
    loss : ``SQUARES``, or ``HUBER``: beyond 1.345 deviations an error counts by its size (Huber 1964, Ann.
    Math.
        Stat. 35, 73-101)
    close : step that ends the search, in standard deviations; enough : likewise, gain in the sum of squares
    progress : called with the number of each round
    """
    ends = _ends(shared, low, high)
    points = model.points([m.value for m in measured], own, shared)
    if points is None:
        return None
    blocks = model.blocks(points, shared)
    search = _Search(measured, loss, np.full(len(blocks), _FIRST), np.zeros(len(shared)))
    for rounds in range(1, _ROUNDS + 1):
        progress(rounds)
        found = search.better(model, blocks, shared, ends)
        if found is None or found.step.size < close:
            settled = found is not None
            break
        shared, blocks = shared + found.step.shared, model.blocks(found.points, shared + found.step.shared)
        if found.gain < enough:
            settled = True
            break
    else:
        settled = False
    held = search.held(blocks, shared, ends)
    return Reconciled(tuple(search.weighed(blocks)), tuple(blocks), shared, held, settled, rounds)


def _ends(shared: FloatN, low: FloatN | None, high: FloatN | None) -> tuple[FloatN, FloatN]:
    open_ended = np.full(len(shared), np.inf)
    return -open_ended if low is None else low, open_ended if high is None else high


@dataclass(frozen=True, eq=False)
class _Move:
    """A step, where it leads, and what it gains; no points where it is too small to be worth them."""

    step: _Step
    points: Sequence[Point]
    gain: float


class _Search:
    """Steps that make the sum of squares less, and how far each block is trusted.

    A block that a step made worse is trusted less far; the others go on as before. So one period that sits
    at a kink of its equations does not hold up the rest.
    """

    def __init__(self, measured: Sequence[Measurement], loss: str, damping: FloatN, scale: FloatN) -> None:
        self.measured, self.loss = measured, loss
        self.damping, self.scale, self.penalty = damping, scale, 0.0

    def weighed(self, blocks: Sequence[Block]) -> list[Measurement]:
        """The measurements with the deviations that the loss leaves them."""
        return [_weighed(m, b, self.loss) for m, b in zip(self.measured, blocks, strict=True)]

    def better(
        self, model: Model, blocks: Sequence[Block], shared: FloatN, ends: tuple[FloatN, FloatN]
    ) -> _Move | None:
        """The next step that is one forward, or that is small; None where no step is."""
        weighed = self.weighed(blocks)
        while self.damping.min() < _MOST:
            step = _step(weighed, blocks, shared, ends, self.damping, self.scale)
            self.scale, self.penalty = step.scale, max(self.penalty, 2.0 * step.pull)
            points = model.points(
                [b.x + d for b, d in zip(blocks, step.x, strict=True)],
                [b.own + d for b, d in zip(blocks, step.own, strict=True)],
                shared + step.shared,
            )
            gains = np.full(len(blocks), -np.inf)
            if points is not None:
                before = _merits(weighed, [b.point for b in blocks], self.penalty)
                gains = before - _merits(weighed, points, self.penalty)
            if points is not None and gains.sum() >= 0.0:
                self.damping = np.maximum(self.damping / _LONGER, _LEAST)
                return _Move(step, points, float(gains.sum()))
            if step.size < CLOSE:
                return _Move(step, [], 0.0)
            self.damping = np.where(gains < 0.0, self.damping * _SHORTER, self.damping)
        return None

    def held(self, blocks: Sequence[Block], shared: FloatN, ends: tuple[FloatN, FloatN]) -> Bools:
        """(p,) True for shared unknowns that stand at an end of their range and would go further."""
        there = np.isclose(shared, ends[0], rtol=1e-9, atol=1e-300) | np.isclose(shared, ends[1], rtol=1e-9)
        return there & _step(self.weighed(blocks), blocks, shared, ends, self.damping, self.scale).held


def _weighed(m: Measurement, block: Block, loss: str) -> Measurement:
    """Huber's loss as squares with wider deviations where the adjustment is large."""
    if loss == SQUARES:
        return m
    away = np.abs(block.x - m.value) / m.deviation
    wider = np.sqrt(np.maximum(away / _TUNING, 1.0))
    return Measurement(m.value, m.covariance * np.outer(wider, wider))


def _merits(measured: Sequence[Measurement], points: Sequence[Point], penalty: float) -> FloatN:
    """(T,) the sum of squares of each block, and at a price what its constraints are off."""
    off = [p.x - m.value for m, p in zip(measured, points, strict=True)]
    squares = [d @ np.linalg.solve(m.covariance, d) for m, d in zip(measured, off, strict=True)]
    gaps = [np.abs(p.gap).sum() for p in points]
    return np.array(squares, dtype=float) + penalty * np.array(gaps, dtype=float)


@dataclass(frozen=True, eq=False)
class _Step:
    """x, own : of each block; shared : (p,); pull : largest multiplier; size : in standard deviations."""

    x: list[FloatN]
    own: list[FloatN]
    shared: FloatN
    held: Bools
    scale: FloatN
    pull: float
    size: float


@dataclass(frozen=True, eq=False)
class _Reduced:
    """A damped block with its quantities eliminated: what is left to the shared unknowns.

    weight : (m, m) inverse covariance of the constraints; residual : (m,); spread : (n, n), own : (k, k)
    covariances of what may move; towards : (n,) where x is drawn
    """

    weight: Floats
    residual: FloatN
    spread: Floats
    own: Floats
    towards: FloatN


def _reduced(m: Measurement, b: Block, damping: float) -> _Reduced:
    spread = m.covariance / (1.0 + damping)
    towards = (m.value - b.x) / (1.0 + damping)
    cover = b.A @ spread @ b.A.T
    own = np.zeros((b.B.shape[1],) * 2)
    if own.size:
        pull = np.einsum("ij,ij->j", b.B, np.linalg.pinv(cover, hermitian=True) @ b.B)
        own = np.diag(1.0 / (damping * np.where(pull > 0.0, pull, 1.0)))
        cover = cover + b.B @ own @ b.B.T
    weight = pseudo_inverse(cover)[0]
    return _Reduced(weight, b.gap + b.A @ towards, spread, own, towards)


def pseudo_inverse(matrix: Floats) -> tuple[Floats, int]:
    """The inverse of a symmetric matrix on what it covers, scaled to a diagonal of ones; and its rank."""
    if not matrix.size:
        return matrix, 0
    diagonal = np.diag(matrix)
    scale = np.where(diagonal > 0.0, np.sqrt(np.abs(diagonal)), 1.0)
    values, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    kept = values > _RANK * max(float(values.max()), 0.0)
    if not kept.any():
        return np.zeros_like(matrix), 0
    basis = vectors[:, kept] / scale[:, None]
    if not kept.all():  # the inverse on the range of the matrix itself, not of its scaled form
        basis = np.linalg.qr(scale[:, None] * vectors[:, kept])[0]
        inner = np.linalg.inv(basis.T @ matrix @ basis)
        return basis @ inner @ basis.T, int(kept.sum())
    return (basis / values[kept]) @ basis.T, int(kept.sum())


def _step(
    measured: Sequence[Measurement],
    blocks: Sequence[Block],
    shared: FloatN,
    ends: tuple[FloatN, FloatN],
    damping: FloatN,
    scale: FloatN,
) -> _Step:
    """One damped Gauss-Newton step that keeps the shared unknowns within their ends."""
    reduced = [_reduced(m, b, float(d)) for m, b, d in zip(measured, blocks, damping, strict=True)]
    p = len(shared)
    normal, right = np.zeros((p, p)), np.zeros(p)
    for r, b in zip(reduced, blocks, strict=True):
        normal += b.C.T @ r.weight @ b.C
        right -= b.C.T @ r.weight @ r.residual
    scale = np.maximum(scale, np.sqrt(np.maximum(np.diag(normal), 0.0)))
    unit = np.where(scale > 0.0, scale, 1.0)
    move, held = _within(normal + damping.min() * np.diag(unit**2), right, shared, ends)
    moved = [_back(r, b, move) for r, b in zip(reduced, blocks, strict=True)]
    in_deviations = [d / m.deviation for (d, _, _), m in zip(moved, measured, strict=True)]
    sizes = [np.abs(move * unit), *(np.abs(d) for d in in_deviations)]
    return _Step(
        [x for x, _, _ in moved],
        [own for _, own, _ in moved],
        move,
        held,
        scale,
        max((pull for _, _, pull in moved), default=0.0),
        max((float(s.max()) for s in sizes if s.size), default=0.0),
    )


def _back(r: _Reduced, b: Block, move: FloatN) -> tuple[FloatN, FloatN, float]:
    """The step of a block's own quantities once that of the shared ones is known."""
    multiplier = r.weight @ (r.residual + b.C @ move)
    x = r.towards - r.spread @ b.A.T @ multiplier
    own = -r.own @ b.B.T @ multiplier
    return x, own, float(np.abs(multiplier).max(initial=0.0))


def _within(
    normal: Floats, right: FloatN, shared: FloatN, ends: tuple[FloatN, FloatN]
) -> tuple[FloatN, Bools]:
    """Solve for a step; what would leave its range stops at the end of it and the others are solved again."""
    low, high = ends
    held = np.zeros(len(shared), dtype=bool)
    move = np.zeros(len(shared))
    while True:
        free = ~held
        if free.any():
            known = right[free] - normal[np.ix_(free, held)] @ move[held]
            move[free] = np.linalg.solve(normal[np.ix_(free, free)], known)
        beyond = free & ((shared + move < low) | (shared + move > high))
        if not beyond.any():
            return move, held
        move[beyond] = np.clip(shared + move, low, high)[beyond] - shared[beyond]
        held |= beyond
