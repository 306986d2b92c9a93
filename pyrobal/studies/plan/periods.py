"""What a plan is made from: periods, parcels that arrive, stocks between them. A TOML file beside the case:

    copper_price = 9200                    # money per tonne; gold_price and silver_price per kilogram
    charge = "110 t/h"                     # dry blend; least_charge and most_charge for a range
    bins = 4                               # at most so many concentrates in the blend of a period
    least_take = "2 t/h"                   # of a concentrate that is in the blend at all
    [[period]]
    name = "March"
    days = 31
    stopped = "3 d"
    [[parcel]]
    lot = "Kelda"                          # a concentrate or lot of the case; name = "..." tells two apart
    tonnes = "12000 t"                     # dry
    arrives = "March"
    whole = true                           # all of it or none; firm = true: already bought
    treatment = 80                         # and the other terms of a contract, as ``blend --terms`` has them
    [stock.Kelda]
    start = "3000 t"
    least = "500 t"                        # at the end of every period; end = "500 t" at the end of the plan
    most = "15000 t"
    worth = 1450                           # money per dry tonne left at the end
    holding = 5                            # money per dry tonne in stock at the end of a period
    only_with = "Tolven"                   # not in a blend without that one
    [[limit]]                              # as in a case; in = "March" for one period
    reading = "feed.assay.As"
    most = "0.25 %"

A parcel is there from the first day of its period; stocks are those at the end of one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from pyrobal.case.load import Case
from pyrobal.case.read import read
from pyrobal.constants import TONNE_PER_HOUR
from pyrobal.errors import CaseError
from pyrobal.fields import Quantity
from pyrobal.names import suggestion
from pyrobal.studies.contract import CONTRACT, MARKET, Contract, Market, MoneyReader
from pyrobal.studies.limit import Limit, limits

_TOP: Final = (
    *MARKET, "charge", "least_charge", "most_charge", "bins", "least_take",
    "period", "parcel", "stock", "limit",
)  # fmt: skip
_PERIOD: Final = ("name", "days", "stopped")
_PARCEL: Final = ("name", "lot", "tonnes", "arrives", "whole", "firm", *CONTRACT)
_STOCK: Final = ("start", "least", "most", "end", "worth", "holding", "only_with")
_LIMIT: Final = ("name", "reading", "most", "least", "in")
_RATE: Final = Quantity("t/h", "dry solids", 0.0)
_MASS: Final = Quantity("t", "dry solids", 0.0)
_TIME: Final = Quantity("d", "of the period", 0.0)
_TONNE, _DAY, _HOURS = 1e3, 86400.0, 24.0
PLENTY: Final = 1e7  # t; the room of a stock without a most


@dataclass(frozen=True)
class Period:
    """hours : in which the furnace is fed."""

    name: str
    hours: float


@dataclass(frozen=True)
class Delivery:
    """A parcel: ``tonnes`` of a lot, there from the first day of period number ``arrives``.

    whole : all of it or none; firm : it is bought already
    """

    name: str
    lot: str
    tonnes: float
    arrives: int
    contract: Contract = Contract()
    whole: bool = False
    firm: bool = False


@dataclass(frozen=True)
class Stock:
    """Tonnes of a lot at the start, least and most at the end of each period, least at the end of the plan.

    worth : money per tonne left at the end; holding : money per tonne at the end of each period
    only_with : a lot without which it is in no blend
    """

    start: float = 0.0
    least: float = 0.0
    most: float = PLENTY
    end: float = 0.0
    worth: float = 0.0
    holding: float = 0.0
    only_with: str | None = None


@dataclass(frozen=True)
class Held:
    """A limit in every period, or in one."""

    limit: Limit
    period: int | None = None


@dataclass(frozen=True)
class Plan:
    """Everything a plan is made from.

    least_charge, most_charge : t/h of the whole blend; None where the case's own rate stands
    bins : most concentrates in a blend; least_take : t/h of one that is in it
    """

    periods: tuple[Period, ...]
    deliveries: tuple[Delivery, ...]
    stocks: Mapping[str, Stock] = field(default_factory=dict)
    market: Market = Market()
    least_charge: float | None = None
    most_charge: float | None = None
    bins: int | None = None
    least_take: float = 0.0
    limits: tuple[Held, ...] = ()

    @property
    def lots(self) -> tuple[str, ...]:
        """Those that arrive or are in stock."""
        return tuple(dict.fromkeys([*self.stocks, *(d.lot for d in self.deliveries)]))

    def later(self, i: int) -> Plan:
        """The same where a parcel is a period late."""
        late = replace(self.deliveries[i], arrives=self.deliveries[i].arrives + 1)
        return replace(self, deliveries=(*self.deliveries[:i], late, *self.deliveries[i + 1 :]))


def load_plan(case: Case, source: str | Path) -> Plan:
    """The plan in a file. Raises CaseError with every fault, each with its line."""
    reader = _Reader(read(source))
    plan = reader.plan(case)
    if reader.faults:
        raise CaseError(sorted(reader.faults, key=lambda fault: fault.line or 0))
    return plan


class _Reader(MoneyReader):
    """Values of the document as a plan."""

    def plan(self, case: Case) -> Plan:
        raw = self.document.values
        self.known(raw, _TOP, ())
        offered = [c.name for c in case.inputs.concentrate]
        periods = tuple(self._periods())
        names = [period.name for period in periods]
        stocks = {lot: self._stock(lot, offered) for lot in self.table(raw, "stock", ())}
        charge = self._tonnes_per_hour(raw, "charge")
        ends = [self._tonnes_per_hour(raw, f"{end}_charge") for end in ("least", "most")]
        least, most = (end if charge is None else charge for end in ends)
        if least is not None and most is not None and least > most:
            self.wrong(("least_charge",), "is more than most_charge")
        return Plan(
            periods,
            tuple(self._deliveries(offered, names)),
            stocks,
            self.market(),
            least,
            most,
            self._bins(raw),
            self._tonnes_per_hour(raw, "least_take") or 0.0,
            tuple(self._limits(case, names)),
        )

    def _tonnes_per_hour(self, raw: dict[str, Any], key: str) -> float | None:
        found = self.quantity(raw, key, _RATE, ())
        return None if found is None else found / TONNE_PER_HOUR

    def _bins(self, raw: dict[str, Any]) -> int | None:
        bins = raw.get("bins")
        if bins is None:
            return None
        if isinstance(bins, bool) or not isinstance(bins, int) or bins < 1:
            self.wrong(("bins",), "is a whole number of concentrates, 1 or more")
            return None
        return bins

    def _items(self, key: str, known: Sequence[str]) -> Iterator[tuple[tuple[str, int], dict[str, Any]]]:
        """The tables of an array, with the path of each."""
        items = self.document.values.get(key, [])
        if not isinstance(items, list) or not all(isinstance(item, dict) for item in items):
            self.wrong((key,), f"is written as [[{key}]]")
            return
        for i, item in enumerate(items):
            self.known(item, known, (key, i))
            yield (key, i), item

    def _name(
        self, item: dict[str, Any], key: str, path: tuple[str, int], otherwise: str | None = None
    ) -> str:
        name = item.get(key, otherwise)
        if not isinstance(name, str) or not name.strip():
            self.wrong(path, f"needs {key}, a text in quotes")
            return "?"
        return name

    def _periods(self) -> Iterator[Period]:
        taken: set[str] = set()
        for path, item in self._items("period", _PERIOD):
            name = self._name(item, "name", path)
            if name in taken:
                self.wrong((*path, "name"), f'the name "{name}" is given twice')
            taken.add(name)
            days = self.money(item, "days", path, least=0.0)
            stopped = (self.quantity(item, "stopped", _TIME, path) or 0.0) / _DAY
            if "days" not in item:
                self.wrong(path, "needs days")
            elif days is not None and days <= stopped:
                key = "days" if days == 0.0 else "stopped"
                self.wrong((*path, key), f'"{name}" has no day on which the furnace is fed')
            yield Period(name, max((days or 0.0) - stopped, 0.0) * _HOURS)
        if not taken:
            self.wrong(("period",), "no [[period]] is planned")

    def _deliveries(self, offered: Sequence[str], periods: Sequence[str]) -> Iterator[Delivery]:
        taken: set[str] = set()
        for path, item in self._items("parcel", _PARCEL):
            lot = self._name(item, "lot", path)
            name = self._name(item, "name", path, lot)
            arrives = self._name(item, "arrives", path)
            tonnes = self.quantity(item, "tonnes", _MASS, path)
            if name in taken:
                self.wrong(path, f'the name "{name}" is given twice; name = "..." tells them apart')
            taken.add(name)
            if lot not in (*offered, "?"):
                self.wrong((*path, "lot"), f"is no lot of the case; {suggestion(lot, offered)}")
            if arrives not in (*periods, "?"):
                self.wrong(
                    (*path, "arrives"),
                    f"is no period; {suggestion(arrives, periods)}",
                )
            if "tonnes" not in item:
                self.wrong(path, 'needs tonnes, e.g. tonnes = "12000 t"')
            number = periods.index(arrives) if arrives in periods else 0
            flags = {key: self.flag(item, key, path) for key in ("whole", "firm")}
            yield Delivery(name, lot, (tonnes or 0.0) / _TONNE, number, self.contract(item, path), **flags)

    def _stock(self, lot: str, offered: Sequence[str]) -> Stock:
        path = ("stock", lot)
        raw = self.table(self.document.values["stock"], lot, ("stock",))
        self.known(raw, _STOCK, path)
        if lot not in offered:
            self.wrong(path, f"is no lot of the case; {suggestion(lot, offered)}")
        mass = {key: self.quantity(raw, key, _MASS, path) for key in ("start", "least", "most", "end")}
        tonnes = {key: value / _TONNE for key, value in mass.items() if value is not None}
        money = {key: self.money(raw, key, path) or 0.0 for key in ("worth", "holding")}
        if tonnes.get("least", 0.0) > tonnes.get("most", PLENTY):
            self.wrong((*path, "least"), "is more than most")
        other = raw.get("only_with")
        if other is not None and other not in offered:
            self.wrong((*path, "only_with"), f"is no lot; {suggestion(str(other), offered)}")
        return Stock(**tonnes, **money, only_with=other)

    def _limits(self, case: Case, periods: Sequence[str]) -> Iterator[Held]:
        for path, item in self._items("limit", _LIMIT):
            sides = [side for side in ("most", "least") if side in item]
            reading = self._name(item, "reading", path)
            within = item.get("in")
            if within is not None and within not in periods:
                self.wrong((*path, "in"), f"no period has this name; {suggestion(str(within), periods)}")
                continue
            if len(sides) != 1:
                self.wrong(path, "needs a bound, most or least")
                continue
            sign = "<=" if sides[0] == "most" else ">="
            try:
                (limit,) = limits(case, [f"{reading} {sign} {item[sides[0]]}"])
            except CaseError as error:
                self.wrong((*path, sides[0]), "; ".join(fault.text for fault in error.faults))
                continue
            named = replace(limit, name=str(item.get("name", "")))
            yield Held(named, None if within is None else periods.index(within))
