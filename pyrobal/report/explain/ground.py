"""What an explanation ends on: settings, tables, the solver, constants, and the sources they name."""

from __future__ import annotations

import ast
import inspect
from collections.abc import Sequence
from typing import Any

import numpy as np

from pyrobal.arrays import each_array
from pyrobal.flowsheet.inputs import Inputs
from pyrobal.report.explain import si, source
from pyrobal.report.explain.node import Explanation, Node
from pyrobal.report.explain.record import Call
from pyrobal.report.numbers import number
from pyrobal.report.settings import Setting, settings, tables
from pyrobal.thermo.properties import Species
from pyrobal.thermo.solutions import Correlation
from pyrobal.thermo.tables import find, load_sources

_SOLVERS = {"newton": "Newton's method", "settled": "going round the recycles until nothing changes"}
_ENTHALPIES = ("H298", "reference_enthalpy", "enthalpy", "heat_capacity", "entropy", "gibbs")


class Ground:
    """Makes the last nodes of a tree, and keeps what it rests on."""

    def __init__(self, inputs: Inputs) -> None:
        self._every = settings(inputs)
        self.given = {id(s.value): s for s in self._every.values() if isinstance(s.value, np.ndarray)}
        self.tables = {id(table): key for key, table in tables(inputs) if table}
        self.rests = Explanation(Node("value", ""))

    def setting(self, setting: Setting) -> Node:
        self.rests.settings[setting.key] = (setting.text(), setting.meaning)
        value = setting.value
        one = float(value.flat[0]) if isinstance(value, np.ndarray) and value.size == 1 else None
        unit = None if one is None else si.of_plant(setting.unit)
        return Node("setting", setting.key, one, unit, setting.text(), setting.meaning)

    def table_of_settings(self, key: str) -> Node:
        """An assay, a mineralogy, a table of shares, whole."""
        within = [s for k, s in self._every.items() if k.startswith(f"{key}.")]
        for one in within:
            self.setting(one)
        meaning = within[0].meaning if within else ""
        return Node("setting", key, shown=f"{len(within)} values", words=meaning)

    def tabulated(self, name: str, attr: str, phase: Species, carried: Sequence[str], value: Any) -> Node:
        """A property out of the tables, of one substance or of several."""
        if attr in _ENTHALPIES:
            self.cite_rows(carried, attr)
        unit = source.field_unit(phase, attr) or source.returned_unit(
            inspect.getdoc(getattr(Species, attr, None))
        )
        one = float(np.ravel(value)[0]) if np.size(value) == 1 else None
        return Node("table", name, one, unit or None, words=f"of the tables, for {', '.join(carried)}")

    def cite_rows(self, names: Sequence[str], attr: str) -> None:
        """The source of each row, and what was read from it."""
        for name in names:
            row = find(name)
            certain = "" if row.seen == "seen" else f", {_CERTAIN.get(row.seen, row.seen)}"
            for key in row.source:
                of = self.rests.data.setdefault(f"[{key}] {load_sources()[key]}", {})
                of[f"{name}{certain}"] = None

    def solution(self, call: Call, node: Node) -> None:
        """Unknowns that were found together: how the iteration ended, and the equations it met."""
        found_at = call.value[-1] if isinstance(call.value, tuple) and call.closed else call.value
        ended = [
            f"{name} {number(float(np.ravel(found)[0]), 2)}"
            for name in ("iterations", "passes", "residual", "change")
            if (found := getattr(found_at, name, None)) is not None
        ]
        problem = next(iter(call.names.values()), None)
        unknowns = [w.replace("_", " ") for w in getattr(problem, "names", ())]
        about = f" for {', '.join(unknowns)} together" if unknowns else ""
        solver = _SOLVERS.get(call.code.co_name, call.code.co_name.strip("_").replace("_", " "))
        node.kind = "reading" if node.kind == "reading" else "solved"
        node.equation = f"found by {solver}{about}" + (f": {', '.join(ended)}" if ended else "")
        if unknowns and (residual := getattr(type(problem), "residual", None)) is not None:
            node.words = source.words(inspect.getdoc(residual))
        if ended:
            self.rests.solved[node.equation.removeprefix("found by ")] = None
        self._settings_within(problem)
        for inner in call.walk():
            self.cite(inner, documentation(inner))

    def _settings_within(self, problem: Any) -> None:
        """The settings an iteration reads from."""

        def note(array: Any) -> Any:
            if (setting := self.given.get(id(array))) is not None:
                self.setting(setting)
            return array

        each_array(problem, note)

    def cite(self, call: Call, doc: str) -> None:
        """Sources named in the documentation of a function, and of the models it evaluates."""
        if found := source.references(doc):
            self.rests.models[found] = None
        for value in call.globals.values():
            if isinstance(value, Correlation) and call.code.co_name.startswith(value.name):
                seen = "as read in the source" if value.seen else "coefficients from memory"
                self.rests.models[f"{value.source} ({seen})"] = None


_CERTAIN = {"memory": "from memory", "estimate": "estimated"}


def documentation(call: Call) -> str:
    """What the called function says of itself: its docstring, if it has one."""
    found = call.code.co_consts[0] if call.code.co_consts else None
    definition = source.function(call.code)
    has = isinstance(definition, ast.FunctionDef) and ast.get_docstring(definition)
    return inspect.cleandoc(found) if has and isinstance(found, str) else ""
