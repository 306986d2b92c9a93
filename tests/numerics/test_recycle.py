"""The fixed point of recycle loops against linear algebra."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pyrobal.arrays import Floats, IntN, take
from pyrobal.numerics.recycle import fixed_point


@dataclass(frozen=True)
class Linear:
    """back = fresh + matrix tears."""

    matrix: Floats
    fresh: Floats

    def around(self, tears: Floats) -> tuple[Floats, Linear]:
        return self.fresh + np.einsum("nij,nj->ni", self.matrix, tears), self

    def take(self, rows: IntN) -> Linear:
        part: Linear = take(self, rows)
        return part


def random_loop(n: int, k: int, gain: float, seed: int = 0) -> Linear:
    rng = np.random.default_rng(seed)
    matrix = rng.uniform(0, 1, (n, k, k))
    matrix *= gain / matrix.sum(axis=1, keepdims=True)
    return Linear(matrix, rng.uniform(0.1, 10, (n, k)) * 10.0 ** rng.integers(-6, 2, k))


def test_linear_loops_have_the_answer_of_linear_algebra() -> None:
    loop = random_loop(200, 15, gain=0.5)
    found = fixed_point(loop, np.zeros((200, 15)))
    exact = np.linalg.solve(np.eye(15) - loop.matrix, loop.fresh[:, :, None])[:, :, 0]
    assert found.converged.all()
    np.testing.assert_allclose(found.tears, exact, rtol=1e-9)


def test_acceleration_saves_passes() -> None:
    loop = random_loop(50, 6, gain=0.9)
    found = fixed_point(loop, np.zeros((50, 6)), passes=400)
    plain = np.ceil(np.log(1e-11) / np.log(0.9))  # passes of plain substitution, about
    assert found.converged.all() and found.passes.max() < plain / 2


def test_a_loop_that_grows_without_bound_is_reported_and_disturbs_nobody() -> None:
    loop = random_loop(10, 4, gain=0.4)
    matrix = loop.matrix.copy()
    matrix[3] *= 4.0
    spoilt = fixed_point(Linear(matrix, loop.fresh), np.zeros((10, 4)))
    clean = fixed_point(loop, np.zeros((10, 4)))
    assert not spoilt.converged[3]
    others = np.arange(10) != 3
    assert np.array_equal(spoilt.tears[others], clean.tears[others])


def test_no_recycle_at_all() -> None:
    found = fixed_point(Linear(np.zeros((5, 3, 3)), np.ones((5, 3))), np.zeros((5, 3)))
    assert found.converged.all() and np.array_equal(found.tears, np.ones((5, 3)))
