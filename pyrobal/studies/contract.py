"""What a concentrate costs by the terms of a contract, and what the metals and flows of the plant bring.

Money has no unit: any currency, the same one throughout. Payables, deductions, treatment and refining
charges, penalties and price participation as the trade writes them (Wellmer, Dalheimer & Wagner 2008,
Economic Evaluations in Exploration, ch. 4, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from pyrobal import units
from pyrobal.case import values
from pyrobal.case.document import Document
from pyrobal.errors import Fault
from pyrobal.fields import Quantity
from pyrobal.names import suggestion
from pyrobal.readings import registry
from pyrobal.streams.assay import ASSAY_NAMES

MARKET: Final = ("copper_price", "gold_price", "silver_price", "expense", "income")
PRECIOUS: Final = {"gold": "Au", "silver": "Ag"}
CONTRACT: Final = (
    "cost", "payable", "deduction", "treatment", "refining", "penalty", "participation",
    *(f"{metal}_{term}" for metal in PRECIOUS for term in ("payable", "deduction", "refining")),
)  # fmt: skip
_PENALTY: Final = ("above", "step", "each")
_PARTICIPATION: Final = ("above", "share")
_SHARE: Final = Quantity("%", "share of the dry solids", 0.0, 1.0)
_GRADE: Final = Quantity("g/t", "of dry solids", 0.0, 1.0)
# Plant unit of a flow -> amounts of it in an hour that are one unit of money's "per".
_PER_HOUR: Final = {
    "t/h": 1.0,
    "kg/h": 1.0,
    "Nm3/h": 1.0,
    "MW": 1.0,
    "kW": 1.0,
    "t/d": 1.0 / 24.0,
    "m3/h": 1.0,
}


@dataclass(frozen=True)
class Penalty:
    """``each`` per dry tonne for every ``step`` of an element above a free limit; shares in SI."""

    above: float
    step: float
    each: float


@dataclass(frozen=True)
class Payable:
    """A metal that is paid for: the lesser of a share of the assay and the assay less a deduction (SI), at
    the price less ``refining`` per tonne, of gold and silver per kilogram."""

    share: float = 1.0
    deduction: float = 0.0
    refining: float = 0.0

    def paid(self, assay: float) -> float:
        """Share of the dry solids that is paid for."""
        return max(min(self.share * assay, assay - self.deduction), 0.0)


@dataclass(frozen=True)
class Market:
    """Prices, and what flows of the plant bring or take.

    copper_price : money per tonne, None where no price is given; gold, silver : money per kilogram
    flows : reading -> money per hour for one plant unit of it: income positive, expense negative
    """

    copper_price: float | None = None
    gold_price: float = 0.0
    silver_price: float = 0.0
    flows: Mapping[str, float] = field(default_factory=dict)

    def price_of(self, metal: str) -> float:
        """Money per kilogram of gold or silver."""
        return {"gold": self.gold_price, "silver": self.silver_price}[metal]

    def brings(self, precious: Sequence[str]) -> dict[str, float]:
        """Reading -> money an hour for one plant unit, metals too; ``precious``: symbols of those there."""
        metals = {"recovered.Cu": 1e-3 * (self.copper_price or 0.0)}
        metals |= {
            f"recovered.{symbol}": self.price_of(metal)
            for metal, symbol in PRECIOUS.items()
            if symbol in precious and self.price_of(metal)
        }
        return {key: metals.get(key, 0.0) + self.flows.get(key, 0.0) for key in (*metals, *self.flows)}


@dataclass(frozen=True)
class Contract:
    """Terms on which a dry tonne is bought.

    cost : money per dry tonne delivered, instead of everything else
    precious : gold and silver, each as it is paid for; none without
    participation : price of copper above which the seller's price falls behind, and by which share
    """

    cost: float | None = None
    copper: Payable = Payable()
    precious: Mapping[str, Payable] = field(default_factory=dict)
    treatment: float = 0.0
    penalties: Mapping[str, Penalty] = field(default_factory=dict)
    participation: tuple[float, float] = (0.0, 0.0)

    def cost_per_tonne(self, assay: Mapping[str, float], market: Market) -> float:
        """Money per dry tonne delivered: what is paid for, less treatment charge and penalties.

        assay : line -> share of the dry solids
        """
        if self.cost is not None:
            return self.cost
        above, share = self.participation
        price = market.copper_price or 0.0
        price -= share * max(price - above, 0.0)
        value = self.copper.paid(assay.get("Cu", 0.0)) * (price - self.copper.refining)
        for metal, payable in self.precious.items():
            kilograms = 1e3 * payable.paid(assay.get(PRECIOUS[metal], 0.0))
            value += kilograms * (market.price_of(metal) - payable.refining)
        penalties = sum(
            p.each * max(assay.get(element, 0.0) - p.above, 0.0) / p.step
            for element, p in self.penalties.items()
        )
        return value - self.treatment - penalties


class MoneyReader:
    """Values of a document as prices and terms, with a fault for each that is wrong."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.faults: list[Fault] = list(document.slips)

    def market(self) -> Market:
        """Prices and flows at the top of the document."""
        raw = self.document.values
        gold, silver = (self.money(raw, f"{metal}_price", (), least=0.0) or 0.0 for metal in PRECIOUS)
        return Market(self.money(raw, "copper_price", (), least=0.0), gold, silver, dict(self._flows(raw)))

    def contract(self, raw: dict[str, Any], path: tuple[str | int, ...]) -> Contract:
        """Terms among the keys of a parcel."""
        terms = [key for key in CONTRACT[1:] if key in raw]
        if "cost" in raw and terms:
            self.wrong((*path, "cost"), f"stands alone, or {', '.join(terms)} without it")
        if "cost" in raw:
            return Contract(self.money(raw, "cost", path))
        return Contract(
            None,
            self._payable(raw, path, "", _SHARE),
            {
                metal: self._payable(raw, path, f"{metal}_", _GRADE)
                for metal in PRECIOUS
                if any(f"{metal}_{term}" in raw for term in ("payable", "deduction", "refining"))
            },
            self.money(raw, "treatment", path) or 0.0,
            dict(self._penalties(self.table(raw, "penalty", path), (*path, "penalty"))),
            self._participation(raw, path),
        )

    def _payable(
        self, raw: dict[str, Any], path: tuple[str | int, ...], metal: str, deducted: Quantity
    ) -> Payable:
        share = self.quantity(raw, f"{metal}payable", _SHARE, path)
        return Payable(
            1.0 if share is None else share,
            self.quantity(raw, f"{metal}deduction", deducted, path) or 0.0,
            self.money(raw, f"{metal}refining", path) or 0.0,
        )

    def _penalties(self, raw: dict[str, Any], path: tuple[str | int, ...]) -> Iterator[tuple[str, Penalty]]:
        for element in raw:
            here = (*path, element)
            table = self.table(raw, element, path)
            if element not in ASSAY_NAMES:
                self.wrong(here, f"is no line of an assay; {suggestion(element, ASSAY_NAMES)}")
            if not self.complete(table, _PENALTY, here):
                continue
            above, step = (self.quantity(table, key, _SHARE, here) for key in ("above", "step"))
            each = self.money(table, "each", here, least=0.0)
            if step == 0.0:
                self.wrong((*here, "step"), "is zero")
            elif above is not None and step is not None and each is not None:
                yield element, Penalty(above, step, each)

    def _participation(self, raw: dict[str, Any], path: tuple[str | int, ...]) -> tuple[float, float]:
        here = (*path, "participation")
        if "participation" not in raw or not self.complete(
            table := self.table(raw, "participation", path), _PARTICIPATION, here
        ):
            return 0.0, 0.0
        above = self.money(table, "above", here, least=0.0)
        return above or 0.0, self.quantity(table, "share", _SHARE, here) or 0.0

    def _flows(self, raw: dict[str, Any]) -> Iterator[tuple[str, float]]:
        known = {reading.key: reading for reading in registry.readings()}
        for section, sign in (("income", 1.0), ("expense", -1.0)):
            table = self.table(raw, section, ())
            for key in table:
                price = self.money(table, key, (section,))
                unit = known[key].unit_text.split(" or ")[0] if key in known else None
                if unit is None:
                    self.wrong((section, key), f"no reading has this key; {suggestion(key, known)}")
                elif unit not in _PER_HOUR:
                    self.wrong(
                        (section, key), f"is in {unit}; money is per amount of a flow, {', '.join(_PER_HOUR)}"
                    )
                elif price is not None:
                    yield key, sign * price * _PER_HOUR[unit]

    def quantity(
        self, raw: dict[str, Any], key: str, declared: Quantity, path: tuple[str | int, ...]
    ) -> float | None:
        """A value with its unit in SI; None where it is not there, or wrong."""
        if key not in raw:
            return None
        try:
            value = values.number(declared, raw[key])
        except ValueError as error:
            self.wrong((*path, key), str(error))
            return None
        return None if value is None else float(value[0])

    def money(
        self, raw: dict[str, Any], key: str, path: tuple[str | int, ...], least: float = -math.inf
    ) -> float | None:
        """A bare number; None where it is not there, or wrong."""
        if key not in raw:
            return None
        number = raw[key]
        if isinstance(number, bool) or not isinstance(number, int | float):
            self.wrong((*path, key), f"is {values.called(number)}; money is a bare number")
            return None
        try:
            found = units.finite(number, "-")
        except ValueError as error:
            self.wrong((*path, key), str(error))
            return None
        if found < least:
            self.wrong((*path, key), f"is {number:g}; it cannot be below {least:g}")
            return None
        return found

    def flag(self, raw: dict[str, Any], key: str, path: tuple[str | int, ...]) -> bool:
        """True or false; false where it is not there."""
        value = raw.get(key, False)
        if not isinstance(value, bool):
            self.wrong((*path, key), f"is {values.called(value)}; it is true or false, without quotes")
            return False
        return value

    def table(self, raw: dict[str, Any], key: str, path: tuple[str | int, ...]) -> dict[str, Any]:
        """A table; empty where it is not there, or wrong."""
        table = raw.get(key, {})
        if isinstance(table, dict):
            return table
        self.wrong((*path, key), f"is {values.called(table)}; a table is needed")
        return {}

    def known(self, raw: dict[str, Any], known: Sequence[str], path: tuple[str | int, ...]) -> None:
        """Notes every key that nothing reads."""
        for key in raw:
            if key not in known:
                self.wrong((*path, key), f"unknown key; {suggestion(key, known)}")

    def complete(self, raw: dict[str, Any], keys: Sequence[str], path: tuple[str | int, ...]) -> bool:
        """Whether a table has all of its keys; those it lacks or should not have are noted."""
        self.known(raw, keys, path)
        missing = [key for key in keys if key not in raw]
        if missing:
            self.wrong(path, f"needs {', '.join(missing)}")
        return not missing

    def wrong(self, path: tuple[str | int, ...], text: str) -> None:
        """Notes a fault."""
        self.faults.append(self.document.fault(path, ".".join(map(str, path)), text))
