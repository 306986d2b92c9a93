"""A case file with some of its settings changed: every other line, comment and blank as it was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit

from pyrobal.case.schema import Shape, shape
from pyrobal.flowsheet.inputs import SECTIONS


@dataclass(frozen=True)
class Change:
    """A value as a case file has it, and what is said behind it."""

    value: str | float
    comment: str


def tuned(text: str, changes: Mapping[str, Change]) -> str:
    """The text of a case with the values of some dotted keys changed; a key not written yet is added.

    Raises KeyError for a key whose item of a section is not in the text.
    """
    document = tomlkit.parse(text)
    for key, change in changes.items():
        table, name = _place(document, key)
        item = tomlkit.item(change.value)
        item.comment(change.comment)
        if name in table and (old := table.item(name).trivia).comment:
            item.comment(f"{old.comment.lstrip('# ')}; {change.comment}")
            item.trivia.comment_ws = old.comment_ws
        table[name] = item
    return tomlkit.dumps(document)


def _place(document: Any, key: str) -> tuple[Any, str]:
    """The table that holds the last part of a key; tables of settings that may be absent are made."""
    section, *rest = key.split(".")
    form = shape(section) if section in SECTIONS else Shape.TABLE
    table: Any = document
    if form is Shape.ARRAY:
        items = document.get(section, [])
        table = next((item for item in items if item.get("name") == rest[0]), None)
        if table is None:
            raise KeyError(key)
        rest = rest[1:]
    else:
        rest = [section, *rest]
    for name in rest[:-1]:
        if name not in table:
            table[name] = tomlkit.table()
        table = table[name]
    return table, rest[-1]
