"""What is known of a number before any equation: readings, settings, tables and constants."""

from __future__ import annotations

import dataclasses
from functools import cached_property
from typing import Any, Final

import numpy as np

from pyrobal import units
from pyrobal.case.lines import key_lines
from pyrobal.case.load import Case
from pyrobal.dimensions import UNITS
from pyrobal.flowsheet.inputs import SECTIONS
from pyrobal.report.explain.step import Step
from pyrobal.report.numbers import quantity
from pyrobal.report.result import Line
from pyrobal.report.settings import Setting, settings
from pyrobal.studies.history import History
from pyrobal.thermo.tables import find, load_sources, load_substances
from pyrobal.trace.graph import Leaf, Node

DIGITS: Final = 6
_PLANT: Final = {"kg/s": "t/h", "W": "MW", "Pa": "kPa", "J/mol": "kJ/mol", "J/kg": "MJ/kg"}
_ROWS: Final = ("enthalpy", "entropy", "heat capacity", "lowest temperature", "highest temperature")
_MOLAR: Final = "molar mass"
_WEIGHTS: Final = "iupac2021"
_CERTAIN: Final = {"memory": "from memory", "estimate": "estimated"}


class Known:
    """The case and its history, by key.

    lines : key -> the reading as reported
    """

    def __init__(self, case: Case, history: History, lines: dict[str, Line]) -> None:
        self.case, self.history, self.lines = case, history, lines

    @cached_property
    def settings(self) -> dict[str, Setting]:
        return settings(self.history.inputs)

    def reading(self, key: str, step: Step) -> Step:
        """A step that is reported as a reading; of one without a value why it has none."""
        line = self.lines[key].told
        found = quantity(line.shown, line.unit, DIGITS)
        words = f"{line.meaning}; {line.reason}" if line.reason else line.meaning
        return dataclasses.replace(step, kind="reading", name=key, words=words, shown=found)

    @staticmethod
    def shown(step: Step) -> Step:
        """A step with its value in plant units."""
        unit = _PLANT.get(step.unit)
        if unit is None or step.value == 0.0:
            return step
        return dataclasses.replace(step, shown=quantity(float(units.display(step.value, unit)), unit, DIGITS))

    def leaf(self, node: Node, element: int) -> Step:
        """What no operation made."""
        leaf, value, unit = node.origin, float(np.real(node.value.flat[element])), unit_at(node, element)
        assert isinstance(leaf, Leaf)
        if leaf.kind == "setting":
            return self._setting(leaf.name, value, unit)
        if leaf.kind == "unknown":
            return Step("unknown", value, unit, words="an unknown of the equations solved")
        row = element * len(leaf.labels) // node.value.size  # of a table the labels are its rows
        label = leaf.labels[row] if leaf.labels else ""
        name = f"{leaf.name} of {label}" if label and leaf.kind in ("table", "formula") else leaf.name
        return Step(leaf.kind, value, unit, name, sources=_sources(leaf, label))

    def _setting(self, key: str, value: float, unit: str) -> Step:
        found = self.settings.get(key)
        if found is None:
            return Step("setting", value, unit, key)
        shown = found.text(DIGITS)
        return Step("setting", value, unit, key, shown, found.meaning, (self.written(key),))

    def written(self, key: str) -> str:
        """Where a setting was written: file, line and text."""
        laid = next((one for one in self.case.overrides if one.partition("=")[0].strip() == key), None)
        if laid is not None:
            return f'--set "{laid}"'
        line = self._lines.get(tuple(key.split(".")))
        if key in self.case.assumed or line is None:
            return "its default" if key in self.case.assumed else f"of {self.case.file}"
        return f"{self.case.file}:{line} {self.case.text.splitlines()[line - 1].strip()}"

    @cached_property
    def _lines(self) -> dict[tuple[str, ...], int]:
        """Key of a setting, in parts -> its line; of one of several materials by name."""
        found = {}
        for path, line in key_lines(self.case.text).items():
            section, *rest = path
            if rest and isinstance(rest[0], int):
                rest[0] = self._names.get((section, rest[0]), "")
            found[(str(section), *map(str, rest))] = line
        return found

    @cached_property
    def materials(self) -> set[str]:
        """The names of what is charged."""
        return set(self._names.values())

    @cached_property
    def _names(self) -> dict[tuple[Any, int], str]:
        """Of the n-th table of a section."""
        inputs = self.history.inputs
        sections = {section: getattr(inputs, section) for section in SECTIONS}
        several = {section: items for section, items in sections.items() if isinstance(items, tuple)}
        return {(section, n): item.name for section, items in several.items() for n, item in enumerate(items)}


def unit_at(node: Node, element: int) -> str:
    """The SI unit of an element; "" of a plain number, and of a zero that may be of any."""
    codes = node.units
    code = codes if isinstance(codes, int) else int(np.broadcast_to(codes, node.value.shape).flat[element])
    return "" if code < 0 else str(UNITS[code])


def _sources(leaf: Leaf, substance: str) -> tuple[str, ...]:
    """Published sources of a number of the tables: of a substance those of its row."""
    if leaf.source or leaf.kind != "table":
        return (leaf.source,) if leaf.source else ()
    if leaf.name == _MOLAR and not substance.startswith("Rest"):  # which has one by convention
        return (f"[{_WEIGHTS}] {load_sources()[_WEIGHTS]}",)
    if substance not in load_substances() or not leaf.name.startswith(_ROWS):
        return ()
    row = find(substance)
    certain = f" ({_CERTAIN[row.seen]})" if row.seen in _CERTAIN else ""
    return tuple(f"[{key}] {load_sources()[key]}{certain}" for key in row.source)
