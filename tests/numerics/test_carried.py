"""An imaginary part is carried through every solver as the derivative: against closed forms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from cubics import Pair

from pyrobal.arrays import Floats, IntN, zeros
from pyrobal.numerics.bracketing import root
from pyrobal.numerics.least_squares import nonnegative
from pyrobal.numerics.newton import newton
from pyrobal.numerics.recycle import fixed_point
from pyrobal.streams.mixing import temperature
from pyrobal.thermo.properties import species

H = 1e-20
EXACT = 1e-12  # round-off of a few operations


def test_newton() -> None:
    p = np.array([0.3, 1.0, 2.0, 5.0])
    found = newton(Pair(p + 1j * H), np.full((4, 2), 0.9))
    assert found.converged.all()
    y = found.z[:, 1].real
    np.testing.assert_allclose(y**9 + y, p, rtol=EXACT)
    np.testing.assert_allclose(found.z[:, 1].imag / H, 1.0 / (9.0 * y**8 + 1.0), rtol=1e-11)
    np.testing.assert_allclose(found.z[:, 0].imag / H, 3.0 * y**2 / (9.0 * y**8 + 1.0), rtol=1e-11)
    plain = newton(Pair(p), np.full((4, 2), 0.9))
    assert np.array_equal(plain.z, found.z.real)  # the derivative does not touch the answer


def test_root() -> None:
    p = np.array([2.0, 10.0, 30.0])
    found = root(lambda x: x**3 - (p + 1j * H), np.full(3, 1.0), np.full(3, 4.0))
    np.testing.assert_allclose(found.x.real, p ** (1 / 3), rtol=EXACT)
    np.testing.assert_allclose(found.x.imag / H, p ** (-2 / 3) / 3, rtol=EXACT)
    assert np.isnan(root(lambda x: x**2 + 1 + 1j * H, np.zeros(1), np.ones(1)).x).all()


def test_temperature_of_mixing() -> None:
    """dT = dH / (n Cp)."""
    gas, n = species("SO2(g)", "N2(g)"), np.array([[1.0, 3.0]])
    heat = (n * gas.enthalpy(np.array([1500.0]))).sum(axis=1)
    T = temperature(gas, n, heat + 1j * H * heat)
    assert T.real[0] == pytest.approx(1500.0, abs=1e-9)
    capacity = (n * gas.heat_capacity(np.array([1500.0]))).sum()
    assert T.imag[0] / H == pytest.approx(heat[0] / capacity, rel=1e-10)


def test_least_squares() -> None:
    """Within one active set the answer is linear: doubled in p, with the same derivative as value."""
    rng = np.random.default_rng(3)
    A = rng.normal(size=(6, 9))
    Q, q = A @ A.T + np.eye(6), rng.normal(size=(20, 6))
    plain, _ = nonnegative(Q, q)
    carried, solved = nonnegative(Q, q * (1.0 + 1j * H))
    assert solved.all()
    np.testing.assert_allclose(carried.real, plain, atol=1e-14)
    np.testing.assert_allclose(carried.imag / H, plain, atol=1e-12)


@dataclass(frozen=True)
class Returns:
    """x -> M x + b, so the fixed point is (1 - M)^-1 b."""

    M: Floats
    b: Floats

    def around(self, tears: Floats) -> tuple[Floats, Returns]:
        return tears @ self.M.T + self.b, self

    def take(self, rows: IntN) -> Returns:
        return Returns(self.M, self.b[rows])


def test_recycles() -> None:
    rng = np.random.default_rng(5)
    M = rng.uniform(0, 0.2, (4, 4))
    b, db = rng.uniform(1, 2, (3, 4)), rng.normal(size=(3, 4))
    found = fixed_point(Returns(M, b + 1j * H * db), b.copy())
    inverse = np.linalg.inv(np.eye(4) - M)
    np.testing.assert_allclose(found.tears.real, b @ inverse.T, rtol=1e-9)
    np.testing.assert_allclose(found.tears.imag / H, db @ inverse.T, rtol=1e-9)


def test_zeros_hold_what_they_must() -> None:
    assert zeros((2, 3)).dtype == np.float64
    assert zeros((2, 3), np.ones(1), np.ones(2)).dtype == np.float64
    assert zeros((2, 3), np.ones(1), np.ones(2) * 1j).dtype == np.complex128
