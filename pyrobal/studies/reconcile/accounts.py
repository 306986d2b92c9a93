"""Accounts of the elements: what came in, what went out, what is missing; as measured and as reconciled.

A stream counts with its measured mass and assay. What was not measured of it is taken from the balance, and
said.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.constants import HOUR
from pyrobal.flowsheet.results import Results
from pyrobal.flowsheet.solve import solve
from pyrobal.studies.measure import measured as reading_of
from pyrobal.studies.reconcile.fit import Problem, scenarios
from pyrobal.studies.reconcile.measured import Column
from pyrobal.studies.reconcile.tests import Found
from pyrobal.thermo.elements import ATOMIC_MASS, ELEMENTS

PERIOD: Final = 24 * HOUR  # a change of stock is spread over a day
_ALWAYS: Final = ("Cu", "Fe", "S")
_MASS: Final = ("rate", "flow_dry", "flow_wet")
_SHARES: Final = {"Cu": ("grade", "copper"), "S": ("so2_dry", "so2")}


@dataclass(frozen=True)
class Line:
    """One stream of one element, mean of the periods, in kg/s.

    sign : 1 in, -1 out or put into stock
    raw, deviation : as measured, and its standard deviation; after : as reconciled
    measured : of mass and assay, what was measured: "both", "mass", "assay" or "neither"
    """

    name: str
    sign: int
    raw: float
    deviation: float
    after: float
    measured: str


@dataclass(frozen=True)
class Account:
    """Everything of one element."""

    element: str
    lines: tuple[Line, ...]

    @property
    def fed(self) -> float:
        """What came in as measured, kg/s."""
        return sum(line.raw for line in self.lines if line.sign > 0)

    @property
    def unaccounted(self) -> float:
        """In less out less put into stock, as measured, kg/s."""
        return sum(line.sign * line.raw for line in self.lines)

    @property
    def deviation(self) -> float:
        """The standard deviation of that."""
        return float(np.sqrt(sum(line.deviation**2 for line in self.lines)))

    @property
    def unaccounted_after(self) -> float:
        """The same as reconciled: nothing but what went into stock, which the balance does not have."""
        return sum(line.sign * line.after for line in self.lines)


def accounts(found: Found) -> list[Account]:
    """Of copper, iron, sulfur, and every other element whose assay was measured."""
    p = found.problem
    fitted = np.array([
        [*b.own, *found.answer.shared[: len(p.fit)]] for b in found.answer.blocks
    ]).reshape(p.periods, len(p.each) + len(p.fit))  # fmt: skip
    n = len(p.settings)
    raw = solve(scenarios(p, np.array([m.value[:n] for m in p.measurements()]).reshape(p.periods, n), fitted))
    true = np.array([
        [b.x[k] - p.offset(t, i, found.answer.shared) for k, i in enumerate(p.settings)]
        for t, b in enumerate(found.answer.blocks)
    ]).reshape(p.periods, n)  # fmt: skip
    best = solve(scenarios(p, true, fitted))
    return [Account(element, tuple(_lines(p, element, raw, best))) for element in _elements(p, raw)]


def _elements(p: Problem, results: Results) -> list[str]:
    told = (re.search(r"\.assay\.([A-Z][a-z]?)$", c.key) for c in p.measured.columns)
    names = dict.fromkeys([*_ALWAYS, *(m[1] for m in told if m and m[1] in ELEMENTS)])
    fed = results.ledger.elements_in()
    return [name for name in names if np.nanmax(fed[:, ELEMENTS.index(name)]) > 0.0]


def _lines(p: Problem, element: str, raw: Results, best: Results) -> Iterator[Line]:
    at = ELEMENTS.index(element)
    for sign, side, other in (
        (1, raw.ledger.inputs, best.ledger.inputs),
        (-1, raw.ledger.outputs, best.ledger.outputs),
    ):
        for name, entry in side.items():
            amount = np.broadcast_to(entry.elements[:, at] * ATOMIC_MASS[at], (p.periods,))
            after = np.broadcast_to(other[name].elements[:, at] * ATOMIC_MASS[at], (p.periods,))
            if np.nanmax(np.abs(amount)) > 0.0:
                yield _line(p, name, sign, element, amount, after, raw)
    yield from _stocks(p, element)


def _line(
    p: Problem, name: str, sign: int, element: str, amount: FloatN, after: FloatN, raw: Results
) -> Line:
    mass = _first(p, [f"{name}.{x}" for x in _MASS])
    shares = (f"assay.{element}", *_SHARES.get(element, ()))
    assay = _first(p, [f"{name}.{x}" for x in shares])
    relative = 0.0
    for column in (mass, assay):
        if column is not None:
            amount = amount * _told(column, raw)
            relative += float(np.nanmean(column.deviation / np.abs(column.values)) ** 2)
    words = {(True, True): "both", (True, False): "mass", (False, True): "assay", (False, False): "neither"}
    mean = float(np.nanmean(amount))
    deviation = abs(mean) * float(np.sqrt(relative / p.periods))
    return Line(
        name, sign, mean, deviation, float(np.nanmean(after)), words[mass is not None, assay is not None]
    )


def _first(p: Problem, keys: Sequence[str]) -> Column | None:
    return next((c for key in keys for c in p.measured.columns if c.key == key), None)


def _told(column: Column, raw: Results) -> Floats:
    """Measured over worked out; one where it is a setting, or was not measured."""
    if column.variable is not None:
        return np.ones(1)
    ratio = column.values / reading_of(raw, column.key)
    return np.where(np.isfinite(ratio), ratio, 1.0)


def _stocks(p: Problem, element: str) -> Iterator[Line]:
    """Changes of stock: a rise is put into stock."""
    for column in p.measured.columns:
        name = column.key.removeprefix("stock.")
        assay = _first(p, [f"{column.key}.assay.{element}"])
        if column.stock and ".assay." not in name and assay is not None:
            amount = np.nan_to_num(column.values * assay.values) / PERIOD
            relative = (assay.deviation / np.maximum(np.abs(assay.values), 1e-300)) ** 2
            spread = np.nan_to_num(
                np.hypot(column.deviation * assay.values, amount * PERIOD * np.sqrt(relative))
            )
            deviation = float(np.sqrt((spread**2).sum())) / PERIOD / p.periods
            mean = float(amount.mean())
            yield Line(f"stock of {name}", -1, mean, deviation, mean, "both")
