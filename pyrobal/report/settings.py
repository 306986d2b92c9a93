"""Every setting of a case by its dotted key, read off the declarations: the way back from ``Inputs``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pyrobal import units
from pyrobal.arrays import FloatN
from pyrobal.case.schema import columns
from pyrobal.fields import Assay, Declaration, Precision, Quantity, Table
from pyrobal.fields import declared as fields
from pyrobal.flowsheet.inputs import SECTIONS, Inputs
from pyrobal.streams.fuel import FuelSettings


@dataclass(frozen=True)
class Setting:
    """One setting as the case has it.

    value : (N,) in SI, or a word
    unit : plant unit; "" of a word
    """

    key: str
    value: FloatN | str
    unit: str
    meaning: str

    def text(self, digits: int = 6) -> str:
        """As a person writes it: "62 vol%"; a range where scenarios differ."""
        if isinstance(self.value, str):
            return self.value
        low, high = float(self.value.min()), float(self.value.max())
        if low == high:
            return units.write(low, self.unit, digits)
        return f"{units.display(low, self.unit):.{digits}g} to {units.write(high, self.unit, digits)}"


def settings(inputs: Inputs) -> dict[str, Setting]:
    """All of them in the order of a case file, absent ones left out."""
    found = (_setting(key, declared, value, share) for key, value, declared, share in _walk(inputs))
    return {setting.key: setting for part in found for setting in part}


def tables(inputs: Inputs) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """The tables of shares of a case with the keys they stand under: assays, minerals, deportment."""
    for key, value, declared, _ in _walk(inputs):
        if isinstance(declared, Assay | Table):
            yield key, value


def _walk(inputs: Inputs) -> Iterator[tuple[str, Any, Declaration, str]]:
    """Key, value, declaration, and the unit that shares within it have."""
    for section in SECTIONS:
        for key, node in _tables(section, getattr(inputs, section)):
            for name, declared in fields(node).items():
                home = key if isinstance(node, FuelSettings) and name == "composition" else f"{key}.{name}"
                yield home, getattr(node, name), declared, _share_unit(node)


def _tables(section: str, node: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(node, tuple):
        yield from ((f"{section}.{item.name}", item) for item in node)
    elif isinstance(node, Mapping):
        yield from ((f"{section}.{name}", item) for name, item in node.items())
    elif node is not None:
        yield section, node


def _share_unit(node: Any) -> str:
    return "vol%" if isinstance(node, FuelSettings) and node.kind == "gas" else "wt%"


def _setting(key: str, declared: Declaration, value: Any, share: str) -> Iterator[Setting]:
    match declared:
        case Quantity(word=str() as word) if value is None:
            yield Setting(key, word, "", declared.meaning)
        case Quantity(unit=unit) if value is not None:
            yield Setting(key, value, unit, declared.meaning)
        case Assay(meaning=meaning):
            yield from (Setting(f"{key}.{name}", x, share, meaning) for name, x in value.items())
        case Precision(meaning=meaning):
            yield from (Setting(f"{key}.{name}", d.text(), "", meaning) for name, d in value.items())
        case Table(meaning=meaning):
            units = {name: one.unit for name, one in columns(key.partition(".")[0], declared)[1].items()}
            flat = {(element, name): x for element, row in value.items() for name, x in row.items()}
            yield from (
                Setting(f"{key}.{e}.{name}", x, units[name], meaning) for (e, name), x in flat.items()
            )
        case _ if isinstance(value, str):
            yield Setting(key, value, "", declared.meaning)
