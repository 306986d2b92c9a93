"""What each upset of a case lays over it: the case is read once more as if it were written so."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pyrobal.case.document import Document
from pyrobal.case.draft import Draft
from pyrobal.case.lines import Path
from pyrobal.case.override import RIVALS, give_way
from pyrobal.case.validate import check
from pyrobal.errors import Fault
from pyrobal.flowsheet.inputs import Inputs


@dataclass(frozen=True)
class _InUpset(Document):
    """A document with an upset laid over it; what is wrong with it stands where the upset is written."""

    upset: str = ""

    def fault(self, path: Path, key: str, text: str) -> Fault:
        return super().fault(("upset", self.upset, *path), f"upset.{self.upset}.{key}", text)


def read(draft: Draft) -> Inputs:
    """The inputs of a draft without faults, with its upsets; faults of those are noted in the draft."""
    upsets = {}
    for name, upset in draft.inputs.upset.items():
        raw = {k: x for k, x in draft.document.values["upset"][name].items() if k != "hours"}
        state = Draft(_laid_over(draft.document, name, raw))
        check(state)
        draft.faults += state.faults
        over = dict(_over(raw, state.inputs, draft.inputs))
        upsets[name] = dataclasses.replace(upset, over=over)
    return dataclasses.replace(draft.inputs, upset=upsets)


def _laid_over(document: Document, name: str, raw: Mapping[str, Any]) -> Document:
    values = copy.deepcopy({k: x for k, x in document.values.items() if k != "upset"})
    for path, value in _leaves((), raw):
        node = values
        for step in path[:-1]:
            node[step] = node[step] if isinstance(node.get(step), dict) else {}
            node = node[step]
        node[path[-1]] = value
        give_way(values, path, {path})
    within = {f.name: getattr(document, f.name) for f in dataclasses.fields(Document)}
    return _InUpset(**{**within, "values": values, "slips": (), "dropped": ()}, upset=name)


def _leaves(path: tuple[str, ...], node: Mapping[str, Any]) -> Iterator[tuple[tuple[str, ...], Any]]:
    for name, value in node.items():
        if isinstance(value, dict):
            yield from _leaves((*path, name), value)
        else:
            yield (*path, name), value


def _over(raw: Mapping[str, Any], state: Inputs, usual: Inputs) -> Iterator[tuple[str, Any]]:
    """Dotted key -> value of what differs; a step that the case has only in the upset stands whole."""
    for section, table in raw.items():
        node = getattr(state, section)
        if getattr(usual, section) is None:
            yield section, node
        elif isinstance(node, Mapping):
            yield from ((f"{section}.{name}", node[name]) for name in table)
        else:
            yield from _settings(section, table, node)


def _settings(key: str, raw: Mapping[str, Any], node: Any) -> Iterator[tuple[str, Any]]:
    for name, value in raw.items():
        held = getattr(node, name, None)
        if dataclasses.is_dataclass(held):
            yield from _settings(f"{key}.{name}", value, held)
        else:
            yield f"{key}.{name}", held
            if (other := RIVALS.get(name)) is not None and hasattr(node, other):
                yield f"{key}.{other}", getattr(node, other)
