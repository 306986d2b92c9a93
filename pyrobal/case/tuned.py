"""A case file with some of its settings changed: every other line, comment and blank as it was."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit.items import Table

from pyrobal.case.override import RIVALS
from pyrobal.case.schema import Shape, shape
from pyrobal.flowsheet.inputs import SECTIONS


@dataclass(frozen=True)
class Change:
    """A value as a case file has it, and what is said behind it; a comment that stands there stays."""

    value: str | float
    comment: str = ""


def tuned(text: str, changes: Mapping[str, Change]) -> str:
    """The text of a case with the values of some dotted keys changed; a key not written yet is added, and an
    item that its section does not have, behind the others.

    The other name of a quantity (``override.RIVALS``) gives way to the one that is written.
    """
    document = tomlkit.parse(text)
    added = _added(document, changes)
    for key, change in changes.items():
        table, name = _place(document, key)
        item = tomlkit.item(change.value)
        old = table.item(name).trivia if name in table else None
        said = [change.comment] if old is None else [old.comment.lstrip("# "), change.comment]
        if any(said):
            item.comment("; ".join(filter(None, said)))
        if old is not None and old.comment:
            item.trivia.comment_ws = old.comment_ws
        table[name] = item
        rival = RIVALS.get(name, "")
        if rival in table and f"{key.removesuffix(name)}{rival}" not in changes:
            del table[rival]
    for item in added:
        tables = [value for value in item.values() if isinstance(value, Table)]
        if isinstance(item, Table):
            (tables[-1] if tables else item).add(tomlkit.nl())
    found = tomlkit.dumps(document)
    return f"{found.rstrip()}\n" if added else found


def _added(document: Any, changes: Iterable[str]) -> list[Any]:
    """Items that a section does not have yet, each made with its name behind the others; those that are to be
    followed by a blank line."""
    added = []
    for section, _, rest in (key.partition(".") for key in changes):
        if section not in SECTIONS or shape(section) is not Shape.ARRAY:
            continue
        first = section not in document
        if first:
            document.add(tomlkit.nl())
            document.add(section, tomlkit.aot())
        items, name = document[section], rest.partition(".")[0]
        if not any(item.get("name") == name for item in items):
            items.append({"name": name})
            added += [] if first else [items[-1]]
    return added


def _place(document: Any, key: str) -> tuple[Any, str]:
    """The table that holds the last part of a key; tables of settings that may be absent are made."""
    section, *rest = key.split(".")
    form = shape(section) if section in SECTIONS else Shape.TABLE
    table: Any = document
    if form is Shape.ARRAY:
        table = next(item for item in document[section] if item.get("name") == rest[0])
        rest = rest[1:]
    else:
        rest = [section, *rest]
    for name in rest[:-1]:
        if name not in table:
            table[name] = {}
        table = table[name]
    return table, rest[-1]
