"""What each upset of a case lays over it: the case is read once more as if it were written so."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from pyrobal.case.document import Document
from pyrobal.case.draft import Draft
from pyrobal.case.lines import Path
from pyrobal.case.override import RIVALS, give_way
from pyrobal.case.schema import Shape, shape
from pyrobal.case.upset_items import items_of
from pyrobal.case.validate import check
from pyrobal.errors import Fault
from pyrobal.flowsheet.inputs import Inputs


@dataclass(frozen=True)
class _InUpset(Document):
    """A document with an upset laid over it; what is wrong with it stands where the upset is written.

    places : item of an array as laid over the case -> where the upset writes it
    """

    upset: str = ""
    places: Mapping[Path, Path] = field(default_factory=dict)

    def fault(self, path: Path, key: str, text: str) -> Fault:
        written = (*self.places.get(path[:2], path[:2]), *path[2:])
        return super().fault(("upset", self.upset, *written), f"upset.{self.upset}.{key}", text)


def read(draft: Draft) -> Inputs:
    """The inputs of a draft without faults, with its upsets; faults of those are noted in the draft."""
    upsets = {}
    for name, upset in draft.inputs.upset.items():
        raw = {k: x for k, x in draft.document.values["upset"][name].items() if k not in ("hours", "limit")}
        state = Draft(_laid_over(draft.document, name, raw))
        check(state)
        draft.faults += state.faults
        over = dict(_over(raw, state.inputs, draft.inputs))
        upsets[name] = dataclasses.replace(upset, over=over)
    return dataclasses.replace(draft.inputs, upset=upsets)


def _laid_over(document: Document, name: str, raw: Mapping[str, Any]) -> Document:
    values = copy.deepcopy({k: x for k, x in document.values.items() if k != "upset"})
    places: dict[Path, Path] = {}
    for section, table in raw.items():
        if shape(section) is not Shape.ARRAY:
            _lay(values, (section,), table)
            continue
        items = values[section] = values.get(section, [])
        for written, item, changes in items_of(table):
            at = next((i for i, one in enumerate(items) if one.get("name") == item), len(items))
            if at == len(items):
                items.append({"name": item})
            places[section, at] = (section, written)
            _lay(values, (section, at), changes)
    within = {f.name: getattr(document, f.name) for f in dataclasses.fields(Document)}
    return _InUpset(**{**within, "values": values, "slips": (), "dropped": ()}, upset=name, places=places)


def _lay(values: dict[str, Any], at: Path, table: Mapping[str, Any]) -> None:
    for path, value in _leaves(at, table):
        node: Any = values
        for step in path[:-1]:
            if isinstance(node, dict) and not isinstance(node.get(step), (dict, list)):
                node[step] = {}
            node = node[step]
        node[path[-1]] = value
        give_way(values, path, {path})


def _leaves(path: Path, node: Mapping[str, Any]) -> Iterator[tuple[Path, Any]]:
    for name, value in node.items():
        if isinstance(value, dict):
            yield from _leaves((*path, name), value)
        else:
            yield (*path, name), value


def _over(raw: Mapping[str, Any], state: Inputs, usual: Inputs) -> Iterator[tuple[str, Any]]:
    """Dotted key -> value of what differs; a step that the case has only in the upset stands whole."""
    for section, table in raw.items():
        node = getattr(state, section)
        if isinstance(node, tuple):
            yield from _items(section, table, node, {item.name for item in getattr(usual, section)})
        elif getattr(usual, section) is None:
            yield section, node
        elif isinstance(node, Mapping):
            yield from ((f"{section}.{name}", node[name]) for name in table)
        else:
            yield from _settings(section, table, node)


def _items(section: str, table: Any, state: tuple[Any, ...], usual: set[str]) -> Iterator[tuple[str, Any]]:
    read = {item.name: item for item in state}
    for _, name, changes in items_of(table):
        if name in usual:
            changed = {key: x for key, x in changes.items() if key != "name"}
            yield from _settings(f"{section}.{name}", changed, read[name])
        else:
            yield f"{section}.{name}", read[name]


def _settings(key: str, raw: Mapping[str, Any], node: Any) -> Iterator[tuple[str, Any]]:
    for name, value in raw.items():
        held = getattr(node, name, None)
        if dataclasses.is_dataclass(held):
            yield from _settings(f"{key}.{name}", value, held)
        else:
            yield f"{key}.{name}", held
            if (other := RIVALS.get(name)) is not None and hasattr(node, other):
                yield f"{key}.{other}", getattr(node, other)
