"""What parcels of concentrate are offered, and on what terms: a TOML file beside the case.

    copper_price = 9200                    # money per tonne of copper the furnace recovers
    charge = "110 t/h"                     # dry blend; least_charge and most_charge for a range

    [parcel.Fenholt]                       # by the name it has in the case
    most = "60 t/h"                        # dry; least = "10 t/h" where a contract says so
    cost = 2350                            # money per dry tonne delivered; or by the terms of a contract:
    # payable = "96.5 %", deduction = "1 %", treatment = 80, refining = 180
    # penalty.As = { above = "0.2 %", step = "0.1 %", each = 3 }

    [expense]                              # money per unit of a flow, on top of the parcels
    "smelting.oxygen.industrial" = 0.07    # per Nm3
    "smelting.fuel_heat" = 35              # per MWh
    [income]
    "smelting.gas.acid_equivalent" = 20    # per t

Money has no unit: any currency, the same one throughout.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from pyrobal import units
from pyrobal.case import values
from pyrobal.case.document import Document
from pyrobal.case.load import Case
from pyrobal.case.read import read
from pyrobal.errors import CaseError, Fault
from pyrobal.fields import Quantity
from pyrobal.names import suggestion
from pyrobal.readings import registry
from pyrobal.streams.assay import ASSAY_NAMES

_TOP: Final = ("copper_price", "charge", "least_charge", "most_charge", "parcel", "expense", "income")
_PARCEL: Final = ("least", "most", "cost", "payable", "deduction", "treatment", "refining", "penalty")
_PENALTY: Final = ("above", "step", "each")
_RATE: Final = Quantity("t/h", "dry solids", 0.0)
_SHARE: Final = Quantity("%", "share of the dry solids", 0.0, 1.0)
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
class Parcel:
    """One concentrate on offer: least and most (SI), and what it costs."""

    name: str
    least: float
    most: float
    cost: float | None = None
    payable: float = 1.0
    deduction: float = 0.0
    treatment: float = 0.0
    refining: float = 0.0
    penalties: Mapping[str, Penalty] = field(default_factory=dict)

    def cost_per_tonne(self, assay: Mapping[str, float], copper_price: float) -> float:
        """Money per dry tonne delivered.

        By contract: the payable copper, the lesser of a share of the assay and the assay less a deduction, at
        the price less the refining charge; less the treatment charge and the penalties.
        """
        if self.cost is not None:
            return self.cost
        copper = assay.get("Cu", 0.0)
        paid = max(min(self.payable * copper, copper - self.deduction), 0.0)
        penalties = sum(
            p.each * max(assay.get(element, 0.0) - p.above, 0.0) / p.step
            for element, p in self.penalties.items()
        )
        return paid * (copper_price - self.refining) - self.treatment - penalties


@dataclass(frozen=True)
class Terms:
    """The market of a blend.

    copper_price : money per tonne recovered, None where no price is given
    least_charge, most_charge : of the dry blend, SI; None where the case's own rate stands
    flows : reading -> money per hour for one plant unit of it: income positive, expense negative
    """

    parcels: tuple[Parcel, ...]
    copper_price: float | None = None
    least_charge: float | None = None
    most_charge: float | None = None
    flows: Mapping[str, float] = field(default_factory=dict)


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
    document = read(source)
    reader = _Reader(document, case, list(document.slips))
    terms = reader.terms()
    if reader.faults:
        raise CaseError(sorted(reader.faults, key=lambda fault: fault.line or 0))
    return terms


@dataclass
class _Reader:
    """Values of the document as terms, with a fault for each that is wrong."""

    document: Document
    case: Case
    faults: list[Fault]

    def terms(self) -> Terms:
        raw = self.document.values
        self._known(raw, _TOP, ())
        charge = self._quantity(raw, "charge", _RATE, ())
        return Terms(
            tuple(self._parcels(self._table(raw, "parcel", ()))),
            self._money(raw, "copper_price", (), least=0.0),
            self._quantity(raw, "least_charge", _RATE, ()) if charge is None else charge,
            self._quantity(raw, "most_charge", _RATE, ()) if charge is None else charge,
            dict(self._flows(raw)),
        )

    def _parcels(self, raw: dict[str, Any]) -> Iterator[Parcel]:
        offered = {c.name for c in self.case.inputs.concentrate}
        if not raw:
            self._wrong(("parcel",), "no [parcel.<name>] is offered")
        for name in raw:
            if name not in offered:
                self._wrong(
                    ("parcel", name), f"the case has no such concentrate; {suggestion(name, offered)}"
                )
            else:
                yield self._parcel(name, self._table(raw, name, ("parcel",)))

    def _parcel(self, name: str, raw: dict[str, Any]) -> Parcel:
        path = ("parcel", name)
        self._known(raw, _PARCEL, path)
        least = self._quantity(raw, "least", _RATE, path) or 0.0
        most = self._quantity(raw, "most", _RATE, path)
        if most is None and "most" not in raw:
            self._wrong(path, 'needs the most there is of it, e.g. most = "60 t/h"')
        if most is not None and least > most:
            self._wrong((*path, "least"), "is more than most")
        contract = [key for key in ("payable", "deduction", "treatment", "refining", "penalty") if key in raw]
        if "cost" in raw and contract:
            self._wrong((*path, "cost"), f"stands alone, or {', '.join(contract)} without it")
        payable = self._quantity(raw, "payable", _SHARE, path)
        return Parcel(
            name,
            least,
            least if most is None else most,
            self._money(raw, "cost", path),
            1.0 if payable is None else payable,
            self._quantity(raw, "deduction", _SHARE, path) or 0.0,
            self._money(raw, "treatment", path) or 0.0,
            self._money(raw, "refining", path) or 0.0,
            dict(self._penalties(self._table(raw, "penalty", path), (*path, "penalty"))),
        )

    def _penalties(self, raw: dict[str, Any], path: tuple[str, ...]) -> Iterator[tuple[str, Penalty]]:
        for element in raw:
            here = (*path, element)
            table = self._table(raw, element, path)
            if element not in ASSAY_NAMES:
                self._wrong(here, f"is no line of an assay; {suggestion(element, ASSAY_NAMES)}")
            self._known(table, _PENALTY, here)
            missing = [key for key in _PENALTY if key not in table]
            if missing:
                self._wrong(here, f"needs {', '.join(missing)}")
                continue
            above, step = (self._quantity(table, key, _SHARE, here) for key in ("above", "step"))
            each = self._money(table, "each", here, least=0.0)
            if step == 0.0:
                self._wrong((*here, "step"), "is zero")
            elif above is not None and step is not None and each is not None:
                yield element, Penalty(above, step, each)

    def _flows(self, raw: dict[str, Any]) -> Iterator[tuple[str, float]]:
        known = {reading.key: reading for reading in registry.readings()}
        for section, sign in (("income", 1.0), ("expense", -1.0)):
            table = self._table(raw, section, ())
            for key in table:
                price = self._money(table, key, (section,))
                unit = known[key].unit_text.split(" or ")[0] if key in known else None
                if unit is None:
                    self._wrong((section, key), f"no reading has this key; {suggestion(key, known)}")
                elif unit not in _PER_HOUR:
                    self._wrong(
                        (section, key), f"is in {unit}; money is per amount of a flow, {', '.join(_PER_HOUR)}"
                    )
                elif price is not None:
                    yield key, sign * price * _PER_HOUR[unit]

    def _quantity(
        self, raw: dict[str, Any], key: str, declared: Quantity, path: tuple[str, ...]
    ) -> float | None:
        if key not in raw:
            return None
        try:
            value = values.number(declared, raw[key])
        except ValueError as error:
            self._wrong((*path, key), str(error))
            return None
        return None if value is None else float(value[0])

    def _money(
        self, raw: dict[str, Any], key: str, path: tuple[str, ...], least: float = -math.inf
    ) -> float | None:
        if key not in raw:
            return None
        number = raw[key]
        if isinstance(number, bool) or not isinstance(number, int | float):
            self._wrong((*path, key), f"is {values.called(number)}; money is a bare number")
            return None
        try:
            found = units.finite(number, "-")
        except ValueError as error:
            self._wrong((*path, key), str(error))
            return None
        if found < least:
            self._wrong((*path, key), f"is {number:g}; it cannot be below {least:g}")
            return None
        return found

    def _table(self, raw: dict[str, Any], key: str, path: tuple[str, ...]) -> dict[str, Any]:
        table = raw.get(key, {})
        if isinstance(table, dict):
            return table
        self._wrong((*path, key), f"is {values.called(table)}; a table is needed")
        return {}

    def _known(self, raw: dict[str, Any], known: tuple[str, ...], path: tuple[str, ...]) -> None:
        for key in raw:
            if key not in known:
                self._wrong((*path, key), f"unknown key; {suggestion(key, known)}")

    def _wrong(self, path: tuple[str, ...], text: str) -> None:
        self.faults.append(self.document.fault(path, ".".join(path), text))
