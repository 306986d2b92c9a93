"""Where a value came from: the call that made it, or the expression that did, however it was handed on."""

from __future__ import annotations

import ast
import dataclasses
from collections.abc import Mapping, MappingView
from types import GeneratorType
from typing import Any, Final, cast

import numpy as np

from pyrobal.report.explain import source
from pyrobal.report.explain.record import Call, Record

NUMERICS: Final = "pyrobal.numerics"
PLAIN: Final = ("pyrobal.arrays", "pyrobal.thermo.elements")  # shapes and names, nothing to explain
MISSING: Final = object()  # what a value is that cannot be told without computing it anew
_LONGEST: Final = 30  # steps an object is followed through names and arguments

Spot = tuple[ast.expr, Call]  # an expression, and the call in which it was evaluated
Made = list[Call | Spot]  # the calls or expressions a value came from


class Origins:
    """Looks up expressions in what was written down."""

    def __init__(self, record: Record) -> None:
        self._record = record

    def value(self, expression: ast.expr, call: Call) -> Any:
        """What an expression was in a call; MISSING where it cannot be told without computing anew."""
        if made := self.calls(expression, call):
            return made[-1].value
        expression = self._plainly(expression, call)
        match expression:
            case ast.Constant(value=value):
                return value
            case ast.Name():
                return self._named(expression, call)
            case ast.Attribute(value=base, attr=attr):
                owner = self.value(base, call)
                return MISSING if owner is MISSING else _stored(owner, attr)
            case ast.Subscript(value=base, slice=part):
                return _item(self.value(base, call), self.value(part, call))
        return MISSING

    def calls(self, expression: ast.expr, call: Call) -> list[Call]:
        """The calls an expression made; what a class calls while it is put together is no result of it."""
        if isinstance(expression, ast.Call) and isinstance(self.value(expression.func, call), type):
            return []
        return call.at(source.position(expression))

    def _plainly(self, expression: ast.expr, call: Call) -> ast.expr:
        """``getattr(x, name)`` as the attribute it is."""
        match expression:
            case ast.Call(func=ast.Name(id="getattr"), args=[base, name, *_]):
                word = self.value(name, call)
                return source.member(base, word) if isinstance(word, str) else expression
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
        return self._evaluated(*before[0]) if len(before) == 1 else MISSING

    def _evaluated(self, expression: ast.expr, call: Call) -> Any:
        """An expression worked out once more from what its names were."""
        if (value := self.value(expression, call)) is not MISSING:
            return value
        names = {n.id: self._named(n, call) for n in source.nodes(expression) if isinstance(n, ast.Name)}
        known = {name: value for name, value in names.items() if value is not MISSING}
        try:
            code = compile(ast.Expression(expression), "explained", "eval")
            return eval(code, call.globals, known)
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
        match expression := self._plainly(expression, call):
            case ast.Name():
                return list(self._of_name(expression, call))
            case ast.Subscript():
                spot = self._back(expression, call)
                return [spot] if spot is not None else []
            case ast.Attribute(value=base, attr=attr):
                spot = self._of_field(base, attr, call)
                if spot is not None and spot[1].module.startswith(NUMERICS):
                    return [_outermost(spot[1])]
                return [spot] if spot is not None else []
        return []

    def _maker(self, value: Any, call: Call) -> Call | None:
        """The call that made a value before ``call`` used it; later ones only passed it on."""
        maker = self._record.maker(value)
        while maker is not None and maker.module in PLAIN:
            passed_on = maker.caller is not None and maker.caller.value is value
            maker = maker.caller if passed_on else None
        return maker if maker is not None and maker.finished < call.finished else None

    def _of_name(self, name: ast.Name, call: Call) -> list[Spot]:
        definition = source.function(call.code)
        if definition is None:
            return []
        if isinstance(definition, ast.FunctionDef):
            found = source.assigned(definition, name.id, name.lineno)
            if found:
                return [(expression, call) for expression in found]
        given = self._argument(call, definition, name.id)
        return [given] if given is not None else []

    def _argument(self, call: Call, definition: source.Function, name: str) -> Spot | None:
        """What the caller gave for a parameter."""
        names = source.parameters(definition)
        site = self._site(call)
        if name not in names or site is None or call.caller is None:
            return None
        if names[0] in ("self", "cls"):
            if name == names[0]:
                return (site.func.value, call.caller) if isinstance(site.func, ast.Attribute) else None
            names = names[1:]
        found = source.argument(site, names, name)
        return (found, call.caller) if found is not None else None

    def _site(self, call: Call) -> ast.Call | None:
        """The expression that made a call."""
        if call.caller is None or call.site is None:
            return None
        definition = source.function(call.caller.code)
        return source.calls(definition).get(call.site) if definition is not None else None

    def _of_field(self, base: ast.expr, attr: str, call: Call) -> Spot | None:
        """The expression a field of an object was made from, where the object was put together."""
        owner = self.value(base, call)
        kind = type(owner)
        fields = getattr(kind, "_fields", None) or [
            f.name for f in dataclasses.fields(owner) if f.init
        ] if dataclasses.is_dataclass(owner) or hasattr(kind, "_fields") else ()  # fmt: skip
        if attr not in fields:
            return None
        spot = self._construction(base, call)
        if spot is None:
            return None
        built, home = spot
        if class_of(built) == "replace" and built.args:
            changed = next((k.value for k in built.keywords if k.arg == attr), None)
            return (changed, home) if changed is not None else self._of_field(built.args[0], attr, home)
        if class_of(built) != kind.__name__:
            return None
        found = source.argument(built, list(fields), attr) or source.elementwise(built, attr)
        for keyword in built.keywords:
            spread = keyword.arg is None and self.value(keyword.value, home)
            if found is None and isinstance(spread, Mapping) and attr in spread:
                found = source.item(keyword.value, attr)
        return (found, home) if found is not None else None

    def _construction(self, expression: ast.expr, call: Call) -> tuple[ast.Call, Call] | None:
        """Follow an object back to the call of its class."""
        spot: Spot | None = (expression, call)
        for _ in range(_LONGEST):
            if spot is None or self._is_built(*spot):
                break
            spot = self._back(*spot)
        return cast("tuple[ast.Call, Call]", spot) if spot is not None and self._is_built(*spot) else None

    def _is_built(self, here: ast.expr, home: Call) -> bool:
        """Whether an expression is the call of a class."""
        return isinstance(self._plainly(here, home), ast.Call) and self._returned(here, home) is None

    def _back(self, here: ast.expr, home: Call) -> Spot | None:
        """One step towards where an object was put together."""
        if (returned := self._returned(here, home)) is not None:
            return returned
        match here := self._plainly(here, home):
            case ast.Name():
                return next(iter(self._of_name(here, home)), None)
            case ast.Attribute(value=base, attr=attr):
                return self._of_field(base, attr, home)
            case ast.Subscript(value=base, slice=ast.Constant(value=int() | str() as key)):
                return self._within(base, key, home)
        return None

    def _within(self, whole: ast.expr, key: int | str, home: Call) -> Spot | None:
        """One value of a tuple or a dict, where that was put together."""
        spot: Spot | None = (whole, home)
        for _ in range(_LONGEST):
            match spot:
                case (ast.Tuple(elts=parts), call) if isinstance(key, int):
                    return (parts[key], call) if key < len(parts) else None
                case (ast.Dict(keys=names, values=parts), call):
                    pairs = zip(names, parts, strict=True)
                    found = next(
                        (x for n, x in pairs if isinstance(n, ast.Constant) and n.value == key), None
                    )
                    return (found, call) if found is not None else None
                case (ast.BinOp(left=left, op=ast.BitOr(), right=right), call):
                    return self._within(right, key, call) or self._within(left, key, call)
                case (here, call):
                    spot = self._back(here, call)
                case _:
                    return None
        return None

    def _returned(self, here: ast.expr, home: Call) -> Spot | None:
        """What the call that made an object returned, as an expression."""
        at = self.calls(here, home)
        made = at[-1] if at else self._maker(self.value(here, home), home)
        definition = source.function(made.code) if made is not None else None
        found = source.result(definition, made.ended) if made is not None and definition is not None else None
        return (found, made) if found is not None and made is not None else None


def _outermost(call: Call) -> Call:
    """Of a solver that calls itself parts, the call that asked for the answer."""
    while call.module.startswith(NUMERICS) and call.caller is not None:
        if not call.caller.module.startswith(NUMERICS):
            break
        call = call.caller
    return call


def class_of(built: ast.Call) -> str:
    """The last word of what is called: the class, where it is one."""
    return source.text(built.func).rpartition(".")[2]


def is_name(built: ast.Call, fields: list[str], field: str, name: str) -> bool:
    """True where the argument a call gives to ``field`` is just the name ``name``."""
    found = source.argument(built, fields, field)
    return isinstance(found, ast.Name) and found.id == name


def _stored(owner: Any, attr: str) -> Any:
    """An attribute as it is kept; a property is only known by its call."""
    if isinstance(getattr(type(owner), attr, None), property):
        return MISSING
    return getattr(owner, attr, MISSING)


def _item(owner: Any, key: Any) -> Any:
    if owner is MISSING or key is MISSING or isinstance(owner, np.ndarray):
        return MISSING
    try:
        return owner[key]
    except (KeyError, IndexError, TypeError):
        return MISSING


def numeric(value: Any) -> bool:
    """A quantity; whole numbers count, and are not explained."""
    return isinstance(value, float) or (isinstance(value, np.ndarray) and value.dtype.kind == "f")
