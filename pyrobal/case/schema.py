"""How a case file is laid out: its sections, their shape, and the names allowed in each table.

Derived from ``SECTIONS``, the types of ``Inputs`` and the declarations of the settings. A new section
there is a new section here.
"""

from __future__ import annotations

import dataclasses
import enum
import functools
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any, Final, get_origin, get_type_hints

from pyrobal.fields import Assay, Declaration, Quantity, Table, Text, declarations
from pyrobal.fields import declared as declared_in
from pyrobal.flowsheet.inputs import SECTIONS, Inputs
from pyrobal.plant.emissions import STACKS
from pyrobal.plant.feed import FLUXES
from pyrobal.streams.assay import ASSAY_NAMES, GANGUE_OXIDES
from pyrobal.streams.deportment import DeportmentTable, read_table
from pyrobal.streams.fuel import GAS_COMPONENTS, ULTIMATE_COMPONENTS
from pyrobal.streams.mineralogy import MINERAL_NAMES
from pyrobal.thermo.distribution import read_ratios

FUEL_COMPONENTS: Final = tuple(dict.fromkeys((*GAS_COMPONENTS, *ULTIMATE_COMPONENTS)))

# Names allowed in a table of fractions, by the word its declaration uses.
ALLOWED: Final[dict[str, tuple[str, ...]]] = {
    "assay": ASSAY_NAMES,
    "minerals": MINERAL_NAMES,
    "insol": GANGUE_OXIDES,
    "fuel": FUEL_COMPONENTS,
}
# Named tables whose names are not the user's own.
ITEMS: Final[dict[str, tuple[str, ...]]] = {"flux": FLUXES, "stack": STACKS}

DISTRIBUTION: Final = {
    "slag_matte": Quantity("-", "wt% in slag over wt% in matte, at 62 % Cu in the matte", 1e-6, 1e4),
    "exponent": Quantity("-", "power of pO2 with which the ratio goes from there", -4.0, 4.0),
}


def deportment(section: str) -> DeportmentTable:
    """The table that the ``deportment`` of a section overrides: its elements and its outlets."""
    table = read_table(section.removesuffix("_furnace"))
    return replace(table, outlets=tuple(o for o in table.outlets if o != "grade"))  # a column of converting


def columns(section: str, declared: Table) -> tuple[tuple[str, ...], dict[str, Quantity]]:
    """Elements and columns of a table by element, each column as the quantity it holds."""
    if declared.allowed == "distribution":
        return tuple(read_ratios()), DISTRIBUTION
    table = deportment(section)
    return tuple(table.shares), {o: Quantity("%", declared.meaning, 0.0, 1.0) for o in table.outlets}


class Shape(enum.Enum):
    """How a section is written."""

    TABLE = "[{0}]"
    ARRAY = "[[{0}]]"  # each item has a name
    NAMED = "[{0}.<name>]"

    def header(self, section: str) -> str:
        """The line a person writes above the section."""
        return self.value.format(section)


@functools.cache
def shape(section: str) -> Shape:
    """The shape of a section, from the type of its field in ``Inputs``."""
    hint = get_type_hints(Inputs)[section]
    origin = get_origin(hint)
    if origin is tuple:
        return Shape.ARRAY
    return Shape.NAMED if origin is Mapping else Shape.TABLE


def written(settings: type) -> Mapping[str, Declaration]:
    """The declarations a person may write as keys; the components of a fuel stand in its own table."""
    return _written(settings)


@functools.cache  # a case asks thousands of times
def _written(settings: type) -> Mapping[str, Declaration]:
    return {
        name: d
        for name, d in declarations(settings).items()
        if not (isinstance(d, Assay) and d.allowed == "fuel")
    }


def written_in(table: Any) -> dict[str, Declaration]:
    """The same of a table as it stands, in which a bound has the unit of its reading."""
    found = declared_in(table)
    return {name: found[name] for name in written(type(table))}


def nested(settings: type) -> Mapping[str, type]:
    """The tables within a table: fields that are settings themselves."""
    return _nested(settings)


@functools.cache
def _nested(settings: type) -> Mapping[str, type]:
    hints = get_type_hints(settings)
    return {
        f.name: hints[f.name]
        for f in dataclasses.fields(settings)
        if f.name not in declarations(settings) and dataclasses.is_dataclass(hints[f.name])
    }


def tables(inputs: Inputs) -> Iterator[tuple[str, Any]]:
    """Every table of settings that a case has, written or not, by its dotted key."""
    for section in SECTIONS:
        node = getattr(inputs, section)
        if isinstance(node, tuple):
            yield from ((f"{section}.{item.name}", item) for item in node)
        elif isinstance(node, Mapping):
            yield from ((f"{section}.{name}", item) for name, item in node.items())
        elif node is not None:
            yield from _with_nested(section, node)


def _with_nested(key: str, node: Any) -> Iterator[tuple[str, Any]]:
    yield key, node
    for name in nested(type(node)):
        yield from _with_nested(f"{key}.{name}", getattr(node, name))


def required(settings: type) -> frozenset[str]:
    """The keys without a default."""
    missing = dataclasses.MISSING
    return frozenset(
        f.name
        for f in dataclasses.fields(settings)
        if f.default is missing and f.default_factory is missing and f.name in declarations(settings)
    )


def homes(key: str) -> list[str]:
    """Headers of the sections in which ``key`` may stand."""
    return [shape(s).header(s) for s, settings in SECTIONS.items() if key in written(settings)]


def fuels_named(inputs: Inputs) -> Iterator[tuple[str, str]]:
    """Every setting that names a fuel, with that name; the only other texts are names of items."""
    for key, node in tables(inputs):
        for name, declared in written(type(node)).items():
            if isinstance(declared, Text) and name != "name":
                yield f"{key}.{name}", getattr(node, name)
