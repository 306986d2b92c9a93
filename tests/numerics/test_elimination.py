"""Elimination against the linear algebra of a library."""

from __future__ import annotations

import numpy as np

from pyrobal.numerics.elimination import eliminated


def test_it_solves_what_a_library_solves() -> None:
    rng = np.random.default_rng(1)
    there = rng.uniform(size=(6, 6)) < 0.5
    matrix = -rng.uniform(size=(40, 6, 6)) * there
    matrix[:, range(6), range(6)] = 1.0 - matrix.sum(axis=1)
    right = rng.normal(size=(40, 6))
    sparse = {(int(i), int(j)): matrix[:, i, j] for i, j in np.argwhere(there | np.eye(6, dtype=bool))}
    assert len(sparse) < 36
    found = np.stack(eliminated(sparse, list(right.T)), axis=1)
    np.testing.assert_allclose(found, np.linalg.solve(matrix, right[:, :, None])[:, :, 0], rtol=1e-12)
    assert len(sparse) < 36  # what was given stays as it was
