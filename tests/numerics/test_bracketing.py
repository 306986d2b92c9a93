"""The enclosed root: found to the last digits, frozen where found, honest where there is none."""

from __future__ import annotations

import numpy as np
import pytest

from pyrobal.arrays import FloatN
from pyrobal.numerics.bracketing import rise, root

LOW, HIGH = np.array([0.0]), np.array([10.0])


@pytest.mark.parametrize("power", [1, 3, 9, 21])
def test_roots_of_powers(power: int) -> None:
    target = np.array([0.3, 2.0, 9.9])
    found = root(lambda x: x**power - target**power, LOW, HIGH)
    assert found.found.all()
    np.testing.assert_allclose(found.x, target, rtol=1e-13)


def test_falling_functions_and_roots_at_the_bounds() -> None:
    np.testing.assert_allclose(root(lambda x: np.array([0.0, 10.0, 5.0]) - x, LOW, HIGH).x, [0.0, 10.0, 5.0])


def test_no_change_of_sign_is_nan_and_disturbs_nobody() -> None:
    shift = np.array([1.0, 20.0, np.nan, -3.0])
    together = root(lambda x: np.exp(x) - np.exp(shift), LOW, HIGH)
    assert together.found.tolist() == [True, False, False, False]
    assert np.isnan(together.x[1:]).all()
    first = root(lambda x: np.exp(x) - np.exp(shift[:1]), LOW, HIGH)
    assert together.x[0] == first.x[0]  # bit for bit


def test_a_jump_through_zero_is_enclosed() -> None:
    assert root(lambda x: np.where(x > 3.0, 1.0, -1.0) * (1 + x), LOW, HIGH).x[0] == pytest.approx(
        3.0, rel=1e-14
    )


def test_few_evaluations() -> None:
    calls = 0

    def f(x: FloatN) -> FloatN:
        nonlocal calls
        calls += 1
        return np.exp(-x) - 0.01

    root(f, LOW, HIGH)
    assert calls < 20  # bisection alone would take 55


SLOPES = {
    "straight": lambda d: 3.0 * d,
    "hollow": lambda d: np.expm1(5.0 * d),
    "bulging": np.log1p,
    "steep at first": np.sqrt,
}


@pytest.mark.parametrize("name", SLOPES)
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_where_a_function_begins_to_rise(name: str, side: float) -> None:
    """To the last digits, by secants on the slope; the flat side tells nothing but that it is flat."""
    begins = np.array([0.3, 0.3, 7.0, 0.001])
    calls = 0

    def f(x: FloatN) -> FloatN:
        nonlocal calls
        calls += 1
        return SLOPES[name](np.maximum(side * (x - begins), 0.0))

    found = rise(
        f, begins - side * np.array([0.1, 2.0, 1e-9, 0.001]), begins + side * np.array([0.7, 0.2, 3.0, 1.0])
    )
    np.testing.assert_allclose(found, begins, rtol=1e-14)
    assert calls < (80 if name == "steep at first" else 40)  # halving alone takes 60


def test_what_does_not_rise_is_nan_and_disturbs_nobody() -> None:
    begins = np.array([3.0, 20.0, np.nan])
    together = rise(lambda x: np.maximum(x - begins, 0.0) ** 1.5, np.zeros(3), np.full(3, 10.0))
    assert np.isnan(together[1:]).all()
    alone = rise(lambda x: np.maximum(x - begins[:1], 0.0) ** 1.5, LOW, HIGH)
    assert together[0] == alone[0]  # bit for bit
