"""What the source states of an expression: the unit of a field, what a loop runs over."""

from __future__ import annotations

import ast
import dataclasses
from collections.abc import Iterator

from pyrobal.report.explain import si, source
from pyrobal.report.explain.expression import class_of, is_name
from pyrobal.report.explain.origin import Origins
from pyrobal.report.explain.record import Call


def unit(origins: Origins, expression: ast.expr, call: Call) -> si.Unit:
    """The unit of a field, or of a name that becomes a field of what the call returned."""
    found = ""
    match expression:
        case ast.Attribute(value=base, attr=attr):
            found = source.field_unit(origins.value(base, call), attr)
        case ast.Subscript(value=base, slice=ast.Tuple()):
            return unit(origins, base, call)
        case ast.Name(id=name) if dataclasses.is_dataclass(call.value):
            definition = source.function(call.code)
            built = source.result(definition, call.ended) if definition is not None else None
            fields = [f.name for f in dataclasses.fields(call.value) if f.init]
            if isinstance(built, ast.Call) and class_of(built) == type(call.value).__name__:
                given = [f for f in fields if is_name(built, fields, f, name)]
                units = {source.field_unit(call.value, f) for f in given}
                found = units.pop() if len(units) == 1 else ""
    return found or None


def run_over(expression: ast.expr, call: Call) -> Iterator[ast.expr]:
    """The tables and lists that the loops run over whose variables stand in an expression."""
    definition = source.function(call.code)
    names = {n.id for n in source.nodes(expression) if isinstance(n, ast.Name)}
    for name in sorted(names) if definition is not None else ():
        if (over := source.looped(definition, name)) is not None:
            yield from (o for inside in source.inside(over) for o in source.operands(inside))
