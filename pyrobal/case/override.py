"""Settings given on the command line as KEY=VALUE, laid over the values of a document.

They then pass the same checks as the file. ``concentrate.Fenholt.rate=60 t/h`` finds its concentrate by
name; a name with blanks needs no quotes beyond those of the shell. ``concentrate.*.rate`` is all of them.
What the file says that cannot stand beside an assignment gives way to it.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from pyrobal.case.blend import BLEND_RATE, set_blend_rate
from pyrobal.case.document import Document
from pyrobal.case.lines import Path
from pyrobal.errors import Fault
from pyrobal.names import suggestion
from pyrobal.plant.converting.settings import ONLY_CONTINUOUS

# Two names of one quantity: that of the file goes where the other is assigned.
RIVALS = {"matte_grade": "oxygen_per_tonne", "heat_loss": "heat_loss_per_tonne"}
RIVALS |= {other: name for name, other in RIVALS.items()}


def override(document: Document, assignments: Sequence[str]) -> Document:
    """The document with each ``KEY=VALUE`` set; one that cannot be is a fault of the document."""
    values = copy.deepcopy(document.values)
    paths: set[Path] = set()
    faults: list[Fault] = []
    for assignment in assignments:
        key, equals, text = assignment.partition("=")
        key = key.strip()
        try:
            if not equals or not key:
                raise ValueError(f'"{assignment}" is not KEY=VALUE')
            if key == BLEND_RATE:
                paths |= set_blend_rate(values, spoken(text.strip()))
            else:
                paths.add(_set(values, key, spoken(text.strip())))
        except ValueError as error:
            faults.append(Fault("--set", None, key if equals else "", str(error)))
    for path in paths:
        give_way(values, path, paths)
    dropped = tuple(_drop_other_kind(values, paths))
    return replace(
        document,
        values=values,
        overridden=frozenset(paths),
        slips=(*document.slips, *faults),
        dropped=dropped,
    )


def give_way(values: dict[str, Any], path: Path, assigned: set[Path]) -> None:
    """Take out the other name of what was assigned at ``path``, unless it was assigned too."""
    other = RIVALS.get(str(path[-1]))
    if other is not None and (*path[:-1], other) not in assigned:
        node: Any = values
        for step in path[:-1]:
            node = node[step]
        node.pop(other, None)


def _drop_other_kind(values: dict[str, Any], assigned: set[Path]) -> Iterator[Fault]:
    """Take out ways of a continuous converter where a batch converter was assigned, and say so."""
    converting = values.get("converting")
    if ("converting", "kind") not in assigned or not isinstance(converting, dict):
        return
    for name, word in ONLY_CONTINUOUS.items():
        written = converting.get(name) == word and ("converting", name) not in assigned
        if written and converting.get("kind") == "batch":
            del converting[name]
            yield Fault(
                "--set",
                None,
                f"converting.{name}",
                f'"{word}" was dropped: only a continuous converter can be that',
            )


def spoken(text: str) -> Any:
    """What a text behind KEY= means: a number, boolean or quoted string as TOML has them; another itself."""
    try:
        parsed = tomllib.loads(f"value = {text}")
    except (tomllib.TOMLDecodeError, RecursionError):
        return text
    value = parsed["value"]
    return value if len(parsed) == 1 and isinstance(value, bool | int | float | str) else text


def _set(values: dict[str, Any], key: str, value: Any) -> Path:
    """Put ``value`` at the dotted ``key``; return its path. Raises ValueError where there is none."""
    *tables, name = key.split(".")
    path: Path = ()
    node: Any = values
    for part in tables:
        if isinstance(node, list):
            step: str | int = _item(node, part, path)
        else:
            step = part
            node.setdefault(part, {})
        node, path = node[step], (*path, step)
        if not isinstance(node, dict | list):
            raise ValueError(f'"{part}" is a setting, not a table')
    if isinstance(node, list):
        raise ValueError(f'"{name}" stands for a whole table; name one of its settings')
    if isinstance(node.get(name), dict | list):
        raise ValueError("is a table, not a setting")
    node[name] = value
    return (*path, name)


def _item(items: list[Any], name: str, path: Path) -> int:
    names = [str(item.get("name")) if isinstance(item, dict) else "" for item in items]
    if name not in names:
        raise ValueError(f'no {path[-1]} is named "{name}"; {suggestion(name, names)}')
    return names.index(name)
