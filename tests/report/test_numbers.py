"""Numbers for people."""

import math

import pytest

from pyrobal.report.numbers import number, quantity


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (23835.6, "23836"), (64.0, "64"), (7.72073, "7.721"), (0.00045, "0.00045"), (1.7e-16, "1.7e-16"),
        (-0.00703403, "-0.007034"), (0.0, "0"), (-0.0, "0"), (0.99999, "1"), (99999.99, "100000"), (1e6, "1000000"),
        (12.30, "12.3"), (math.nan, "-"), (math.inf, "-"), (1e15, "1000000000000000"), (0.0001, "0.0001"),
    ],
)  # fmt: skip
def test_number(value: float, text: str) -> None:
    assert number(value) == text


@pytest.mark.parametrize("value", [x * 10.0**k for k in range(-20, 16) for x in (1.0, -2.345678, 9.99996)])
def test_what_is_written_is_within_half_a_unit_of_the_last_digit(value: float) -> None:
    digits = 2 if abs(value) < 1e-4 else 4
    assert float(number(value)) == pytest.approx(value, rel=0.5000001 * 10.0 ** (1 - digits))


def test_quantity_leaves_out_the_unit_of_a_ratio() -> None:
    assert quantity(1.25, "-") == "1.25"
    assert quantity(64.0, "wt%") == "64 wt%"
    assert quantity(math.nan, "wt%") == "-"
