"""A case file with some of its settings changed: every other line, comment and blank as it was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit

from pyrobal.case.override import RIVALS
from pyrobal.case.schema import Shape, shape
from pyrobal.flowsheet.inputs import SECTIONS


@dataclass(frozen=True)
class Change:
    """A value as a case file has it, and what is said behind it; a comment that stands there stays."""

    value: str | float
    comment: str = ""


def tuned(text: str, changes: Mapping[str, Change]) -> str:
    """The text of a case with the values of some dotted keys changed; a key not written yet is added.

    The other name of a quantity (``override.RIVALS``) gives way to the one that is written.

    Raises KeyError for a key whose item of a section is not in the text.
    """
    document = tomlkit.parse(text)
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
