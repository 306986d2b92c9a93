"""Where a value came from: the call that made it, or the expression that did, however it was handed on."""

from __future__ import annotations

import ast
import dataclasses
import functools
from collections.abc import Mapping, MappingView
from types import GeneratorType
from typing import Any, Final, cast

import numpy as np

from pyrobal.report.explain import source, written
from pyrobal.report.explain.expression import (
    MISSING,
    PLAIN,
    Evaluated,
    Made,
    Parts,
    class_of,
    compiled,
    entry_of,
    numeric,
    stored,
)
from pyrobal.report.explain.record import Call, Record

_LONGEST: Final = 30  # steps an object is followed through names and arguments


class Origins:
    """Looks up expressions in what was written down."""

    parts: Parts  # set by the one who takes collections apart

    def __init__(self, record: Record) -> None:
        self._record = record
        self._bound: dict[tuple[int, int], tuple[source.Binding, ...]] = {}
        self._busy: set[tuple[int, int]] = set()  # what is being worked out

    def value(self, expression: ast.expr, call: Call) -> Any:
        """What an expression was in a call; MISSING where it cannot be told without computing anew."""
        if made := self.calls(expression, call):
            return made[-1].value
        expression = self.plainly(expression, call)
        match expression:
            case ast.Constant(value=value):
                return value
            case ast.Name():
                return self._named(expression, call)
            case ast.Attribute(value=base, attr=attr):
                owner = self.value(base, call)
                return MISSING if owner is MISSING else stored(owner, attr)
            case ast.Subscript(value=base, slice=part):
                key = self.value(part, call)
                later = isinstance(base, ast.Name) and self._set_later(base, call)
                if later and isinstance(key, str | int) and (pair := self._within(base, key, call)):
                    return self.evaluated(*pair)
                return entry_of(self.value(base, call), key)
        return MISSING

    def calls(self, expression: ast.expr, call: Call) -> list[Call]:
        """The calls an expression made; what a class calls while it is put together is no result of it."""
        if isinstance(expression, ast.Call) and isinstance(self.value(expression.func, call), type):
            return []
        return call.at(source.position(expression))

    def plainly(self, expression: ast.expr, call: Call) -> ast.expr:
        """``getattr(x, name)`` as the attribute it is, ``table.get(key, default)`` as what it gives."""
        match expression:
            case ast.Call(func=ast.Name(id="getattr"), args=[base, name, *_]):
                word = self.value(name, call)
                return written.member(base, word) if isinstance(word, str) else expression
            case ast.Call(func=ast.Attribute(value=base, attr="get"), args=[key, *default]):
                table, word = self.value(base, call), self.value(key, call)
                if isinstance(table, Mapping) and isinstance(word, str):
                    absent = default[0] if default else written.constant(0.0)
                    return written.item(base, word) if word in table else absent
            case ast.Subscript(value=ast.Call(args=args) as same, slice=ast.Constant(value=int(i))):
                plain = class_of(same) == "broadcast_arrays" and not isinstance(args[i], ast.Starred)
                return args[i] if plain else expression
        return expression

    def _named(self, name: ast.Name, call: Call) -> Any:
        """A local or global; of one that is set again later, what it was where it is used."""
        definition = source.function(call.code)
        if definition is None or name.id not in call.names:
            return call.names.get(name.id, call.globals.get(name.id, MISSING))
        if source.looped(definition, name.id) is not None:
            return MISSING  # the last of many
        if not source.set_again(definition, name):
            return call.names[name.id]
        before = self._of_name(name, call)
        return self.evaluated(*before[0]) if len(before) == 1 else MISSING

    def evaluated(self, expression: ast.expr, call: Call) -> Any:
        """An expression worked out once more from what its names were."""
        if (value := self.value(expression, call)) is not MISSING:
            return value
        if (id(expression), id(call)) in self._busy:  # a name that is set from itself, round after round
            return MISSING
        self._busy.add((id(expression), id(call)))
        try:
            return self._computed(expression, call)
        finally:
            self._busy.discard((id(expression), id(call)))

    def _computed(self, expression: ast.expr, call: Call) -> Any:
        names = {n.id: self._named(n, call) for n in source.nodes(expression) if isinstance(n, ast.Name)}
        known = {name: value for name, value in names.items() if value is not MISSING}
        try:
            return eval(compiled(source.text(expression)), {**call.globals, **known})
        except Exception:  # whatever it needs that was not kept
            return MISSING

    def made(self, expression: ast.expr, value: Any, call: Call) -> Made:
        """The calls that made a value, or the expressions that did."""
        if made := self.calls(expression, call):
            return [_outermost(one) for one in made]
        if (maker := self._maker(value, call)) is not None:
            return [_outermost(maker)]
        holder = isinstance(value, Mapping | MappingView | tuple | list | GeneratorType)
        if not (numeric(value) or value is MISSING or holder):
            return []
        match expression := self.plainly(expression, call):
            case ast.Name():
                return list(self._of_name(expression, call))
            case ast.Subscript():
                pair = self.back(expression, call)
                return [pair] if pair is not None else []
            case ast.Attribute(value=base, attr=attr):
                pair = self._of_field(base, attr, call)
                if pair is not None and pair[1].solves:
                    return [_outermost(pair[1])]
                return [pair] if pair is not None else []
        return []

    def _maker(self, value: Any, call: Call) -> Call | None:
        """The call that made a value before ``call`` used it; later ones only passed it on."""
        maker = self._record.maker(value)
        while maker is not None and maker.module in PLAIN:
            passed_on = maker.caller is not None and maker.caller.value is value
            maker = maker.caller if passed_on else None
        return maker if maker is not None and maker.finished < call.finished else None

    def _of_name(self, name: ast.Name, call: Call) -> list[Evaluated]:
        definition = source.function(call.code)
        if definition is None:
            return []
        if isinstance(definition, ast.FunctionDef) and (found := self.bindings(name, call)):
            return [(binding.value, call) for binding in found]
        given = self._argument(call, definition, name.id)
        return [given] if given is not None else []

    def bindings(self, name: ast.Name, call: Call) -> tuple[source.Binding, ...]:
        """What set a name before it was used: its last plain assignment, then what changed parts of it."""
        key = (id(name), id(call))
        if key not in self._bound:
            definition = source.function(call.code)
            every = source.above(definition, name) if definition is not None else ()
            found = [b for b in every if self._happened(b, call)]
            since = max((i for i, b in enumerate(found) if b.whole), default=0)
            self._bound[key] = tuple(found[since:])
        return self._bound[key]

    def _happened(self, binding: source.Binding, call: Call) -> bool:
        """Whether a statement was run, as far as the tests it depends on can be told."""
        for test, outcome in binding.when:
            value = self.evaluated(test, call)
            if isinstance(value, bool | np.bool_) and value != outcome:
                return False
        return True

    def argument_of(self, name: ast.Name, call: Call) -> Evaluated | None:
        """What the caller gave for a name that is a parameter and was not set since."""
        definition = source.function(call.code)
        if definition is None or self.bindings(name, call):
            return None
        return self._argument(call, definition, name.id)

    def _argument(self, call: Call, definition: source.Function, name: str) -> Evaluated | None:
        """What the caller gave for a parameter."""
        names = source.parameters(definition)
        site = self._site(call)
        if name not in names or site is None or call.caller is None:
            return None
        found: ast.expr | None = None
        if isinstance(site, ast.BinOp):
            found = site.left if name == names[0] else site.right
        elif class_of(site) == "reduce":
            return self._reduced(call, site, names.index(name))
        elif name == names[0] == "self" and isinstance(site.func, ast.Attribute):
            found = site.func.value
        else:
            names = names[1:] if names[0] == "self" and isinstance(site.func, ast.Attribute) else names
            part = self.value(site.func, call.caller)
            if isinstance(part, functools.partial):  # its own arguments stand before those of the call
                names = [n for n in names[len(part.args) :] if n not in part.keywords]
            found = source.argument(site, names, name) if name in names else None
        return self.parts.in_round(found, call) if found is not None else None

    def _reduced(self, call: Call, site: ast.Call, side: int) -> Evaluated | None:
        """Of ``reduce(f, parts)``: the next part on the right, what came of those before on the left."""
        if call.caller is None or len(site.args) < 2:
            return None
        i, _ = call.turn()
        if side == 1 or i == 0:
            return (written.item(site.args[1], i + side), call.caller)
        before = call.caller.at(call.site)[i - 1]
        definition = source.function(before.code)
        found = source.result(definition, before.ended) if definition is not None else None
        return (found, before) if found is not None else None

    def _of_star(self, name: ast.Name, index: int, call: Call) -> Evaluated | None:
        """One of the arguments that ``*name`` stands for."""
        definition, site = source.function(call.code), self._site(call)
        star = definition.args.vararg if definition is not None else None
        if (
            definition is None
            or star is None
            or star.arg != name.id
            or not isinstance(site, ast.Call)
            or call.caller is None
        ):
            return None
        at = (
            len(source.parameters(definition))
            + index
            - isinstance(site.func, ast.Attribute) * (source.parameters(definition)[:1] == ["self"])
        )
        plain = at < len(site.args) and not any(isinstance(a, ast.Starred) for a in site.args)
        return self.parts.in_round(site.args[at], call) if plain else None

    def _site(self, call: Call) -> ast.Call | ast.BinOp | None:
        """The expression that made a call."""
        if call.caller is None or call.site is None:
            return None
        definition = source.function(call.caller.code)
        return source.calls(definition).get(call.site) if definition is not None else None

    def _of_field(self, base: ast.expr, attr: str, call: Call) -> Evaluated | None:
        """The expression a field of an object was made from, where the object was put together."""
        owner = self.value(base, call)
        kind = type(owner)
        fields = getattr(kind, "_fields", None) or [
            f.name for f in dataclasses.fields(owner) if f.init
        ] if dataclasses.is_dataclass(owner) or hasattr(kind, "_fields") else ()  # fmt: skip
        if attr not in fields:
            return None
        pair = self._construction(base, call)
        if pair is None:
            return None
        built, home = pair
        if home.solves:
            return pair
        if class_of(built) == "replace" and built.args:
            changed = next((k.value for k in built.keywords if k.arg == attr), None)
            return (changed, home) if changed is not None else self._of_field(built.args[0], attr, home)
        if class_of(built) != kind.__name__:
            return None
        if (starred := source.starred(built)) is not None:
            each = self.parts.each(starred, home)
            return each[list(fields).index(attr)] if each is not None else None
        found = source.argument(built, list(fields), attr)
        for keyword in built.keywords:
            spread = keyword.arg is None and self.value(keyword.value, home)
            if found is None and isinstance(spread, Mapping) and attr in spread:
                found = written.item(keyword.value, attr)
        return (found, home) if found is not None else None

    def _construction(self, expression: ast.expr, call: Call) -> tuple[ast.Call, Call] | None:
        """Follow an object back to the call of its class."""
        pair: Evaluated | None = (expression, call)
        for _ in range(_LONGEST):
            if pair is None or self._is_built(*pair):
                break
            pair = self.back(*pair)
        return cast("tuple[ast.Call, Call]", pair) if pair is not None and self._is_built(*pair) else None

    def _is_built(self, here: ast.expr, home: Call) -> bool:
        """Whether an expression is the call of a class."""
        return isinstance(self.plainly(here, home), ast.Call) and self.returned(here, home) is None

    def back(self, here: ast.expr, home: Call) -> Evaluated | None:
        """One step towards where an object was put together."""
        if (returned := self.returned(here, home)) is not None:
            return returned
        match here := self.plainly(here, home):
            case ast.Name():
                return next(iter(self._of_name(here, home)), None)
            case ast.IfExp(test=test, body=body, orelse=other):
                return (body if self.evaluated(test, home) else other, home)
            case ast.Attribute(value=base, attr=attr):
                return self._of_field(base, attr, home)
            case ast.Subscript(value=base, slice=part):
                key, owner = self.evaluated(part, home), self.value(base, home)
                fields = getattr(type(owner), "_fields", ())
                if isinstance(key, int) and 0 <= key < len(fields):
                    return self._of_field(base, fields[key], home)
                return self._within(base, key, home) if isinstance(key, int | str) else None
        return None

    def _within(  # noqa: C901 - one case for each way to put things together
        self, whole: ast.expr, key: int | str, home: Call
    ) -> Evaluated | None:
        """One value of a tuple or a dict, where that was put together."""
        pair: Evaluated | None = (whole, home)
        for _ in range(_LONGEST):
            match pair:
                case (ast.Tuple() | ast.List() | ast.ListComp() | ast.GeneratorExp() as many, call):
                    found = self.parts.several(many, call) if isinstance(key, int) else None
                    return found[key] if found and isinstance(key, int) and key < len(found) else None
                case (ast.BinOp(left=left, op=ast.Add(), right=right), call) if isinstance(key, int):
                    before = self.evaluated(left, call)
                    if not isinstance(before, tuple | list):
                        return None
                    inner = key < len(before)
                    return self._within(left if inner else right, key - (not inner) * len(before), call)
                case (ast.Dict() as table, call):
                    return self._entry(table, key, call)
                case (ast.DictComp() as made, call):
                    return self.parts.entry(made, key, call)
                case (ast.Call(func=ast.Name(id="tuple" | "list" | "dict"), args=[ast.Name() as same]), call):
                    pair = (same, call)
                case (ast.Call(func=ast.Name(id="dict"), args=[ast.Call(args=[names, parts])]), call):
                    return self._paired(names, parts, key, call)
                case (ast.BinOp(left=left, op=ast.BitOr(), right=right), call):
                    return self._within(right, key, call) or self._within(left, key, call)
                case (ast.Name() as name, call) if (put := self._put(name, key, call)) is not None:
                    return put
                case (ast.Name() as name, call) if (
                    isinstance(key, int) and (star := self._of_star(name, key, call)) is not None
                ):
                    return star
                case (here, call):
                    pair = self.back(here, call)
                case _:
                    return None
        return None

    def _entry(self, table: ast.Dict, key: int | str, call: Call) -> Evaluated | None:
        """What stands behind a key of ``{...}``, or in a table that is spread out in it."""
        for name, part in reversed(list(zip(table.keys, table.values, strict=True))):
            if name is not None and self.evaluated(name, call) == key:
                return (part, call)
            if name is None:
                spread = self.evaluated(part, call)
                if isinstance(spread, Mapping) and key in spread:
                    return self._within(part, key, call)
        return None

    def _set_later(self, name: ast.Name, call: Call) -> bool:
        """Whether entries of a table are set where it is used or below, so that it ends as something else."""
        definition = source.function(call.code)
        made = source.bindings(definition, name.id) if definition is not None else ()
        return any(not b.whole and b.index is not None and b.end >= name.lineno > 0 for b in made)

    def _put(self, name: ast.Name, key: int | str, call: Call) -> Evaluated | None:
        """What a statement ``name[key] = value`` put there since the name was set."""
        for binding in reversed(self.bindings(name, call)):
            if binding.whole:
                return None
            if binding.index is None:
                if isinstance(key, int) and (found := self.parts.added_in_loop(binding, key, call)):
                    return found
                continue
            if binding.loop is not None:
                if (found := self.parts.put_in_loop(binding, key, call)) is not None:
                    return found
            elif self.evaluated(binding.index, call) == key:
                return (binding.value, call)
        return None

    def _paired(self, names: ast.expr, parts: ast.expr, key: int | str, call: Call) -> Evaluated | None:
        """Of ``dict(zip(names, parts))``."""
        keys = self.evaluated(names, call)
        if not isinstance(keys, tuple | list) or key not in keys:
            return None
        match parts:
            case ast.Attribute(value=array, attr="T"):
                return (written.column(array, keys.index(key), str(key)), call)
        return (written.item(parts, keys.index(key)), call)

    def returned(self, here: ast.expr, home: Call) -> Evaluated | None:
        """What the call that made an object returned, as an expression."""
        at = self.calls(here, home)
        made = at[-1] if at else self._maker(self.value(here, home), home)
        definition = source.function(made.code) if made is not None else None
        found = source.result(definition, made.ended) if made is not None and definition is not None else None
        return (found, made) if found is not None and made is not None else None


def _outermost(call: Call) -> Call:
    """Of a solver that calls itself parts, the call that asked for the answer."""
    while call.solves and call.caller is not None:
        if not call.caller.solves:
            break
        call = call.caller
    return call
