"""Every setting a case file can hold, in plant units: read off the declarations, kept nowhere else."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from pyrobal import units
from pyrobal.case.schema import DISTRIBUTION, ITEMS, Shape, nested, required, shape, written
from pyrobal.case.values import bounds
from pyrobal.fields import (
    Assay,
    Bound,
    Choice,
    Declaration,
    Precision,
    Quantity,
    ReadingKey,
    Table,
    Text,
    declarations,
)
from pyrobal.flowsheet.inputs import SECTIONS
from pyrobal.streams.fuel import FuelSettings

OF_READING: Final = "reading's"  # unit of a bound


@dataclass(frozen=True)
class Setting:
    """One line of the registry.

    key : dotted, with ``<name>`` where the user chooses it and ``<X>`` for an element or compound
    unit : plant unit, "-" for a bare number, "" for a word
    default : as a person writes it; "required", or "none" where it may be absent
    allowed : range, or the words on offer
    """

    key: str
    unit: str
    default: str
    allowed: str
    meaning: str


_LONGEST = 20  # letters of names that stand in a key; more of them only lengthen it


def settings() -> Iterator[Setting]:
    """The whole registry, in the order of the case file."""
    yield Setting("title", "", "untitled case", "any text", "title of the case")
    for section, kind in SECTIONS.items():
        yield from _settings(f"{section}.{_middle(section)}", kind)
    yield Setting("upset.<name>.<section>.<setting>", "", "none", "as of that setting",
                  "any setting that is another one in these hours")  # fmt: skip


def _settings(prefix: str, kind: type) -> Iterator[Setting]:
    for name, declared in written(kind).items():
        if isinstance(declared, Table) and declared.allowed == "distribution":
            for column, one in DISTRIBUTION.items():
                allowed = bounds(one.low, one.high, one.unit)
                yield Setting(f"{prefix}{name}.<X>.{column}", one.unit, "none", allowed, one.meaning)
            continue
        yield _setting(f"{prefix}{name}", declared, _default(kind, name))
    if kind is FuelSettings:
        meaning = declarations(kind)["composition"].meaning
        yield Setting(f"{prefix}<X>", "vol%/wt%", "none", "0 to 100", meaning)
    for name, within in nested(kind).items():
        yield from _settings(f"{prefix}{name}.", within)


def matching(prefix: str) -> list[Setting]:
    """The settings whose key, or a part of it, begins with ``prefix``."""
    return [s for s in settings() if s.key.startswith(prefix) or f".{prefix}" in s.key]


def _middle(section: str) -> str:
    if shape(section) is Shape.TABLE:
        return ""
    words = "|".join(ITEMS.get(section, ()))
    return f"<{words if 0 < len(words) <= _LONGEST else 'name'}>."


def _setting(key: str, declared: Declaration, default: str) -> Setting:
    match declared:
        case Quantity(unit=unit, meaning=meaning, low=low, high=high, word=word, usual=usual):
            allowed = bounds(low, high, unit) + (f', or "{word}"' if word else "")
            meaning += f"; usually {bounds(*usual, unit)}" if usual else ""
            return Setting(key, unit, default, allowed, meaning)
        case Choice(meaning=meaning, options=options):
            return Setting(key, "", default, ", ".join(options), meaning)
        case Bound(meaning=meaning):
            return Setting(key, OF_READING, default, "any", meaning)
        case ReadingKey(meaning=meaning):
            return Setting(key, "", default, "a key, see pyrobal readings", meaning)
        case Text(meaning=meaning):
            return Setting(key, "", default, "a name", meaning)
        case Assay(meaning=meaning):
            return Setting(f"{key}.<X>", "wt%", "none", "0 to 100", meaning)
        case Precision(meaning=meaning):
            allowed = 'above 0 wt%, or of the value, "2 % rel"'
            return Setting(f"{key}.<X>", "wt%", "none", allowed, f"{meaning}; for pyrobal uncertainty only")
        case Table(meaning=meaning):
            return Setting(f"{key}.<X>.<outlet>", "%", "none", "0 to 100", meaning)


def default_text(declared: Declaration, value: Any) -> str | None:
    """A value as a person writes it; None where there is none to write."""
    match declared:
        case Quantity(word=str() as word) if value is None:
            return word
        case Quantity(unit=unit) if value is not None:
            return units.write(float(value[0]), unit)
        case Choice() | Text() | ReadingKey() if value is not None:
            return str(value)
    return None


def _default(kind: type, name: str) -> str:
    if name in required(kind):
        return "required"
    spec = next(f for f in dataclasses.fields(kind) if f.name == name)
    made = spec.default_factory
    value = made() if made is not dataclasses.MISSING else spec.default
    return default_text(written(kind)[name], value) or "none"
