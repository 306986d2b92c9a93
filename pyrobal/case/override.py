"""Settings given on the command line as KEY=VALUE, laid over the values of a document.

They then pass the same checks as the file. ``concentrate.Fenholt.rate=60 t/h`` finds its concentrate by
name; a name with blanks needs no quotes beyond those of the shell. ``concentrate.*.rate`` is all of them.
A name that no item has is a new one where all that it needs is assigned: a rate and an assay, or a reading
and its bound. What the file says that cannot stand beside an assignment gives way to it.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, Final

from pyrobal.case.blend import BLEND_RATE, set_blend_rate
from pyrobal.case.document import Document
from pyrobal.case.lines import Path
from pyrobal.errors import Fault
from pyrobal.names import suggestion
from pyrobal.plant.converting.settings import ONLY_CONTINUOUS

# Two names of one quantity: that of the file goes where the other is assigned.
RIVALS = {"matte_grade": "oxygen_per_tonne", "heat_loss": "heat_loss_per_tonne"}
RIVALS |= {other: name for name, other in RIVALS.items()}

# What an item of a section has to be given to be a new one, any of the names of each; a single assignment may
# only have its name misspelt.
NEEDS: Final = {
    "concentrate": (("rate", "share"), ("assay", "minerals")),
    "revert": (("rate",), ("assay",)),
    "limit": (("reading",), ("most", "least")),
}


def override(document: Document, assignments: Sequence[str]) -> Document:
    """The document with each ``KEY=VALUE`` set; one that cannot be is a fault of the document."""
    values = copy.deepcopy(document.values)
    paths: set[Path] = set()
    faults: list[Fault] = []
    for section, name in _new(assignments):
        _add(values, section, name)
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


def _new(assignments: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Section and name of every item that is given all it needs, in the order they come up."""
    given: dict[tuple[str, str], set[str]] = {}
    for assignment in assignments:
        parts = assignment.partition("=")[0].strip().split(".")
        if len(parts) > 2 and parts[0] in NEEDS:
            given.setdefault((parts[0], parts[1]), set()).add(parts[2])
    for (section, name), there in given.items():
        if all(there.intersection(any_of) for any_of in NEEDS[section]):
            yield section, name


def _add(values: dict[str, Any], section: str, name: str) -> None:
    """An item of that name, where there is none yet."""
    items = values.setdefault(section, [])
    if isinstance(items, list) and name not in _names(items):
        items.append({"name": name})


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
            node.setdefault(part, [] if not path and part in NEEDS else {})
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
    names = _names(items)
    if name not in names:
        wanted = " and its ".join(" or ".join(any_of) for any_of in NEEDS[str(path[-1])])
        said = f'no {path[-1]} is named "{name}"; {suggestion(name, names)}'
        raise ValueError(f"{said}; to add one, set its {wanted} too")
    return names.index(name)


def _names(items: list[Any]) -> list[str]:
    return [str(item.get("name")) if isinstance(item, dict) else "" for item in items]
