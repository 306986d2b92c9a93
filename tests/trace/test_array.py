"""Arrays that remember: what operations note, what parts that are written to mean, and what complains."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from pyrobal.arrays import ratio, zeros
from pyrobal.constants import KELVIN, R
from pyrobal.dimensions import ONE, Constant, constant, unit
from pyrobal.numerics.bracketing import root
from pyrobal.trace.array import Traced, leaf
from pyrobal.trace.graph import Leaf, Trace, paused, tracing
from pyrobal.trace.slopes import Slopes
from pyrobal.trace.solved import remembered
from pyrobal.trace.units import text


@pytest.fixture
def trace() -> Iterator[Trace]:
    with tracing(Trace()) as trace:
        yield trace


def _given(trace: Trace, name: str, value: Any, of: str) -> Any:
    return leaf(trace, value, unit(of).code, Leaf("setting", name))


def _slopes(result: Any, element: int = 0) -> dict[str, np.ndarray]:
    found = Slopes().of([(result.node, element)])
    return {
        n.origin.name: slope[0] for n, slope in found.items() if isinstance(n.origin, Leaf) and n.origin.name
    }


@pytest.mark.parametrize(
    ("of", "written"),
    [
        ("mol/s", "mol/s"), ("J/(mol K)", "J/(mol K)"), ("kg m2/s3", "W"), ("Pa m3", "J"), ("", ""), ("1/s", "1/s"),
        ("kg/mol", "kg/mol"), ("mol/(m3 Pa)", "mol/(m3 Pa)"),
    ],
)  # fmt: skip
def test_units_are_read_and_written(of: str, written: str) -> None:
    assert str(unit(of)) == written


def test_no_unit_is_made_up() -> None:
    with pytest.raises(ValueError, match="'lb' is no unit"):
        unit("lb/s")


def test_constants_carry_their_units_through_arithmetic() -> None:
    iron = constant(0.055845, "kg/mol", "standard atomic weight")
    oxygen = constant(0.015999, "kg/mol")
    assert (3 * iron + 4 * oxygen).unit is unit("kg/mol")
    assert (1.0 / iron).unit is unit("mol/kg")
    assert (R * KELVIN / iron).unit is unit("J/kg")
    assert (-iron).unit is unit("kg/mol")
    assert (iron + KELVIN).unit is ONE
    assert type(iron * np.ones(2)) is np.ndarray
    assert isinstance(iron**2, Constant) and float(iron**2) == 0.055845**2


def test_each_operation_finds_the_unit_of_its_result(trace: Trace) -> None:
    n, M = _given(trace, "n", [[1.0, 2.0]], "mol/s"), _given(trace, "M", [0.06, 0.1], "kg/mol")
    T = _given(trace, "T", [1500.0], "K")
    for found, of in (
        (n @ M, "kg/s"),
        ((n * M).sum(axis=1), "kg/s"),
        (n[:, 0] / n[:, 1], ""),
        (R * T, "J/mol"),
        (np.log(T / KELVIN), ""),
        (np.sqrt(T) * T**0.5, "K"),
        (np.maximum(T, 0.0), "K"),
        (np.where(T > 1400.0 * KELVIN, T, np.nan), "K"),
        (ratio(n[:, 0], n[:, 1]), ""),
        (np.cumsum(n, axis=1), "mol/s"),
    ):
        assert text(found.node.units) in (of, of or "a plain number")
    assert trace.complaints == []


MISTAKES = {
    "add of kg/s and mol/s": lambda n, M, T: n @ M + n.sum(axis=1),
    "log of K": lambda n, M, T: np.log(T),
    "add of W/K and W": lambda n, M, T: n[:, 0] * R + n[:, 0] * R * T,
    "greater of K and a plain number": lambda n, M, T: T > 1400.0,
    "a sum of kg/s, mol/s": lambda n, M, T: np.stack([n @ M, n[:, 0]]).sum(axis=0),
    "a choice of K and mol/s": lambda n, M, T: np.where(T > 0.0, T, n[:, 0]),
}


@pytest.mark.parametrize("said", MISTAKES)
def test_planted_mistakes_are_found(said: str, trace: Trace) -> None:
    n, M = _given(trace, "n", [[1.0, 2.0]], "mol/s"), _given(trace, "M", [0.06, 0.1], "kg/mol")
    MISTAKES[said](n, M, _given(trace, "T", [1500.0], "K"))
    assert [complaint.what for complaint in trace.complaints] == [said]


def test_history_goes_through_parts_that_are_written(trace: Trace) -> None:
    a, b = _given(trace, "a", [2.0], "kg/s"), _given(trace, "b", [3.0], "kg/s")
    held = zeros((1, 3), a)
    held[:, 0] = a
    before = held * 1.0
    held[:, [1, 2]] = 5.0 * b[:, None]
    held[:, 0] += b
    np.testing.assert_array_equal(held.node.value, [[5.0, 15.0, 15.0]])
    np.testing.assert_array_equal(before.node.operands[0].value, [[2.0, 0.0, 0.0]])
    assert _slopes(held.sum()) == {"a": [1.0], "b": [11.0]}
    assert _slopes(before.sum()) == {"a": [1.0]}


@pytest.mark.parametrize(
    "made_of",
    [
        lambda x, y: np.exp(x) * np.log(y) / (1.0 + x**2),
        lambda x, y: np.maximum(x, y) - np.minimum(x, 0.3) + np.abs(x - y),
        lambda x, y: np.linalg.solve(np.stack([np.stack([x, y]), np.stack([-y, x])])[:, :, 0], np.stack([y, x]))[0],
        lambda x, y: np.interp(x, np.array([0.0, 0.5, 2.0]), np.array([1.0, 4.0, 2.0])) * y,
        lambda x, y: np.concatenate([x, y, x]).reshape(3, 1).max(axis=0) * np.tile(y, 3).sum(),
        lambda x, y: np.diff(np.cumsum(np.stack([x, y, x * y]), axis=0), axis=0).mean(axis=0),
        lambda x, y: ratio(x, y) ** y + np.power(x, 1.5),
    ],
)  # fmt: skip
def test_slopes_are_those_of_an_imaginary_step(made_of: Any, trace: Trace) -> None:
    at = {"x": 0.7, "y": 1.3}
    found = _slopes(made_of(*(_given(trace, name, [value], "-") for name, value in at.items())))
    with paused():
        for name in at:
            h = 1e-7
            up, down = (
                made_of(*(np.array([v + (s if n == name else 0.0)]) for n, v in at.items())) for s in (h, -h)
            )
            assert found[name][0] == pytest.approx(float(up[0] - down[0]) / (2 * h), rel=1e-6)


def test_what_is_solved_is_known_by_its_equation(trace: Trace) -> None:
    """x of x^3 = a: dx/da = 1 / (3 x^2)."""
    a = _given(trace, "a", [8.0], "-")
    found = root(lambda x: x**3 - a, np.array([0.0]), np.array([10.0])).x
    assert found.node.origin.method == "bracketing"
    assert found.node.value == pytest.approx(2.0)
    assert _slopes(found)["a"] == pytest.approx(1.0 / 12.0)


def test_without_a_trace_arrays_are_plain(trace: Trace) -> None:
    a = _given(trace, "a", [[1.0, 2.0]], "kg/s")
    with paused():
        for found in (
            a + 1.0,
            a[:, 0],
            np.stack([a, a]),
            a.sum(axis=1),
            a.copy(),
            a.T,
            np.zeros_like(a),
            a.real,
        ):
            assert type(found) is np.ndarray
    assert type(a + 1.0) is Traced


def test_what_forgets_complains(trace: Trace) -> None:
    a = _given(trace, "a", [[1.0, 2.0]], "kg/s")
    float(a[0, 0])
    np.median(a)
    assert [complaint.what for complaint in trace.complaints] == ["float() forgets", "numpy.median forgets"]


def test_what_is_remembered_in_a_trace_stays_there(trace: Trace) -> None:
    calls = []

    @remembered()
    def made(name: str) -> Any:
        calls.append(name)
        return len(calls)

    assert made("x") == made("x") == 1
    with paused():
        assert made("x") == made("x") == 2
    assert made("x") == 1
