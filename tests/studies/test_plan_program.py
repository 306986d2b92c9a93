"""The program of a plan against a published multi-period problem, with a linear stand-in for the balance."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from pyrobal.arrays import Floats
from pyrobal.studies.contract import Contract
from pyrobal.studies.linear import conflict
from pyrobal.studies.plan.periods import Delivery, Period, Plan, Stock
from pyrobal.studies.plan.program import Fed, Program
from pyrobal.studies.search import Climb, climb

OILS = ("VEG1", "VEG2", "OIL1", "OIL2", "OIL3")
HARDNESS = np.array([8.8, 6.1, 2.0, 4.2, 5.0])
PRICES = np.array([
    [110, 120, 130, 110, 115], [130, 130, 110, 90, 115], [110, 140, 130, 100, 95],
    [120, 110, 120, 120, 125], [100, 120, 150, 110, 105], [90, 100, 140, 80, 135],
])  # fmt: skip


@dataclass(frozen=True)
class Refinery:
    """150 a ton; 200 of vegetable and 250 of other oil a month; hardness 3 to 6."""

    def at(self, rates: Floats) -> Fed:
        veg = np.array([1.0, 1, 0, 0, 0])
        falls = np.array([-veg / 200, -(1 - veg) / 250, (6 - HARDNESS) / 100, (HARDNESS - 3) / 100])
        rooms = (np.array([1.0, 1, 0, 0]) + rates @ falls.T).ravel()
        months = [t for t in range(len(rates)) for _ in falls]
        return Fed(
            150 * rates.sum(axis=1),
            np.full(rates.shape, 150.0),
            rooms,
            np.tile(falls, (len(rates), 1)),
            months,
        )


def food(**conditions: object) -> Program:
    """Months are periods of one hour, so that a rate is a month's amount."""
    periods = tuple(Period(f"month {t + 1}", 1.0) for t in range(6))
    offers = tuple(
        Delivery(f"{oil} {t + 1}", oil, 1500.0, t, Contract(float(PRICES[t, k])))
        for t in range(6)
        for k, oil in enumerate(OILS)
    )
    stocks = {oil: Stock(500, 0, 1000, 500, holding=5) for oil in OILS}
    plan = replace(Plan(periods, offers, stocks), **conditions)
    return Program(plan, Refinery(), np.array([d.contract.cost or 0.0 for d in offers]), 0.0, 450.0)


def solved(program: Program) -> Climb:
    return climb(program, np.zeros(len(program.region_width)))


def test_williams_food_manufacture() -> None:
    """H. P. Williams, Model Building in Mathematical Programming, "Food manufacture": 107,842.59 (from memory)."""
    found = solved(food())
    assert found.feasible and found.settled
    assert found.model.value == pytest.approx(107842.5926, abs=0.01)


def test_williams_food_manufacture_with_logical_conditions() -> None:
    """The same book: at most three oils, at least 20 t of one used, OIL3 with VEG1 or VEG2: 100,278.70 (from memory)."""
    stocks = {
        oil: Stock(500, 0, 1000, 500, holding=5, only_with="OIL3" if oil.startswith("VEG") else None)
        for oil in OILS
    }
    program = food(bins=3, least_take=20.0, stocks=stocks)
    found = solved(program)
    assert found.feasible and found.gap == 0.0
    assert found.model.value == pytest.approx(100278.7037, abs=0.01)
    rates, _ = program.parts(found.x)
    assert ((rates > 1e-6).sum(axis=1) <= 3).all()


def test_what_cannot_be_kept_is_the_smallest_set() -> None:
    stocks = {oil: Stock(500, 0, 1000, 5000 if oil == "VEG1" else 500) for oil in OILS}
    program = food(stocks=stocks)
    _, _, said = program.rows
    names = [said[row] for row in conflict(program.region, range(len(said)))]
    assert names == [
        "VEG1: at least 5,000 t of it at the end of month 6",
        "VEG1: at most 1,000 t of it at the end of month 6",
    ]
