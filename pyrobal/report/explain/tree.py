"""From a reading back to settings, tables and the solver, through the equations that were evaluated."""

from __future__ import annotations

import ast
import dataclasses
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from functools import cache, partial
from pathlib import Path
from types import CodeType
from typing import Any, Final

import numpy as np

from pyrobal.report.explain import si, source, stated, written
from pyrobal.report.explain.equation import PRODUCT, SUM, Phrase, Writer, of_node
from pyrobal.report.explain.expression import MISSING, PLAIN, Evaluated, agree, numeric, single
from pyrobal.report.explain.ground import Ground, documentation
from pyrobal.report.explain.node import DIGITS, Node
from pyrobal.report.explain.origin import Origins
from pyrobal.report.explain.record import Call, Record
from pyrobal.report.explain.unroll import Unroller
from pyrobal.report.explain.words import UNNAMED, Namer, constant
from pyrobal.report.numbers import quantity
from pyrobal.report.result import Line
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import Species

_HOME: Final = Path(__file__).parents[2]
_MANY: Final = 12  # operands beyond which an equation cannot be read
_DEEPEST: Final = 40
_TABLES: Final = ("pyrobal.thermo.curve", "pyrobal.thermo.properties")
_FOLDED: Final = 12  # sums that are told as one


class Tracer:
    """Tells where a value came from, and where that came from in turn."""

    def __init__(self, record: Record, ground: Ground, known: dict[str, tuple[Line, float]]) -> None:
        self.origins, self.ground, self.known = Origins(record), ground, known
        self.unroller, self.namer = Unroller(self.origins), Namer(self.origins)
        self.writer = Writer(self.origins, self.namer, self.unroller, self.operand)
        self.made: dict[Hashable, Node] = {}
        self.pairs: dict[int, int] = {}  # node -> the expression it was made by
        self.level = 0

    @contextmanager
    def _deeper(self) -> Iterator[None]:
        """What is passed on is followed so far at one go; the rest is told in a line of its own."""
        self.level += 1
        try:
            yield
        finally:
            self.level -= 1

    def reading(self, line: Line, value: float, call: Call) -> Node:
        """The root of a tree."""
        node = Node("reading", line.key, value, si.of_plant(line.unit), words=line.reason or line.meaning)
        node.shown = quantity(line.value, line.unit, DIGITS)
        node.tell = partial(self._tell_call, node, call)
        return node.told()

    def operand(self, expression: ast.expr, call: Call) -> Phrase:
        """What a name, a field, a part or a call stands for: one node, or the text of what it passes on."""
        expression = self.origins.plainly(expression, call)
        if isinstance(expression, ast.Constant):
            return self.writer.phrase(expression, call)
        value = self.origins.value(expression, call)
        if (setting := self.ground.given.get(id(value))) is not None:
            return of_node(self._kept(("setting", setting.key), lambda: self.ground.setting(setting)))
        if (table := self.ground.tables.get(id(value))) is not None:
            return of_node(self._kept(("setting", table), lambda: self.ground.table_of_settings(table)))
        if (column := self._column(expression, call)) is not None:
            return column
        if isinstance(expression, ast.Attribute):
            phase = self.origins.value(expression.value, call)
            if isinstance(phase, Species):
                return of_node(self._table(expression, expression.attr, phase, phase.names, value, call))
        if isinstance(expression, ast.Name) and expression.id not in call.names:
            return self._constant(expression.id, value, call.code)
        part = self._part(expression, value, call) if isinstance(expression, ast.Subscript) else None
        return part or self._made(expression, value, call)

    def _part(self, part: ast.Subscript, value: Any, call: Call) -> Phrase | None:
        """One of several values that stand in the source together."""
        if isinstance(part.value, ast.GeneratorExp):
            each, at = self.unroller.each(part.value, call), part.slice
            if each is not None and isinstance(at, ast.Constant) and isinstance(at.value, int):
                return self.writer.phrase(*each[at.value])
        return self._tabulated(part, value, call)

    def _made(self, expression: ast.expr, value: Any, call: Call) -> Phrase:
        made = self.origins.made(expression, value, call)
        calls = [maker for maker in made if isinstance(maker, Call)]
        pairs = [maker for maker in made if not isinstance(maker, Call)]
        if calls and calls[-1].module not in PLAIN:
            return self._of_call(expression, calls[-1], call)
        entry = isinstance(expression, ast.Subscript) and not expression.lineno
        if len(pairs) == 1 and (entry or (value is MISSING and isinstance(pairs[0][0], ast.Constant))):
            return self.writer.phrase(*pairs[0])
        key = tuple((id(home), id(pair)) for pair, home in pairs) or (id(call), id(expression))
        node = self._kept(key, lambda: self._value(expression, value, call))
        if pairs and _open(node):
            node.tell = partial(self._tell, node, pairs)
        elif isinstance(expression, ast.Call | ast.Subscript) and not pairs and _open(node):
            node.tell = partial(self._from, node, expression, call)
        return of_node(node)

    def _of_call(self, expression: ast.expr, maker: Call, call: Call) -> Phrase:
        """A call: what it passes on, in place; else a value with an equation of its own."""
        if (setting := self.ground.given.get(id(maker.value))) is not None:
            return of_node(self.ground.setting(setting))
        while maker.module in _TABLES and maker.caller is not None and maker.caller.module in _TABLES:
            maker = maker.caller
        owner = maker.names.get("self")
        if isinstance(owner, Species) and not maker.code.co_name.startswith("_"):
            return of_node(self._table(expression, maker.code.co_name, owner, owner.names, maker.value, call))
        known = single(maker.value) and float(np.ravel(maker.value)[0]).hex() in self.known
        returned = self._passed_on(maker) if self.level < _DEEPEST and not known else None
        if returned is not None and not maker.solves:
            self.ground.cite(maker, documentation(maker))
            with self._deeper():
                phrase = self.writer.phrase(returned, maker)
            if len(phrase.parts) <= _MANY:
                return phrase
        node = self._kept(id(maker), lambda: self._value(expression, maker.value, call))
        if _open(node):
            doc = documentation(maker)
            node.unit = node.unit or source.returned_unit(doc) or None
            node.tell = partial(self._tell_call, node, maker)
        return of_node(node)

    def _passed_on(self, maker: Call) -> ast.expr | None:
        """What a function returns, where it is a lambda or does nothing but pass a value on."""
        definition = source.function(maker.code)
        returned = source.result(definition, maker.ended) if definition is not None else None
        if isinstance(definition, ast.Lambda):
            return returned
        while isinstance(returned, ast.IfExp):
            taken = self.origins.evaluated(returned.test, maker)
            returned = returned.body if taken is True else returned.orelse if taken is False else None
        return returned if isinstance(returned, ast.Attribute | ast.Subscript | ast.Call) else None

    def _column(  # noqa: C901 - ways to be a column
        self, expression: ast.expr, call: Call
    ) -> Phrase | None:
        """One substance of many: ``n[:, i]``."""
        match expression:
            case ast.Subscript(
                value=ast.Subscript(value=whole, slice=ast.Tuple(elts=[ast.Slice(), ast.Slice()])),
                slice=ast.Tuple(elts=[ast.Slice(), _]),
            ):
                return self.writer.phrase(whole, call)  # the tears of the recycles, side by side
            case ast.Subscript(value=whole, slice=ast.Tuple(elts=[ast.Slice(), index])):
                k, array = self.origins.evaluated(index, call), self.origins.evaluated(whole, call)
            case _:
                return None
        if not isinstance(k, int | np.integer) or not isinstance(array, np.ndarray):
            return None
        if array.ndim == 2 and array.shape[1] == 1:  # shared by all columns
            return self.writer.phrase(whole, call)
        flat = np.ravel(array)
        if array.ndim == 2 and k >= array.shape[1]:
            return None  # of another round of a loop, of which only the last was kept
        value = array[:, k] if array.ndim == 2 else flat[k] if flat.size > k else MISSING
        label = index.kind if isinstance(index, ast.Constant) and index.kind else ""
        phase = self.namer.phase(whole, call)
        label = label or (phase.names[k] if phase is not None and len(phase.names) > k else "")
        if not label and array.shape[-1] == len(ELEMENTS):
            label = ELEMENTS[k]
        if label and not (isinstance(index, ast.Constant) and index.kind):
            expression = written.column(whole, int(k), label)
        if isinstance(whole, ast.BinOp):
            pair = self.unroller.column(whole, int(k), label, call)
            return self.writer.phrase(*pair) if pair is not None else None
        if array.ndim == 1 or isinstance(self._owner(whole, call), Species):
            return self._table_column(whole, label, value, call)
        key = (id(call), id(whole), int(k))
        node = self._kept(key, lambda: self._value(expression, value, call))
        if _open(node):
            pair = self.unroller.column(whole, int(k), label, call)
            node.unit = node.unit or stated.unit(self.origins, whole, call)
            if pair is not None:
                node.tell = partial(self._tell, node, [pair])
            else:
                node.tell = partial(self._tell_together, node, whole, call)
        return of_node(node)

    def _owner(self, expression: ast.expr, call: Call) -> Any:
        match expression:
            case ast.Attribute(value=base) | ast.Call(func=ast.Attribute(value=base)):
                return self.origins.value(base, call)
        return None

    def _table_column(self, whole: ast.expr, label: str, value: Any, call: Call) -> Phrase:
        phase = self._owner(whole, call)
        attr = (
            whole.attr
            if isinstance(whole, ast.Attribute)
            else getattr(getattr(whole, "func", None), "attr", "")
        )
        if isinstance(phase, Species) and label:
            return of_node(self._table(whole, attr, phase, (label,), value, call))
        name = self.namer.of_column(whole, label, call)
        unit = "" if attr == "composition" or name.startswith("atoms") else None
        return of_node(Node("constant", name, float(np.ravel(value)[0]) if single(value) else None, unit))

    def _table(
        self, expression: ast.expr, attr: str, phase: Species, names: tuple[str, ...], value: Any, call: Call
    ) -> Node:
        word = attr.replace("_", " ")
        name = f"{word} of {names[0]}" if len(names) == 1 else word
        return self.ground.tabulated(name, attr, phase, names, value)

    def _tabulated(self, part: ast.Subscript, value: Any, call: Call) -> Phrase | None:
        """One number of a table that a module keeps, element by element."""
        table, k = self.origins.value(part.value, call), self.origins.evaluated(part.slice, call)
        if not isinstance(part.value, ast.Name) or part.value.id in call.names or not isinstance(k, int):
            return None
        if not isinstance(table, np.ndarray) or table.shape != (len(ELEMENTS),):
            return None
        unit = source.constant_unit(call.code.co_filename, part.value.id)
        name = f"{constant(part.value.id)} of {ELEMENTS[k]}"
        return of_node(self._kept(name, lambda: Node("constant", name, float(table[k]), unit)))

    def _constant(self, name: str, value: Any, code: CodeType) -> Phrase:
        if value is MISSING:
            return Phrase(constant(name))
        one = float(value) if isinstance(value, float | int) and not isinstance(value, bool) else None
        if one is None and not isinstance(value, np.ndarray):
            return Phrase(str(value))
        unit = (
            "kg/mol"
            if constant(name).startswith("molar mass")
            else source.constant_unit(code.co_filename, name)
        )
        return of_node(self._kept(("constant", name), lambda: Node("constant", constant(name), one, unit)))

    def _kept(self, key: Hashable, make: Callable[[], Node]) -> Node:
        """One node for one value, whatever it is called."""
        if key not in self.made:
            self.made[key] = make()
        return self.made[key]

    def _value(self, expression: ast.expr, value: Any, call: Call) -> Node:
        """A node for a value, under the key of the reading where it is one."""
        if value is MISSING:
            value = self.origins.evaluated(expression, call)
        one = float(np.ravel(value)[0]) if single(value) else None
        unit = stated.unit(self.origins, expression, call)
        line, _ = self.known.get(one.hex(), (None, 0.0)) if one is not None else (None, 0.0)
        if line is not None and (unit is None or si.product(unit) in (None, si.of_plant(line.unit))):
            node = Node("reading", line.key, one, si.of_plant(line.unit), words=line.meaning)
            node.shown = quantity(line.value, line.unit, DIGITS)
            return node
        name = self.namer.name(expression, call) or UNNAMED
        shown = "" if one is not None or not numeric(value) else f"{np.size(value)} values"
        return Node("equation", name, one, unit, shown, self._said(expression, call))

    def _said(self, expression: ast.expr, call: Call) -> str:
        """What the documentation says of a field."""
        if isinstance(expression, ast.Attribute):
            owner = self.origins.value(expression.value, call)
            return source.meaning(owner, expression.attr) if dataclasses.is_dataclass(owner) else ""
        return ""

    def _tell_call(self, node: Node, maker: Call) -> None:
        """The equation of a function: what it returned."""
        doc = documentation(maker)
        if maker.solves:
            self.ground.solution(maker, node)
            return
        self.ground.cite(maker, doc)
        definition = source.function(maker.code)
        returned = source.result(definition, maker.ended) if definition is not None else None
        if definition is not None and source.tries(definition):
            self._tell_trial(node, definition, maker)
        elif returned is not None:
            self._tell(node, [(returned, maker)])

    def _tell_trial(self, node: Node, definition: source.Function, maker: Call) -> None:
        """A value found by trial: what was given to the function that sought it."""
        given = [self.operand(written.local(name), maker) for name in source.parameters(definition)]
        node.parts = tuple(part for phrase in given for part in phrase.parts)
        node.equation = "found by trial from " + ", ".join(dict.fromkeys(part.mark for part, _ in node.parts))
        node.place = _place(maker.code)

    def _tell(self, node: Node, pairs: list[Evaluated]) -> None:
        """A value from the expressions that set it; a mere change of name is passed over."""
        if len(pairs) > 1 and node.si is None:
            self._tell_filled(node, pairs)
            return
        for pair, home in pairs[:1]:
            phrase = self.writer.phrase(pair, home)
            node.place = _place(home.code)
        inner = phrase.bare or _unchanged(phrase)
        many = len({id(part) for part, _ in phrase.parts}) > _MANY
        if many or not agree(phrase.value, node.si):  # set in rounds, of which only the last was kept
            node.equation, node.parts = _together(phrase), phrase.parts
            return
        telling = inner is not None and inner.kind in ("equation", "solved") and inner is not node
        if telling and inner is not None and self.level < _DEEPEST:
            with self._deeper():
                inner.told()
            node.equation, node.place, node.parts = inner.equation, inner.place, inner.parts
            self.pairs[id(node)] = self.pairs.get(id(inner), 0)
            node.words = node.words or inner.words
            node.algebra = inner.dimension
            if node.kind == "reading" and not inner.equation:
                node.equation, node.parts, node.place = phrase.text, phrase.parts, _place(home.code)
            elif node.kind != "reading":
                node.kind = inner.kind if inner.equation else "value"
            return
        node.equation, node.parts = phrase.text, phrase.parts
        node.algebra = phrase.unit
        self.pairs[id(node)] = id(pairs[0][0])
        if phrase.level == SUM:
            self._fold(node)

    def _tell_filled(self, node: Node, pairs: list[Evaluated]) -> None:
        """An array that was filled piece by piece: what its pieces came from."""
        below = [(o, home) for pair, home in pairs for o in (pair, *stated.run_over(pair, home))]
        found = [part for o, home in below for part in self.writer.phrase(o, home).parts]
        node.parts = tuple(p for p in found if p[0] is not node and p[0].name != UNNAMED)
        node.place = _place(pairs[0][1].code)
        node.equation = "from " + ", ".join(dict.fromkeys(part.mark for part, _ in node.parts))

    def _fold(self, node: Node) -> None:
        """A sum whose first term is such a sum itself, made by the same code one step before, on one line."""
        for _ in range(_FOLDED):
            first = next(iter(node.parts), (None, 0.0))[0]
            if first is None or first is node or not node.equation.startswith(f"{first.mark} + "):
                return
            with self._deeper():
                first.told() if self.level < _DEEPEST else None
            if self.pairs.get(id(first)) != self.pairs.get(id(node)) or " + " not in first.equation:
                return
            node.equation = node.equation.replace(first.mark, first.equation, 1)
            node.parts = (*first.parts, *node.parts[1:])

    def _tell_together(self, node: Node, whole: ast.expr, call: Call) -> None:
        """One of many values that were found together: all that went in."""
        made = self.origins.made(whole, MISSING, call)
        if not made:
            return
        last = made[-1]
        if isinstance(last, Call):
            phrase = self._of_call(whole, last, call)
        else:
            self._from(node, *last)
            return
        if phrase.bare is not None and phrase.bare.told().kind == "solved":
            node.kind = "reading" if node.kind == "reading" else "solved"
            node.equation, node.words = phrase.bare.equation, phrase.bare.words
        elif phrase.bare is not None and phrase.bare is not node:
            node.equation, node.parts = f"from {phrase.bare.mark}", phrase.parts

    def _from(self, node: Node, expression: ast.expr, home: Call) -> None:
        """The operands of an expression that is not written as an equation."""
        below = [o for inside in source.inside(expression) for o in source.operands(inside)]
        parts = [part for operand in below for part in self.operand(operand, home).parts]
        if all(part is node or not (part.value or part.equation) for part, _ in parts):
            parts = list(self._given(home))
        node.parts, node.place = tuple(parts), _place(home.code)
        node.equation = "from " + ", ".join(dict.fromkeys(part.mark for part, _ in parts)) if parts else ""

    def _given(self, home: Call) -> Iterator[tuple[Node, float]]:
        """What a function was given, where its source does not tell how a value came of it."""
        definition = source.function(home.code)
        for name in source.parameters(definition) if definition is not None else ():
            yield from (p for p in self.operand(written.local(name), home).parts if p[0].value)


def _open(node: Node) -> bool:
    """Whether a node is still to be told of."""
    return node.tell is None and not node.equation and node.kind in ("equation", "reading")


def _unchanged(phrase: Phrase) -> Node | None:
    """The operand that a sum or product leaves as it was: nothing else is added, or the factor is one."""
    most = [node for node, share in phrase.parts if share == 1.0 and node.si == phrase.value]
    told = {id(node) for node in most}
    return most[0] if len(told) == 1 and phrase.level in (SUM, PRODUCT) and phrase.value else None


def _together(phrase: Phrase) -> str:
    """What went in, the largest shares first, where it is not written as an equation."""
    marks = list(dict.fromkeys(part.mark for part, _ in sorted(phrase.parts, key=lambda p: -p[1])))
    more = f" and {len(marks) - _MANY} more" if len(marks) > _MANY else ""
    return f"from {', '.join(marks[:_MANY])}{more}"


@cache
def _place(code: CodeType) -> str:
    """File and function."""
    path = Path(code.co_filename)
    file = str(path.relative_to(_HOME)) if path.is_relative_to(_HOME) else path.name
    return file if code.co_name.startswith("<") else f"{file}: {code.co_name}"
