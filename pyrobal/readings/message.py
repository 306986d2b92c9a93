"""One sentence about a result."""

from __future__ import annotations

from dataclasses import dataclass

from pyrobal.arrays import BoolN, FloatN
from pyrobal.flowsheet.results import Results
from pyrobal.readings.registry import evaluate


@dataclass(frozen=True)
class Message:
    """level : "limit" (no answer), "caution" (look at this), "note" or "safety"; key : reading or setting."""

    level: str
    key: str
    text: str


def figure(x: float) -> str:
    """A number within a sentence."""
    return f"{x:,.0f}" if abs(x) >= 1000.0 else f"{x:.4g}"


def at(results: Results, key: str, scenario: int) -> float:
    """One reading of one scenario, SI."""
    return float(evaluate(results, key)[scenario])


def one(array: FloatN | BoolN, scenario: int) -> float:
    """The value of one scenario, or that which all share."""
    return float(array[0] if array.shape[0] == 1 else array[scenario])
