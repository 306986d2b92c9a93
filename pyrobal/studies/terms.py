"""What parcels of concentrate are offered, and on what terms: a TOML file beside the case.

    copper_price = 9200                    # money per tonne of copper the furnace recovers
    gold_price = 85000                     # money per kilogram recovered; silver_price likewise
    charge = "110 t/h"                     # dry blend; least_charge and most_charge for a range

    [parcel.Fenholt]                       # by the name it has in the case
    most = "60 t/h"                        # dry; least = "10 t/h" where a contract says so
    cost = 2350                            # money per dry tonne delivered; or by the terms of a contract:
    # payable = "96.5 %", deduction = "1 %", treatment = 80, refining = 180
    # gold_payable = "97 %", gold_deduction = "1 g/t", gold_refining = 150; silver likewise, per kilogram
    # penalty.As = { above = "0.2 %", step = "0.1 %", each = 3 }
    # participation = { above = 8500, share = "10 %" }   of the copper price above that, kept by the smelter
    # whole = true                         all of "most" or none

    [expense]                              # money per unit of a flow, on top of the parcels
    "smelting.oxygen.industrial" = 0.07    # per Nm3
    "smelting.fuel_heat" = 35              # per MWh
    [income]
    "smelting.gas.acid_equivalent" = 20    # per t

Money has no unit: any currency, the same one throughout.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from pyrobal.case.load import Case
from pyrobal.case.read import read
from pyrobal.errors import CaseError
from pyrobal.fields import Quantity
from pyrobal.names import suggestion
from pyrobal.studies.contract import CONTRACT, MARKET, Contract, Market, MoneyReader

_TOP: Final = (*MARKET, "charge", "least_charge", "most_charge", "parcel")
_PARCEL: Final = ("least", "most", "whole", *CONTRACT)
_RATE: Final = Quantity("t/h", "dry solids", 0.0)


@dataclass(frozen=True)
class Parcel:
    """One concentrate on offer: least and most (SI), whether it comes whole or not at all, and its terms."""

    name: str
    least: float
    most: float
    contract: Contract = Contract()
    whole: bool = False


@dataclass(frozen=True)
class Terms:
    """The market of a blend.

    least_charge, most_charge : of the dry blend, SI; None where the case's own rate stands
    """

    parcels: tuple[Parcel, ...]
    market: Market = Market()
    least_charge: float | None = None
    most_charge: float | None = None


def without_prices(case: Case) -> Terms:
    """Every concentrate of the case, as much of it as the whole blend."""
    most = charge_of(case)
    return Terms(tuple(Parcel(c.name, 0.0, most) for c in case.inputs.concentrate))


def charge_of(case: Case) -> float:
    """Dry blend of the case as it is, in SI."""
    inputs = case.inputs
    if inputs.charge.rate is not None:
        return float(inputs.charge.rate[0])
    return sum(float(c.rate[0]) for c in inputs.concentrate if c.rate is not None)


def load_terms(case: Case, source: str | Path) -> Terms:
    """The terms in a file. Raises CaseError with every fault, each with its line."""
    reader = _Reader(read(source))
    terms = reader.terms({c.name for c in case.inputs.concentrate})
    if reader.faults:
        raise CaseError(sorted(reader.faults, key=lambda fault: fault.line or 0))
    return terms


class _Reader(MoneyReader):
    """Values of the document as terms."""

    def terms(self, offered: set[str]) -> Terms:
        raw = self.document.values
        self.known(raw, _TOP, ())
        charge = self.quantity(raw, "charge", _RATE, ())
        return Terms(
            tuple(self._parcels(self.table(raw, "parcel", ()), offered)),
            self.market(),
            self.quantity(raw, "least_charge", _RATE, ()) if charge is None else charge,
            self.quantity(raw, "most_charge", _RATE, ()) if charge is None else charge,
        )

    def _parcels(self, raw: dict[str, Any], offered: set[str]) -> Iterator[Parcel]:
        if not raw:
            self.wrong(("parcel",), "no [parcel.<name>] is offered")
        for name in raw:
            if name not in offered:
                self.wrong(("parcel", name), f"the case has no such concentrate; {suggestion(name, offered)}")
            else:
                yield self._parcel(name, self.table(raw, name, ("parcel",)))

    def _parcel(self, name: str, raw: dict[str, Any]) -> Parcel:
        path = ("parcel", name)
        self.known(raw, _PARCEL, path)
        least = self.quantity(raw, "least", _RATE, path) or 0.0
        most = self.quantity(raw, "most", _RATE, path)
        whole = self.flag(raw, "whole", path)
        if most is None and "most" not in raw:
            self.wrong(path, 'needs the most there is of it, e.g. most = "60 t/h"')
        if most is not None and least > most:
            self.wrong((*path, "least"), "is more than most")
        if whole and least:
            self.wrong((*path, "least"), "stands without whole, which takes all of it or none")
        return Parcel(name, least, least if most is None else most, self.contract(raw, path), whole)
