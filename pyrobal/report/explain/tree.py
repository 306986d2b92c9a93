"""From a reading back to settings, tables and the solver, through the equations that were evaluated."""

from __future__ import annotations

import ast
import dataclasses
import inspect
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from functools import cache, partial
from pathlib import Path
from typing import Any, Final

import numpy as np

from pyrobal.flowsheet.solve import solve
from pyrobal.readings import registry
from pyrobal.readings.reading import Reading
from pyrobal.report.explain import source
from pyrobal.report.explain.ground import Explanation, Ground, Node, documentation
from pyrobal.report.explain.origin import (
    MISSING,
    NUMERICS,
    PLAIN,
    Made,
    Origins,
    Spot,
    is_name,
    numeric,
)  # fmt: skip
from pyrobal.report.explain.record import Call, Record, recording
from pyrobal.report.numbers import number, quantity
from pyrobal.report.result import Line, Result
from pyrobal.thermo.properties import Species

_ROOT: Final = Path(__file__).parents[3]
_DIGITS: Final = 6
_DEEPEST: Final = 40  # levels of a tree; a march in time has hundreds that say the same
_ALIKE: Final = 12  # calls from one place that are all told


class Story:
    """A single case solved with every call written down, to explain any of its readings."""

    def __init__(self, result: Result) -> None:
        self._lines = {line.key: line for line in result.lines}  # also fills every cache before recording
        self._inputs = result.case.inputs
        self._record = Record()
        with recording(self._record), np.errstate(all="ignore"):
            self._results = solve(self._inputs)

    def explain(self, key: str) -> Explanation:
        """The way from the inputs to one reading.

        Raises KeyError, with the nearest key, for a reading the case does not have.
        """
        reading, member = registry.find(key)
        if key not in self._lines:
            raise KeyError(f"{key} has no value in this case")
        line, ground = self._lines[key], Ground(self._inputs)
        with np.errstate(all="ignore"):
            with recording(self._record):
                reading.compute(self._results, *([member] if member else []))
            root = _Tracer(self._record, ground, self._lines, key).call(self._record.tops[-1], key)
        root.kind, root.words = "reading", line.reason or reading.meaning
        root.value = quantity(line.value, line.unit, _DIGITS)
        return Explanation(root, ground.settings, ground.sources, ground.solved)


@cache
def _known() -> dict[str, Reading]:
    """Source of a reading's function -> the reading, of those that are one expression of the results."""
    found: dict[str, Reading] = {}
    for reading in registry.readings():
        node = source.function(reading.compute.__code__) if inspect.isfunction(reading.compute) else None
        if isinstance(node, ast.Lambda) and reading.members is None and _is_path(node.body):
            found.setdefault(source.text(node.body), reading)
    return found


def _is_path(expression: ast.expr) -> bool:
    """Whether an expression only follows the results: ``r.feed.dry_rate``, ``r.smelting.matte.mass()``."""
    while isinstance(expression, ast.Attribute | ast.Call) and not getattr(expression, "args", None):
        expression = expression.value if isinstance(expression, ast.Attribute) else expression.func
    return isinstance(expression, ast.Name) and expression.id == "r"


class _Tracer:
    """Tells where a value came from, and where that came from in turn."""

    def __init__(self, record: Record, ground: Ground, lines: Mapping[str, Line], key: str) -> None:
        self.origins, self.ground = Origins(record), ground
        self.lines, self.key = lines, key
        self.told: dict[Hashable, Node] = {}
        self.level = 0

    def call(self, call: Call, name: str) -> Node:
        """A function that was called: what it returned, and from what."""
        definition = source.function(call.code)
        doc = documentation(call)
        node = Node("function", name, _shown(call.value, source.unit(doc)), words=source.words(doc))
        node.place = f"{_file(call.code.co_filename)}:{call.code.co_firstlineno}"
        if call.module.startswith(NUMERICS):
            return self.ground.solution(call, node)
        self.ground.cite(call, doc)
        if self.ground.table(call, node):
            return node
        returned = source.result(definition, call.ended) if definition is not None else None
        if returned is not None:
            self._fill(node, returned, call)
        return node

    def _fill(self, node: Node, expression: ast.expr, call: Call) -> None:
        node.equation = source.text(expression)
        told: set[Hashable] = set()
        for operand in source.operands(expression):
            for child in self.operand(operand, call):
                key = id(child.origin or child) if child.children else (child.name, child.value)
                if key not in told:
                    told.add(key)
                    node.children.append(child)

    def operand(self, expression: ast.expr, call: Call) -> Iterator[Node]:
        """The nodes of one operand: several of a plain function of others, none where it is no number."""
        value, name = self.origins.value(expression, call), source.text(expression)
        looped = len(self.origins.calls(expression, call)) > 1
        if not looped and (setting := self.ground.given.get(id(value))) is not None:
            yield self.ground.setting(setting, name)
        elif (table := self.ground.tables.get(id(value))) is not None:
            yield self.ground.table_of_settings(table, name)
        elif isinstance(phase := self._owner(expression, call), Species):
            yield self.ground.tabulated(name, phase, call)
        elif isinstance(expression, ast.Name) and value is MISSING:
            for part in self._bound(expression, call):
                yield from self.operand(part, call)
        elif isinstance(expression, ast.Name) and expression.id not in call.names:
            yield from self.ground.constant(expression.id, value)
        elif made := self.origins.made(expression, value, call):
            yield from self._steps(expression, made, call)
        elif isinstance(expression, ast.Call | ast.Subscript | ast.Attribute):
            yield from self._inside(expression, call)
        elif numeric(value):
            yield Node("value", name, _shown(value, ""))

    def _owner(self, expression: ast.expr, call: Call) -> Any:
        return self.origins.value(expression.value, call) if isinstance(expression, ast.Attribute) else None

    def _bound(self, name: ast.Name, call: Call) -> Iterator[ast.expr]:
        """What a name of a comprehension runs over."""
        definition = source.function(call.code)
        over = source.runs_over(definition, name) if definition is not None else None
        return source.operands(over) if over is not None else iter(())

    def _inside(self, expression: ast.Call | ast.Subscript | ast.Attribute, call: Call) -> Iterator[Node]:
        """What an expression nobody wrote down was made of: under its own name where it is a number."""
        parts = [inner for part in source.within(expression) for inner in source.operands(part)]
        below = [node for part in parts for node in self.operand(part, call)]
        value = self.origins.value(expression, call)
        if isinstance(expression, ast.Call) or not numeric(value):
            yield from below
        else:
            shown = _shown(value, self._unit(expression, call))
            yield Node("value", source.text(expression), shown, children=below)

    def _steps(self, expression: ast.expr, made: Made, call: Call) -> Iterator[Node]:
        """An operand that calls or equations made; one met before is named again, not told again."""
        calls = [maker for maker in made if isinstance(maker, Call)]
        name = source.text(expression)
        if calls and calls[0].module in PLAIN:
            if isinstance(expression, ast.Call | ast.Attribute) and calls[0].caller is call:
                yield from self._inside(expression, call)
        elif calls:
            for maker in calls if len(calls) <= _ALIKE else calls[-1:]:
                yield self._once(id(maker), name, partial(self._called, maker=maker))
        else:
            spots = [maker for maker in made if not isinstance(maker, Call)]
            shown = _shown(self.origins.value(expression, call), self._unit(expression, call))
            key = tuple((id(home), id(spot)) for spot, home in spots)
            yield self._once(key, name, partial(self._derived, spots=spots, shown=shown))

    def _once(self, key: Hashable, name: str, tell: Callable[[Node], None]) -> Node:
        """The node of something that was made, told the first time it is met."""
        if (told := self.told.get(key)) is None:
            node = self.told[key] = Node("equation", name)
            self.level += 1
            if self.level <= _DEEPEST:
                tell(node)
            self.level -= 1
            self._recognise(node)
            return node
        return dataclasses.replace(told, name=name, origin=told.origin or told)

    def _called(self, node: Node, maker: Call) -> None:
        setting = self.ground.given.get(id(maker.value))
        found = self.ground.setting(setting, node.name) if setting else self.call(maker, node.name)
        node.__dict__.update(found.__dict__)

    def _derived(self, node: Node, spots: Sequence[Spot], shown: str) -> None:
        """A value from the expressions that set it; a mere change of name is passed over."""
        node.value = shown
        for spot, home in spots:
            part = Node("equation", node.name)
            self._fill(part, spot, home)
            node.equation = "; ".join(filter(None, (node.equation, part.equation)))
            node.children += part.children
            line = spot.lineno or home.code.co_firstlineno
            node.place = node.place or f"{_file(home.code.co_filename)}:{line}"
        renamed = len(spots) == 1 and isinstance(spots[0][0], ast.Name | ast.Attribute)
        if renamed and len(node.children) == 1 and node.children[0].origin is None:
            name, only = node.name, node.children[0]
            node.__dict__.update(only.__dict__)
            node.name, node.value = name, only.value or shown

    def _recognise(self, node: Node) -> None:
        """Say so where an operand is a reading of its own."""
        reading = _known().get(node.name)
        if reading is not None and reading.key != self.key and reading.key in self.lines:
            line = self.lines[reading.key]
            node.words = f"the reading {reading.key}: {reading.meaning}"
            node.value = quantity(line.value, line.unit, _DIGITS)

    def _unit(self, expression: ast.expr, call: Call) -> str:
        """The unit of a field, or of a name that becomes a field of what the call returned."""
        match expression:
            case ast.Attribute(value=base, attr=attr):
                return source.field_unit(self.origins.value(base, call), attr)
            case ast.Name(id=name) if dataclasses.is_dataclass(call.value):
                definition = source.function(call.code)
                built = source.result(definition, call.ended) if definition is not None else None
                fields = [f.name for f in dataclasses.fields(call.value) if f.init]
                given = [f for f in fields if isinstance(built, ast.Call) and is_name(built, fields, f, name)]
                return source.field_unit(call.value, given[0]) if given else ""
        return ""


def _file(name: str) -> str:
    path = Path(name)
    return str(path.relative_to(_ROOT)) if path.is_relative_to(_ROOT) else path.name


def _shown(value: Any, unit: str) -> str:
    """A number with its unit in SI; an array of several by its length."""
    if not numeric(value):
        return ""
    flat = np.ravel(np.asarray(value, dtype=float))
    if flat.size != 1:
        return f"{flat.size} values" + (f" {unit}" if unit else "")
    text = number(float(flat[0]), 6)
    return f"{text} {unit}" if unit and unit != "-" else text
