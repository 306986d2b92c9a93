"""Names as an engineer writes them, made from identifiers, arguments and documentation in the code."""

from __future__ import annotations

import ast
import dataclasses
import inspect
import re
from functools import cache
from typing import Any, Final

import numpy as np

from pyrobal.report.explain import source, written
from pyrobal.report.explain.expression import MISSING, class_of, numeric
from pyrobal.report.explain.origin import Origins
from pyrobal.report.explain.record import Call
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import Species
from pyrobal.thermo.tables import load_substances

_SHAPING: Final = (
    "broadcast_arrays", "broadcast_to", "stack", "column_stack", "concatenate", "column", "asarray", "zeros",
    "getattr", "take_along_axis", "repeat", "tile",
)  # fmt: skip
UNNAMED: Final = "value"  # of what the source gives no name to
_LONGEST: Final = 12  # names that stand for names
_MOLAR_MASS: Final = re.compile(r"_?M_(\w+)")  # the house writes M_SO2 for the molar mass of SO2
_OF_LENGTH: Final = 3  # a name this short is a symbol; the documentation says what of


@cache
def _formulas() -> dict[str, str]:
    """Identifier -> formula, of the compounds of the tables."""
    names = (name.partition("(")[0] for name in load_substances())
    return {n.casefold(): n for n in names if n not in ELEMENTS and re.fullmatch(r"[A-Za-z0-9]+", n)}


@cache
def plain(identifier: str) -> str:
    """``so2_per_copper`` as "SO2 per copper"."""
    words = identifier.strip("_").split("_")
    elements = {e.casefold(): e for e in ELEMENTS if len(e) == 2 and e != "As"}
    return " ".join(_formulas().get(w.casefold(), elements.get(w, w)) for w in words)


def of_class(value: Any) -> str:
    """``AcidPlantResult`` as "acid plant"."""
    name = type(value).__name__.removeprefix("_").removesuffix("Result").removesuffix("Results")
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name).lower()


class Namer:
    """Names expressions by what they stand for."""

    def __init__(self, origins: Origins) -> None:
        self.origins = origins

    def name(self, expression: ast.expr, call: Call, depth: int = 0) -> str:
        """What an expression is called; "" of the results as a whole."""
        if depth > _LONGEST:
            return ""
        match expression:
            case ast.Constant(value=value):
                return str(value)
            case ast.Name():
                return self._of_name(expression, call, depth)
            case ast.Attribute(value=base, attr=attr):
                return self._of_field(expression, base, attr, call, depth)
            case ast.Subscript(value=base, slice=part):
                return self._of_part(base, part, call, depth)
            case ast.Call():
                return self._of_call(expression, call, depth)
        return ""

    def _of_name(self, name: ast.Name, call: Call, depth: int) -> str:
        if name.id not in call.names:
            return constant(name.id)
        value = self.origins.value(name, call)
        if isinstance(value, str | int) and not isinstance(value, bool):
            return str(value)
        symbol = len(name.id) < _OF_LENGTH or name.id in ("self", "other", "stream")
        given = self.origins.argument_of(name, call)
        if given is not None and (symbol or not numeric(value)):
            found = self.name(*given, depth + 1)
            if found or _whole(value):
                return found
        if _whole(value):
            return ""
        if symbol and dataclasses.is_dataclass(value):
            made = self.origins.made(name, MISSING, call)
            if len(made) == 1 and isinstance(made[0], tuple) and isinstance(made[0][0], ast.Attribute):
                return self.name(*made[0], depth + 1)
            return of_class(value)
        return plain(name.id)

    def _of_field(self, whole: ast.expr, base: ast.expr, attr: str, call: Call, depth: int) -> str:
        owner, value = self.origins.value(base, call), self.origins.value(whole, call)
        of = self.name(base, call, depth + 1)
        if not of and owner is not MISSING and not _whole(owner) and not inspect.ismodule(owner):
            of = of_class(owner) if dataclasses.is_dataclass(owner) else ""
        word = symbol(owner, attr) if len(attr) < _OF_LENGTH else plain(attr)
        if numeric(value) or value is None:
            return f"{word} of {of}" if of and not of.endswith("unknowns") else word
        if of.endswith(word) or word in ("settings", "s", "unknowns"):
            return of
        return _last(f"{of} {word}".strip())

    def _of_part(self, base: ast.expr, part: ast.expr, call: Call, depth: int) -> str:
        match part:
            case ast.Tuple(elts=[ast.Slice(), ast.Constant(kind=str(label))]) if label:
                return f"{label} in {self._holder(base, call, depth)}"
            case ast.Tuple(elts=[ast.Slice(), index]):
                key = self.origins.evaluated(index, call)
                phase = self.phase(base, call)
                if phase is not None and isinstance(key, int):
                    return f"{phase.names[key]} in {self._holder(base, call, depth)}"
                return self.name(base, call, depth + 1)
        key, whole = self.origins.evaluated(part, call), self.name(base, call, depth + 1)
        if isinstance(key, str):
            if key.partition("(")[0].casefold() in _formulas() or key in ELEMENTS:
                return f"{key} in {whole}"
            return f"{whole} {plain(key)}".strip()
        if isinstance(key, int) and isinstance(whole_value := self.origins.value(base, call), tuple | list):
            made = self.origins.back(written.item(base, key), call) if len(whole_value) > 1 else None
            if made is not None and (found := self.name(*made, depth + 1)):
                return found
        many = isinstance(key, int) and not isinstance(self.origins.value(base, call), np.ndarray)
        return f"{whole} {key + 1}" if many and whole else whole

    def _holder(self, base: ast.expr, call: Call, depth: int) -> str:
        """The stream whose amounts an array is."""
        match base:
            case ast.Name() if len(base.id) < _OF_LENGTH:
                made = self.origins.made(base, MISSING, call)
                if len(made) == 1 and isinstance(made[0], tuple):
                    return self._holder(*made[0], depth + 1) if depth < _LONGEST else base.id
            case ast.Attribute(value=holder, attr="n" | "elements"):
                return self._holder_name(holder, call, depth)
            case ast.Call(func=ast.Attribute(value=holder, attr="elements" | "species_mass")):
                return self._holder_name(holder, call, depth)
        return self.name(base, call, depth + 1) or UNNAMED

    def _holder_name(self, holder: ast.expr, call: Call, depth: int) -> str:
        """Of a ledger's entry, the material that it is of."""
        if isinstance(holder, ast.Attribute) and holder.attr == "entry":
            holder = holder.value
        return self.name(holder, call, depth + 1) or of_class(self.origins.value(holder, call))

    def of_column(self, whole: ast.expr, label: str, call: Call) -> str:
        """One number of many: "molar mass of CuFeS2", "atoms of Cu in CuFeS2"."""
        inner = whole.value if isinstance(whole, ast.Subscript) else whole
        if label and isinstance(inner, ast.Attribute) and inner.attr == "composition":
            part = whole.slice if isinstance(whole, ast.Subscript) else None
            index = part.elts[-1] if isinstance(part, ast.Tuple) else None
            element = self.origins.evaluated(index, call) if index is not None else None
            return (
                f"atoms of {ELEMENTS[element]} in {label}"
                if isinstance(element, int)
                else f"atoms in {label}"
            )
        return f"{self.name(whole, call)} of {label}" if label else self.name(whole, call)

    def phase(self, base: ast.expr, call: Call) -> Any:
        """The substances along the columns of ``stream.n``, of a stream's method, and of products of them."""
        match base:
            case ast.Attribute(value=owner) | ast.Call(func=ast.Attribute(value=owner)):
                found = self.origins.value(owner, call)
                return getattr(found, "phase", None)
            case ast.BinOp(left=left, right=right):
                return self.phase(left, call) or self.phase(right, call)
        return None

    def _of_call(self, called: ast.Call, call: Call, depth: int) -> str:
        if (member := self.origins.plainly(called, call)) is not called:
            return self.name(member, call, depth + 1)
        returned = self.origins.returned(called, call)
        value = self.origins.value(called, call)
        if returned is not None and not numeric(value):
            if isinstance(returned[0], ast.Call) and self.origins.returned(*returned) is None:
                return self._of_built(called, call, depth)
            if isinstance(returned[0], ast.Attribute | ast.Subscript | ast.Name | ast.Call):
                return self.name(*returned, depth + 1)
            if dataclasses.is_dataclass(value) and isinstance(called.func, ast.Name):
                return of_class(value)
        if class_of(called) in _SHAPING and called.args:
            return self._of_shape(called, call, depth)
        if isinstance(self.origins.value(called.func, call), type) and called.args:
            parts = [a for a in called.args if not isinstance(self.origins.value(a, call), Species)]
            return self._first((parts or called.args)[0], call, depth) or of_class(value)
        args = [a for a in (self._argument(x, call, depth) for x in called.args) if a]
        word = plain(class_of(called))
        if isinstance(called.func, ast.Attribute):
            owner = self.origins.value(called.func.value, call)
            if not inspect.ismodule(owner):
                of = self.name(called.func.value, call, depth + 1)
                of = of or (of_class(owner) if dataclasses.is_dataclass(owner) else "")
                return (
                    f"{word} of {', '.join(args)} in {of}" if args else f"{word} of {of}".removesuffix(" of ")
                )
        return f"{word} ({', '.join(args)})" if args else word

    def _of_shape(self, called: ast.Call, call: Call, depth: int) -> str:
        """Something put side by side or reshaped: by its first part."""
        if class_of(called).startswith("zeros"):
            return "zero"
        first = called.args[0]
        if isinstance(first, ast.Tuple | ast.List) and first.elts:
            first = first.elts[0]
        return self._first(first, call, depth)

    def _first(self, made: ast.expr, call: Call, depth: int) -> str:
        """What is made of something, by that: of a sum by its first term, of a product by its factor."""
        match made:
            case ast.BinOp(left=left, right=right):
                return self._first(left, call, depth) or self._first(right, call, depth)
            case ast.Subscript(value=base):
                return self._first(base, call, depth)
            case ast.Call(func=ast.Attribute(value=owner), args=[first, *_]) if isinstance(
                self.origins.value(owner, call), type
            ):
                return self._first(first, call, depth)
            case ast.Call(func=ast.Attribute(value=owner)) if not inspect.ismodule(
                self.origins.value(owner, call)
            ):
                return self._first(owner, call, depth)
            case ast.Attribute(value=owner) if dataclasses.is_dataclass(self.origins.value(owner, call)):
                return self.name(owner, call, depth + 1)
            case ast.Starred(value=many):
                return self._first(many, call, depth)
            case ast.Constant():
                return ""
        return self.name(made, call, depth + 1)

    def _of_built(self, called: ast.Call, call: Call, depth: int) -> str:
        """Something put together by a function: by a method, out of the thing whose method it is."""
        owner = (
            self.origins.value(called.func.value, call) if isinstance(called.func, ast.Attribute) else None
        )
        if isinstance(owner, type) and called.args:
            return self._first(called.args[0], call, depth)
        if isinstance(called.func, ast.Attribute) and dataclasses.is_dataclass(owner):
            return self.name(called.func.value, call, depth + 1)
        return plain(class_of(called))

    def _argument(self, argument: ast.expr, call: Call, depth: int) -> str:
        """Words and things are named; numbers are told below."""
        value = self.origins.value(argument, call)
        if isinstance(value, str) or (dataclasses.is_dataclass(value) and not isinstance(value, Species)):
            return self.name(argument, call, depth + 1)
        return ""


def _whole(value: Any) -> bool:
    return type(value).__name__ == "Results"


def _last(path: str) -> str:
    """The last three words of a path through things that stand in each other."""
    return " ".join(path.split()[-4:])


def constant(identifier: str) -> str:
    """``M_SO2`` as "molar mass of SO2", ``OXYGEN_IN_AIR`` as "oxygen in air"."""
    if match := _MOLAR_MASS.fullmatch(identifier):
        of = match[1].title() if match[1].title() in ELEMENTS else plain(match[1].lower())
        return f"molar mass of {of}"
    return plain(identifier.lower()) if identifier.isupper() and len(identifier) > 1 else plain(identifier)


def symbol(owner: Any, attr: str) -> str:
    """What a field with a short name is, in the words of the documentation, where these are few."""
    said = source.meaning(owner, attr)
    return said if said and len(said.split()) < _OF_LENGTH else plain(attr)
