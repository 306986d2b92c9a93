"""Items of an array, such as a concentrate, that differ in an upset or are new there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pyrobal.case import values
from pyrobal.case.lines import Path


def items_of(table: Any) -> Iterator[tuple[str | int, str, Mapping[str, Any]]]:
    """Items of an array in an upset: where each is written, its name, and what differs or is new.

    They stand as items with a name, or as tables of that name.
    """
    if isinstance(table, dict):
        yield from ((name, name, item) for name, item in table.items())
    else:
        yield from ((i, item["name"], item) for i, item in enumerate(table))


def misshapen(table: Any, header: str) -> Iterator[tuple[Path, str]]:
    """What is not written as items of an array: where in it, and what is wrong."""
    wanted = f"it is written as {header}, with a name"
    if not isinstance(table, (dict, list)):
        yield (), f"is {values.called(table)}; {wanted}"
        return
    for at, item in table.items() if isinstance(table, dict) else enumerate(table):
        if not isinstance(item, dict):
            yield (at,), f"is {values.called(item)}; {wanted}"
        elif isinstance(table, list) and not isinstance(item.get("name"), str):
            yield (at,), "has no name, which says what item of the case differs, or what a new one is called"
