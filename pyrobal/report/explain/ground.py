"""What an explanation ends on: settings, tables, the solver, constants, and the sources they name."""

from __future__ import annotations

import ast
import inspect
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from pyrobal.arrays import each_array
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.report.explain import source
from pyrobal.report.explain.record import Call
from pyrobal.report.numbers import number
from pyrobal.report.settings import Setting, settings, tables
from pyrobal.thermo.properties import Species
from pyrobal.thermo.solutions import Closure
from pyrobal.thermo.tables import find, load_sources


@dataclass(eq=False)
class Node:
    """One value on the way.

    kind : "reading", "function", "equation", "setting", "constant", "table", "solved" or "value"
    name : as the equation above it writes it
    equation : what it was made from, in the source's own symbols; words : the documentation
    place : file and line
    """

    kind: str
    name: str
    value: str = ""
    equation: str = ""
    words: str = ""
    place: str = ""
    children: list[Node] = field(default_factory=list, repr=False)
    origin: Node | None = field(default=None, repr=False)  # the node this repeats under another name

    def walk(self, seen: set[int] | None = None) -> Iterator[Node]:
        """This node and all below, each once."""
        seen = set() if seen is None else seen
        if id(self.origin or self) not in seen:
            seen.add(id(self.origin or self))
            yield self
            for child in self.children:
                yield from child.walk(seen)


@dataclass(eq=False)
class Explanation:
    """The tree of one reading, and what it rests on.

    settings : key -> value and meaning; sources : published ones, from documentation, closures and tables
    solved : how each iteration on the way ended
    """

    root: Node
    settings: dict[str, tuple[str, str]] = field(default_factory=dict)
    sources: dict[str, None] = field(default_factory=dict)
    solved: dict[str, None] = field(default_factory=dict)


class Ground:
    """Makes the last nodes of a tree, and keeps what it rests on."""

    def __init__(self, inputs: Inputs) -> None:
        self._every = settings(inputs)
        self.given = {id(s.value): s for s in self._every.values() if isinstance(s.value, np.ndarray)}
        self.tables = {id(table): key for key, table in tables(inputs) if table}
        self.settings: dict[str, tuple[str, str]] = {}
        self.sources: dict[str, None] = {}
        self.solved: dict[str, None] = {}

    def setting(self, setting: Setting, name: str) -> Node:
        self.settings[setting.key] = (setting.text(), setting.meaning)
        return Node("setting", name, setting.text(), words=f"{setting.key}: {setting.meaning}")

    def table_of_settings(self, key: str, name: str) -> Node:
        """An assay, a mineralogy, a table of shares, whole."""
        within = [s for k, s in self._every.items() if k.startswith(f"{key}.")]
        for one in within:
            self.setting(one, name)
        return Node("setting", name, f"{len(within)} values", words=f"{key}: {within[0].meaning}")

    def tabulated(self, name: str, phase: Species, call: Call) -> Node:
        """A column of the tables."""
        carried = _carried(call, phase)
        if name.endswith((".H298", ".reference_enthalpy")):
            self._cite_tables(carried)
        return Node("table", name, words=f"of the tables, for {', '.join(carried)}")

    def _cite_tables(self, names: Sequence[str]) -> None:
        for name in names:
            for key in find(name).source:
                self.sources[f"[{key}] {load_sources()[key]}"] = None

    def constant(self, name: str, value: Any) -> Iterator[Node]:
        if isinstance(value, float | int) and not isinstance(value, bool):
            yield Node("constant", name, number(float(value), 7))

    def table(self, call: Call, node: Node) -> bool:
        """A property of tabulated substances: the rows it was read from."""
        phase = call.names.get("self")
        if not isinstance(phase, Species) or call.code.co_name.startswith("_"):
            return False
        taken = _carried(call.caller or call, phase)
        node.kind, node.equation = "table", f"{call.code.co_name} of {', '.join(taken)}"
        self._cite_tables(taken)
        return True

    def solution(self, call: Call, node: Node) -> Node:
        """Unknowns that were found together: how the iteration ended, and the equations it met."""
        node.kind, node.value = "solved", ""
        ended = [
            f"{name} {number(float(np.ravel(found)[0]))}"
            for name in ("iterations", "residual")
            if (found := getattr(call.value, name, None)) is not None
        ]
        problem = next(iter(call.names.values()), None)
        unknowns = getattr(problem, "names", ())
        about = f" for {', '.join(unknowns)}" if unknowns else ""
        node.equation = f"{call.code.co_name}{about}" + (f": {', '.join(ended)}" if ended else "")
        if unknowns and (residual := getattr(type(problem), "residual", None)) is not None:
            node.words = f"{node.words} {source.words(inspect.getdoc(residual))}".strip()
        if ended:
            self.solved[f"{node.equation}; with {self._settings_within(problem)}"] = None
        for inner in call.walk():
            self.cite(inner, documentation(inner))
        return node

    def _settings_within(self, problem: Any) -> str:
        """The sections of the case an iteration reads from, with the number of settings of each."""
        found: dict[str, set[str]] = {}

        def note(array: Any) -> Any:
            if (setting := self.given.get(id(array))) is not None:
                found.setdefault(setting.key.partition(".")[0], set()).add(setting.key)
            return array

        each_array(problem, note)
        return (
            ", ".join(f"{len(keys)} settings of {section}" for section, keys in found.items())
            or "no settings"
        )

    def cite(self, call: Call, doc: str) -> None:
        if found := source.references(doc):
            self.sources[found] = None
        for value in call.globals.values():
            if isinstance(value, Closure) and call.code.co_name.startswith(value.name):
                seen = "as read in the source" if value.seen else "coefficients from memory"
                self.sources[f"{value.source} ({seen})"] = None


def _carried(call: Call, phase: Species) -> list[str]:
    """The substances a property was wanted for: those the stream that asked has any of."""
    asker = call.names.get("self")
    n = getattr(asker, "n", None)
    if n is None or getattr(asker, "phase", None) is not phase:
        return list(phase.names)
    return [name for name, x in zip(phase.names, n.T, strict=True) if np.any(x != 0)]


def documentation(call: Call) -> str:
    """What the called function says of itself: its docstring, if it has one."""
    found = call.code.co_consts[0] if call.code.co_consts else None
    definition = source.function(call.code)
    has = isinstance(definition, ast.FunctionDef) and ast.get_docstring(definition)
    return inspect.cleandoc(found) if has and isinstance(found, str) else ""
