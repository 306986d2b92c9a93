"""Non-negative least squares against SciPy's own."""

from __future__ import annotations

import numpy as np
from scipy.optimize import nnls

from pyrobal.numerics.least_squares import nonnegative


def test_agrees_with_scipy_on_random_problems() -> None:
    rng = np.random.default_rng(0)
    A = rng.normal(size=(30, 12))
    b = rng.normal(size=(200, 30)) + A @ rng.uniform(-1, 1, 12)
    x, solved = nonnegative(A.T @ A, b @ A)
    assert solved.all()
    for row, target in zip(x, b, strict=True):
        np.testing.assert_allclose(row, nnls(A, target)[0], atol=1e-9)


def test_a_scenario_does_not_depend_on_its_neighbours() -> None:
    rng = np.random.default_rng(1)
    A = rng.normal(size=(20, 8))
    q = rng.normal(size=(50, 8))
    together, _ = nonnegative(A.T @ A, q)
    alone = np.concatenate([nonnegative(A.T @ A, row[None, :])[0] for row in q])
    np.testing.assert_allclose(together, alone, atol=1e-9)


def test_nothing_to_explain_is_nothing() -> None:
    x, solved = nonnegative(np.eye(3), -np.ones((2, 3)))
    assert solved.all() and not x.any()
