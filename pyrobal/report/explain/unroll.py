"""One value out of many: the terms of a sum over a comprehension, a column of an array, an entry of a table.

Each is written as an expression of its own, as the source would have written it for that one value. The parts
taken over keep their places in the file, by which the calls they made are found.
"""

from __future__ import annotations

import ast
import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any, Final, cast

import numpy as np

from pyrobal.report.explain import source, written
from pyrobal.report.explain.expression import Evaluated, class_of
from pyrobal.report.explain.origin import Origins
from pyrobal.report.explain.record import Call
from pyrobal.thermo.elements import ELEMENTS

Comprehension = ast.GeneratorExp | ast.ListComp | ast.SetComp
_PRODUCT: Final = ast.MatMult()
_MOST: Final = 40  # items of a collection that are told one by one
_FEW: Final = 4  # entries of a matrix column
_EACH: Final = ("divide", "maximum", "minimum", "where", "abs", "exp", "log", "sqrt")  # element by element
_SAME: Final = ("asarray", "broadcast_to", "real", "copy", "array", "nan_to_num", "astype")  # change no value


class Unroller:
    """Takes collections apart."""

    def __init__(self, origins: Origins) -> None:
        self.origins = origins
        self._scopes: dict[tuple[int, int, int], Evaluated] = {}
        origins.parts = self

    def each(self, made: Comprehension, call: Call) -> list[Evaluated] | None:
        """The element of a comprehension, for each thing it runs over."""
        if len(made.generators) != 1:
            return None
        bound = self._rounds(made.generators[0], call)
        if bound is None:
            return None
        return [self._scope(made.elt, b, i, len(bound), call) for i, b in enumerate(bound)]

    def _rounds(self, generator: ast.comprehension, call: Call) -> list[Mapping[str, ast.expr]] | None:
        """What the names of a comprehension stand for, round by round."""
        items = self.items(generator.iter, call)
        if items is None:
            return None
        bound: list[Mapping[str, ast.expr]] = [_bound(generator.target, item) for item in items]
        for test in generator.ifs:
            bound = [b for b in bound if self.origins.evaluated(written.put(test, b), call) is True]
        return bound

    def in_round(self, argument: ast.expr, call: Call) -> Evaluated:
        """An argument of a call within a comprehension or a loop, for the round that made the call."""
        assert call.caller is not None
        definition, site = source.function(call.caller.code), call.site
        if definition is None or site is None:
            return (argument, call.caller)
        i, count = call.turn()
        made = source.comprehension_at(definition, site)
        if made is not None and len(made.generators) == 1:
            rounds = self._rounds(made.generators[0], call.caller) or []
            fits = count == len(rounds)
            return (
                self._scope(argument, rounds[i], i, count, call.caller) if fits else (argument, call.caller)
            )
        loop = source.loop_at(definition, site)
        return (
            self._in_loop(argument, loop, i, count, call.caller)
            if loop is not None
            else (argument, call.caller)
        )

    def _in_loop(self, argument: ast.expr, loop: ast.For, i: int, count: int, caller: Call) -> Evaluated:
        """The same for a loop whose rounds each go on from what the one before made."""
        if not isinstance(argument, ast.Name):
            return self._scope(argument, {}, i, count, caller)
        definition = source.function(caller.code)
        every = source.bindings(definition, argument.id) if definition is not None else ()
        again = next((b for b in every if b.loop is loop and b.whole), None)
        if again is None:
            return (argument, caller)
        if i > 0:
            return self._scope(again.value, {}, i - 1, count, caller)
        first = next((b for b in reversed(every) if b.end < loop.lineno and b.whole), None)
        pair = (
            (first.value, caller)
            if first is not None
            else self.origins.argument_of(written.local(argument.id), caller)
        )
        return pair or (argument, caller)

    def _scope(
        self, elt: ast.expr, bound: Mapping[str, ast.expr], i: int, count: int, call: Call
    ) -> Evaluated:
        """The i-th element, in a call that made only what this element called."""
        key = (id(elt), id(call), i)
        if key not in self._scopes:
            within = {source.position(n) for n in source.nodes(elt) if isinstance(n, ast.expr)}
            of_site: dict[Any, list[Call]] = {}
            for made in call.calls:
                if made.site in within:
                    of_site.setdefault(made.site, []).append(made)
            calls = [c for c in call.calls if c.site not in within]
            calls += [made[i] for made in of_site.values() if len(made) == count]
            scope = dataclasses.replace(call, calls=calls, _sites={})
            self._scopes[key] = (written.put(elt, bound), scope)
        return self._scopes[key]

    def items(self, over: ast.expr, call: Call) -> list[ast.expr] | None:
        """Each thing that is run over, as an expression; None where that cannot be told or is too much."""
        match over:
            case ast.Tuple(elts=parts) | ast.List(elts=parts) if not any(
                isinstance(p, ast.Starred) for p in parts
            ):
                return list(parts)
            case ast.Call(func=ast.Name(id="zip"), args=args):
                columns = [self.items(arg, call) for arg in args]
                if any(c is None for c in columns):
                    return None
                return [
                    written.listed(row) for row in zip(*cast("list[list[ast.expr]]", columns), strict=False)
                ]
            case ast.Call(func=ast.Name(id="enumerate"), args=[inner]):
                found = self.items(inner, call)
                return found and [written.listed((written.constant(i), x)) for i, x in enumerate(found)]
            case ast.Call(func=ast.Attribute(value=base, attr="items" | "values" as what), args=[]):
                owner = self.origins.evaluated(base, call)
                if not isinstance(owner, Mapping) or len(owner) > _MOST:
                    return None
                pairs = [(written.constant(key), written.item(base, key)) for key in owner]
                return [written.listed(pair) if what == "items" else pair[1] for pair in pairs]
            case ast.Call() if class_of(over) == "broadcast_arrays":
                elements = self.several(over, call)
                return (
                    [x for x, _ in elements]
                    if elements and all(home is call for _, home in elements)
                    else None
                )
        value = self.origins.evaluated(over, call)
        if isinstance(value, Mapping | range):
            value = tuple(value)
        if not isinstance(value, tuple | list) or len(value) > _MOST:
            return None
        plain = all(isinstance(v, str | int) for v in value)
        return [written.constant(v) if plain else written.item(over, i) for i, v in enumerate(value)]

    def several(self, collection: ast.expr, call: Call) -> list[Evaluated] | None:
        """The values of a collection: of a comprehension, of a tuple, of several put behind each other."""
        if isinstance(collection, ast.Name):
            bound = self.origins.bindings(collection, call)
            if len(bound) == 1 and isinstance(bound[0].value, ast.GeneratorExp | ast.ListComp):
                collection = bound[0].value
        match collection:
            case ast.GeneratorExp() | ast.ListComp() | ast.SetComp():
                return self.each(collection, call)
            case ast.Call(args=args) if class_of(collection) == "broadcast_arrays":
                return self.several(written.listed(tuple(args)), call)
            case ast.Tuple(elts=parts) | ast.List(elts=parts):
                found: list[Evaluated] = []
                for part in parts:
                    if isinstance(part, ast.Starred):
                        inner = self.several(part.value, call)
                        if inner is None:
                            return None
                        found += inner
                    else:
                        found.append((part, call))
                return found
        items = self.items(collection, call)
        return None if items is None else [(item, call) for item in items]

    def entry(self, made: ast.DictComp, key: Any, call: Call) -> Evaluated | None:
        """The value a dict comprehension gives for a key."""
        bound = self._rounds(made.generators[0], call) if len(made.generators) == 1 else None
        for i, names in enumerate(bound or ()):
            name, scope = self._scope(made.key, names, i, len(bound or ()), call)
            if self.origins.evaluated(name, scope) == key:
                return self._scope(made.value, names, i, len(bound or ()), call)
        return None

    def put_in_loop(self, binding: source.Binding, key: Any, call: Call) -> Evaluated | None:
        """What a loop put under a key: ``table[name] = value``."""
        for index, value, scope in self._set_in_rounds(binding, call):
            if self.origins.evaluated(index, scope) == key:
                return (value, scope)
        return None

    def added_in_loop(self, binding: source.Binding, index: int, call: Call) -> Evaluated | None:
        """What a loop added to a list in one of its rounds: ``beds.append(bed)``."""
        items = self.items(binding.loop.iter, call) if binding.loop is not None else None
        if binding.loop is None or not items or index >= len(items):
            return None
        return self._scope(binding.value, _bound(binding.loop.target, items[index]), index, len(items), call)

    def _set_in_rounds(
        self, binding: source.Binding, call: Call
    ) -> Iterator[tuple[ast.expr, ast.expr, Call]]:
        """The index and the value that a statement sets, in every round of the loop it stands in."""
        if binding.index is None:
            return
        items = self.items(binding.loop.iter, call) if binding.loop is not None else None
        rounds = [_bound(binding.loop.target, x) for x in items or ()] if binding.loop is not None else [{}]
        for i, bound in enumerate(rounds):
            index, scope = self._scope(binding.index, bound, i, len(rounds), call)
            yield index, self._scope(binding.value, bound, i, len(rounds), call)[0], scope

    def column(  # noqa: C901 - one case for each way to put arrays together
        self, whole: ast.expr, k: int, label: str, call: Call
    ) -> Evaluated | None:
        """Column ``k`` of an array (N, S), where it was put together; None where that cannot be told."""

        def of(part: ast.expr) -> ast.expr:
            return written.column(part, k, label)

        whole = self.origins.plainly(whole, call)
        if isinstance(whole, ast.Call) and class_of(whole) in ("zeros", "zeros_like"):
            return (written.constant(0.0), call)
        totals = isinstance(whole, ast.Call) and class_of(whole) == "total"
        if self.origins.calls(whole, call) and not totals:
            returned = self.origins.returned(whole, call)
            return (of(returned[0]), returned[1]) if returned is not None and not _solver(returned) else None
        match whole:
            case ast.BinOp(op=ast.MatMult(), left=left, right=right):
                return self._of_product(left, right, k, call)
            case ast.BinOp(left=left, op=op, right=right):
                sides = [self._side(side, k, label, call) for side in (left, right)]
                return (written.joined(sides[0], op, sides[1]), call)
            case ast.Subscript(value=first, slice=ast.Tuple(elts=[ast.Slice(), ast.Slice()])):
                return (first, call)  # the tears of the recycles side by side
            case ast.Subscript(value=first, slice=ast.Tuple(elts=[ast.Slice(), picked])):
                columns = self.origins.evaluated(picked, call)
                if isinstance(columns, list | np.ndarray):
                    return (written.column(first, int(columns[k]), label), call)
            case ast.Call(args=[first, *_]) if class_of(whole) in _SAME:
                return (of(first), call)
            case ast.Call(args=[ast.GeneratorExp() as parts]) if class_of(whole) in ("sum", "total"):
                return (written.applied(whole, (written.of_columns(parts, k, label),)), call)
            case ast.Call(args=args) if class_of(whole) in _EACH:
                sides = [self._side(arg, k, label, call) for arg in args]
                return (written.applied(whole, tuple(sides)), call)
            case ast.Call(func=ast.Attribute(value=first, attr="copy")):
                return (of(first), call)
            case ast.Call(args=[first, *_]) if class_of(whole) in ("stack", "column_stack"):
                return self._of_stack(first, k, call)
            case ast.Call(args=[first, *_]) if class_of(whole) == "concatenate":
                return self._beside(first, k, label, call)
            case ast.Call(args=[how, ast.GeneratorExp() | ast.ListComp() as made, *_]) if (
                class_of(whole) == "reduce"
            ):
                return (written.applied(whole, (how, written.of_columns(made, k, label))), call)
            case ast.Call(args=[_, first, *_]) if class_of(whole) == "reduce":
                terms = self.several(first, call)
                if terms and all(home is call for _, home in terms):
                    return (written.summed([of(term) for term, _ in terms]), call)
                return None
            case ast.Name():
                return self._of_name(whole, k, label, call)
        pair = self.origins.back(whole, call)
        return (of(pair[0]), pair[1]) if pair is not None and not _solver(pair) else None

    def _of_stack(self, rows: ast.expr, k: int, call: Call) -> Evaluated | None:
        if isinstance(rows, ast.Call) and class_of(rows) == "broadcast_arrays":
            rows = written.listed(tuple(rows.args))
        parts = self.several(rows, call)
        return parts[k] if parts is not None and k < len(parts) else None

    def _beside(self, blocks: ast.expr, k: int, label: str, call: Call) -> Evaluated | None:
        """Column ``k`` of arrays put side by side."""
        for block, home in self.several(blocks, call) or ():
            array = self.origins.evaluated(block, home)
            if not isinstance(array, np.ndarray) or array.ndim != 2:
                return None
            if k < array.shape[1]:
                if isinstance(block, ast.Call) and class_of(block) == "column":
                    return (block.args[0], home)
                return (written.column(block, k, label), home)
            k -= array.shape[1]
        return None

    def _side(self, side: ast.expr, k: int, label: str, call: Call) -> ast.expr:
        """One side of a product or sum: its column, or the whole where all columns share it."""
        match side:
            case ast.Call(args=[inner]) if class_of(side) == "column":
                return inner
            case ast.Subscript(value=inner, slice=ast.Tuple(elts=[ast.Slice(), ast.Constant(value=None)])):
                return inner
            case ast.Call() if class_of(side) in ("zeros", "zeros_like"):
                return written.constant(0.0)
            case ast.Constant():
                return side
        return written.column(side, k, label)

    def _of_product(self, left: ast.expr, right: ast.expr, k: int, call: Call) -> Evaluated | None:
        """Of a sum of products with a matrix: the few entries of its column that are not zero."""
        matrix = self.origins.evaluated(right, call)
        if not isinstance(matrix, np.ndarray) or matrix.ndim != 2:
            return None
        rows = np.flatnonzero(matrix[:, k])
        if len(rows) > _FEW:
            return (written.joined(left, _PRODUCT, written.column(right, k, "")), call)
        terms = []
        for i in rows:
            label = ELEMENTS[i] if len(matrix) == len(ELEMENTS) else ""
            part = written.column(left, int(i), label)
            factor = float(matrix[i, k])
            terms.append(
                part if factor == 1.0 else written.joined(part, ast.Mult(), written.constant(factor))
            )
        return (written.summed(terms), call)

    def _of_name(self, name: ast.Name, k: int, label: str, call: Call) -> Evaluated | None:
        """A column of what a name was set to, and of what was then put into it."""
        bindings = self.origins.bindings(name, call)
        if not bindings:
            pair = self.origins.argument_of(name, call)
            return (written.column(pair[0], k, label), pair[1]) if pair is not None else None
        total: ast.expr = written.constant(0.0)
        for binding in bindings:
            if binding.whole:
                total = written.column(binding.value, k, label)
                continue
            found = list(self._put_in(binding, k, label, call))
            if len(found) > 1:
                return None
            for value, scope in found:
                total = value if binding.op is None else written.joined(total, binding.op, value)
                call = scope
        return (total, call)

    def _put_in(self, binding: source.Binding, k: int, label: str, call: Call) -> Iterator[Evaluated]:
        """What a statement puts into column ``k``: ``n[:, i] += value``, within a loop or not."""
        for index, value, scope in self._set_in_rounds(binding, call):
            if isinstance(index, ast.Slice):
                ends = [self.origins.evaluated(e, scope) if e else 0 for e in (index.lower, index.upper)]
                if all(isinstance(e, int) for e in ends) and ends[0] <= k < ends[1]:
                    yield written.column(value, k - ends[0], label), scope
                continue
            where = self.origins.evaluated(index, scope)
            if isinstance(where, list | np.ndarray) and k in list(where):
                yield written.column(value, list(where).index(k), label), scope
            elif isinstance(where, int | np.integer) and where == k:
                yield value, scope


def _solver(pair: Evaluated) -> bool:
    """Whether a place is within a solver, which tells of itself."""
    return pair[1].solves


def _bound(target: ast.expr, item: ast.expr) -> dict[str, ast.expr]:
    """Names of a loop and what they stand for."""
    if isinstance(target, ast.Name):
        return {target.id: item}
    if not isinstance(target, ast.Tuple):
        return {}
    found: dict[str, ast.expr] = {}
    for i, part in enumerate(target.elts):
        found |= _bound(part, item.elts[i] if isinstance(item, ast.Tuple) else written.item(item, i))
    return found
