"""The one declaration of a setting: unit, meaning, default and allowed range, on the dataclass field.

Reader, checks, `pyrobal settings`, the docs tables and the reports all derive from these declarations.
Numbers here are SI; ``unit`` is the plant unit in which a person writes and reads the quantity.
"""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

KEY: Final = "pyrobal"


class _Required:
    def __repr__(self) -> str:
        return "required"


REQUIRED: Final = _Required()


@dataclass(frozen=True)
class Quantity:
    """A number with a unit.

    unit : plant unit shown to people (closed vocabulary of ``units``)
    meaning : one line
    low, high : allowed range, SI, inclusive; None where open
    usual : range met in works, SI; outside it a value is a caution, zero is not
    word : a word allowed in place of a number ("predicted"); it is held as None
    count : it counts things, which come and go whole
    """

    unit: str
    meaning: str
    low: float | None = None
    high: float | None = None
    word: str | None = None
    usual: tuple[float, float] | None = None
    count: bool = False


@dataclass(frozen=True)
class Choice:
    """One word out of a fixed list."""

    meaning: str
    options: tuple[str, ...]


@dataclass(frozen=True)
class Text:
    """A name written by the user."""

    meaning: str


@dataclass(frozen=True)
class Assay:
    """Mass fractions of elements and oxides, by chemical symbol: wt% of dry solids where bare."""

    meaning: str
    allowed: str  # which list of names, a key of ``case.schema.ALLOWED``


@dataclass(frozen=True)
class Table:
    """Numbers by element and column: ``deportment.As.matte``, ``distribution.Pb.slag_matte``."""

    meaning: str
    allowed: str


@dataclass(frozen=True)
class Precision:
    """How sure the lines of the assay beside it are, by the same names: a ``Deviation`` each."""

    meaning: str


@dataclass(frozen=True)
class Deviation:
    """A standard deviation: a fraction of the whole, or a share of the value itself."""

    size: float
    relative: bool = False

    def at(self, value: float) -> float:
        """The standard deviation of a value, in the unit of the value."""
        return self.size * abs(value) if self.relative else self.size

    def text(self) -> str:
        """As a case file has it."""
        return f"{100 * self.size:.6g} %{' rel' if self.relative else ''}"


@dataclass(frozen=True)
class ReadingKey:
    """The dotted key of a reading."""

    meaning: str


@dataclass(frozen=True)
class Bound:
    """A number in the unit of the reading that the table names; the table holds that as ``unit``."""

    meaning: str


Declaration = Quantity | Choice | Text | Assay | Table | Precision | ReadingKey | Bound


def quantity(
    unit: str,
    meaning: str,
    *,
    default: float | None | _Required = REQUIRED,
    low: float | None = None,
    high: float | None = None,
    word: str | None = None,
    usual: tuple[float, float] | None = None,
    count: bool = False,
) -> Any:
    """Declare a numeric setting. ``default`` is SI, or None where the setting may be absent."""
    low, high = (x if x is None else float(x) for x in (low, high))
    return _field(Quantity(unit, meaning, low, high, word, usual, count), default)


def choice(meaning: str, options: tuple[str, ...], *, default: str | None | _Required = REQUIRED) -> Any:
    """Declare a setting that is one of a few words."""
    return _field(Choice(meaning, options), default)


def text(meaning: str, *, default: str | None | _Required = REQUIRED) -> Any:
    """Declare a name."""
    return _field(Text(meaning), default)


def mass_fractions(meaning: str, allowed: str = "assay") -> Any:
    """Declare a table of mass fractions; absent means empty."""
    return dataclasses.field(default_factory=dict, metadata={KEY: Assay(meaning, allowed)})


def deviations(meaning: str) -> Any:
    """Declare how sure an assay is; absent means not stated."""
    return dataclasses.field(default_factory=dict, metadata={KEY: Precision(meaning)})


def table(meaning: str, allowed: str) -> Any:
    """Declare a table of tables of shares; absent means empty."""
    return dataclasses.field(default_factory=dict, metadata={KEY: Table(meaning, allowed)})


def reading_key(meaning: str) -> Any:
    """Declare the key of a reading."""
    return _field(ReadingKey(meaning), REQUIRED)


def bound(meaning: str) -> Any:
    """Declare a bound on that reading; absent means none."""
    return _field(Bound(meaning), None)


def _field(declaration: Declaration, default: Any) -> Any:
    if default is REQUIRED:
        return dataclasses.field(metadata={KEY: declaration})
    if isinstance(default, float | int):
        value = float(default)
        return dataclasses.field(default_factory=lambda: _one(value), metadata={KEY: declaration})
    return dataclasses.field(default=default, metadata={KEY: declaration})


def _one(value: float) -> Any:
    from pyrobal.arrays import as_n  # the registry itself can be read without numpy

    return as_n(value)


def declarations(settings: type) -> Mapping[str, Declaration]:
    """Field name -> declaration, in the order written."""
    return _declarations(settings)


@functools.cache  # a case asks thousands of times
def _declarations(settings: type) -> Mapping[str, Declaration]:
    return {f.name: f.metadata[KEY] for f in dataclasses.fields(settings) if KEY in f.metadata}


def declared(table: Any) -> dict[str, Declaration]:
    """The declarations of a table as it stands, in which a bound has the unit of its reading."""
    return {
        name: Quantity(table.unit, d.meaning) if isinstance(d, Bound) else d
        for name, d in declarations(type(table)).items()
    }
