"""A plan as a problem of optimisation: what of each lot is fed in each period, and which parcels are taken.

The unknowns, in this order: rates (T, L) [t/h]; shares (P,) of the parcels; and, where there are few bins,
a least take or a companion, whether a lot is in a blend, 0 or 1 (T, L). Stocks follow from them. T counts the
periods, L the lots, P the parcels.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from pyrobal.arrays import FloatN, Floats
from pyrobal.studies.linear import Region
from pyrobal.studies.plan.periods import PLENTY, Plan, Stock
from pyrobal.studies.search import FEASIBLE, Model


@dataclass(frozen=True, eq=False)
class Fed:
    """The plant in every period: money an hour (T,) and its slopes (T, L); rooms (m,) over their scales with
    slopes (m, L), each of the period its number in ``periods`` (m,) says."""

    money: FloatN
    slopes: Floats
    rooms: FloatN
    room_slopes: Floats
    periods: list[int]


class Plant(Protocol):
    """What becomes of blends."""

    def at(self, rates: Floats) -> Fed:
        """Rates (T, L) [t/h] of the lots."""
        ...


@dataclass(frozen=True, eq=False)
class Program:
    """The problem for ``search.climb``.

    costs : (P,) money per tonne of each parcel; least, most : t/h of all lots together
    looked : told the value of each point, -inf where it breaks a limit
    """

    plan: Plan
    plant: Plant
    costs: FloatN
    least: float
    most: float
    looked: Callable[[float], object] = lambda _: None

    @property
    def shape(self) -> tuple[int, int, int]:
        """T, L, P."""
        return len(self.plan.periods), len(self.plan.lots), len(self.plan.deliveries)

    @cached_property
    def hours(self) -> FloatN:
        """(T,)."""
        return np.array([period.hours for period in self.plan.periods])

    @cached_property
    def stocks(self) -> tuple[Stock, ...]:
        """(L,); nothing at the start, and room for all, where none is stated."""
        return tuple(self.plan.stocks.get(lot, Stock()) for lot in self.plan.lots)

    @cached_property
    def choice(self) -> bool:
        """Whether it matters that a lot is in a blend at all."""
        return bool(self.plan.bins or self.plan.least_take or any(s.only_with for s in self.stocks))

    @cached_property
    def stock_rows(self) -> tuple[Floats, Floats]:
        """Stocks at the end of the periods: (T, L, n) slopes to the unknowns, and (T, L) the start."""
        T, L, _ = self.shape
        slopes = np.zeros((T, L, len(self.region_width)))
        for t in range(T):
            for k in range(L):
                slopes[t, k, np.arange(t + 1) * L + k] = -self.hours[: t + 1]
            for p, one in enumerate(self.plan.deliveries):
                if one.arrives <= t:
                    slopes[t, self.plan.lots.index(one.lot), T * L + p] = one.tonnes
        return slopes, np.tile([float(stock.start) for stock in self.stocks], (T, 1))

    @cached_property
    def region_width(self) -> range:
        """Numbers of the unknowns."""
        T, L, P = self.shape
        return range(T * L * (1 + self.choice) + P)

    def parts(self, x: FloatN) -> tuple[Floats, FloatN]:
        """Rates (T, L) and shares of the parcels (P,) of a point."""
        T, L, P = self.shape
        return np.maximum(x[: T * L], 0.0).reshape(T, L), x[T * L : T * L + P]

    def left(self, x: FloatN) -> Floats:
        """(T, L) [t] in stock at the end of each period."""
        slopes, start = self.stock_rows
        return start + slopes @ x

    @cached_property
    def rows(self) -> tuple[Floats, FloatN, tuple[str, ...]]:
        """A, b of A x <= b, and what each row says."""
        rows: list[FloatN] = []
        bounds: list[float] = []
        said: list[str] = []

        def hold(row: FloatN, bound: float, text: str) -> None:
            rows.append(row)
            bounds.append(bound)
            said.append(text)

        self._hold_stocks(hold)
        self._hold_charge(hold)
        if self.choice:
            self._hold_choice(hold)
        return np.array(rows), np.array(bounds), tuple(said)

    def _hold_stocks(self, hold: Callable[[FloatN, float, str], None]) -> None:
        slopes, start = self.stock_rows
        for t, period in enumerate(self.plan.periods):
            last = t == len(self.plan.periods) - 1
            for k, (lot, stock) in enumerate(zip(self.plan.lots, self.stocks, strict=True)):
                least = max(stock.least, stock.end) if last else stock.least
                there = "what there is of it" if least == 0.0 else f"at least {least:,.5g} t of it"
                hold(-slopes[t, k], start[t, k] - least, f"{lot}: {there} at the end of {period.name}")
                if stock.most < PLENTY:
                    text = f"{lot}: at most {stock.most:,.5g} t of it at the end of {period.name}"
                    hold(slopes[t, k], stock.most - start[t, k], text)

    def _hold_charge(self, hold: Callable[[FloatN, float, str], None]) -> None:
        L = len(self.plan.lots)
        for t, period in enumerate(self.plan.periods):
            row = np.zeros(len(self.region_width))
            row[t * L : (t + 1) * L] = 1.0
            hold(row, self.most, f"{period.name}: at most {self.most:.5g} t/h fed")
            hold(-row, -self.least, f"{period.name}: at least {self.least:.5g} t/h fed")

    def _hold_choice(self, hold: Callable[[FloatN, float, str], None]) -> None:
        T, L, P = self.shape
        unit = np.eye(len(self.region_width))
        for t, period in enumerate(self.plan.periods):
            inside = unit[T * L + P + t * L : T * L + P + (t + 1) * L]  # (L, n)
            for k, (lot, stock) in enumerate(zip(self.plan.lots, self.stocks, strict=True)):
                rate = unit[t * L + k]
                where = f"{period.name}, {lot}:"
                hold(rate - self.most * inside[k], 0.0, f"{where} fed only where it is in the blend")
                if self.plan.least_take:
                    take = self.plan.least_take
                    hold(
                        take * inside[k] - rate,
                        0.0,
                        f"{where} {take:g} t/h or none",
                    )
                if stock.only_with is not None:
                    other = self.plan.lots.index(stock.only_with)
                    hold(inside[k] - inside[other], 0.0, f"{where} only with {stock.only_with}")
            if self.plan.bins:
                hold(
                    inside.sum(axis=0),
                    self.plan.bins,
                    f"{period.name}: at most {self.plan.bins} concentrates",
                )

    @cached_property
    def region(self) -> Region:
        """Where the unknowns may be."""
        T, L, P = self.shape
        A, b, _ = self.rows
        choices = T * L * self.choice
        firm, whole = (
            np.array([getattr(d, f) for d in self.plan.deliveries], dtype=bool) for f in ("firm", "whole")
        )
        return Region.of(
            np.concatenate([np.zeros(T * L), firm.astype(float), np.zeros(choices)]),
            np.concatenate([np.full(T * L, self.most), np.ones(P + choices)]),
            A,
            b,
            np.concatenate([np.zeros(T * L, dtype=bool), whole & ~firm, np.ones(choices, dtype=bool)]),
            np.concatenate([np.zeros(T * L, dtype=bool), np.ones(P + choices, dtype=bool)]),
        )

    def model(self, x: FloatN) -> Model:
        """Money of the whole plan, rooms of every limit in every period, and their slopes."""
        T, L, P = self.shape
        rates, shares = self.parts(x)
        fed = self.plant.at(rates)
        gradient = np.zeros(len(x))
        gradient[: T * L] = (self.hours[:, None] * fed.slopes).ravel()
        bought = self.costs * np.array([d.tonnes for d in self.plan.deliveries])
        gradient[T * L : T * L + P] = -bought
        slopes, _ = self.stock_rows
        price = -np.tile([float(stock.holding) for stock in self.stocks], (T, 1))
        price[-1] += [stock.worth for stock in self.stocks]
        value = float(self.hours @ fed.money - bought @ shares + (price * self.left(x)).sum())
        rooms = np.zeros((len(fed.rooms), len(x)))
        for i, t in enumerate(fed.periods):
            rooms[i, t * L : (t + 1) * L] = fed.room_slopes[i]
        self.looked(value if (fed.rooms >= -FEASIBLE).all() else -np.inf)
        return Model(value, gradient + np.tensordot(price, slopes, 2), fed.rooms, rooms)
