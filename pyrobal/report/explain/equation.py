"""An expression of the source as a line of a textbook: words, signs, and the value of every operand."""

from __future__ import annotations

import ast
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Final

import numpy as np

from pyrobal.report.explain import si, written
from pyrobal.report.explain.expression import MISSING, class_of
from pyrobal.report.explain.node import Node
from pyrobal.report.explain.origin import Origins
from pyrobal.report.explain.record import Call
from pyrobal.report.explain.unroll import Unroller
from pyrobal.report.explain.words import Namer
from pyrobal.report.numbers import number
from pyrobal.thermo.elements import ELEMENTS
from pyrobal.thermo.properties import Species

CHOICE, SUM, PRODUCT, POWER, ATOM = range(5)  # how tightly what is written holds together
_SMALLEST: Final = 1e-100  # a number below this only keeps a quotient from being 0/0
_TERMS: Final = 3  # of a long sum that are written out, the largest
_MANY: Final = 8  # terms beyond which a sum is long
_SIGNS: Final = {ast.Add: "+", ast.Sub: "−", ast.Mult: "×", ast.Div: "/"}
_RELATIONS: Final = {
    ast.Gt: ">", ast.GtE: "≥", ast.Lt: "<", ast.LtE: "≤", ast.Eq: "is", ast.NotEq: "is not",
    ast.Is: "is", ast.IsNot: "is not", ast.In: "is among", ast.NotIn: "is not among",
}  # fmt: skip
_SAME: Final = (
    "asarray", "broadcast_to", "atleast_1d", "copy", "array", "column", "as_n", "nan_to_num", "real",
    "float", "astype", "ravel",
)  # fmt: skip
_FUNCTIONS: Final[dict[str, tuple[str, Callable[[float], float]]]] = {
    "exp": ("exp", math.exp), "log": ("ln", math.log), "log10": ("log10", math.log10),
    "sqrt": ("√", math.sqrt), "abs": ("absolute value of ", abs), "tanh": ("tanh", math.tanh),
    "expm1": ("expm1", math.expm1), "log1p": ("log1p", math.log1p),
    "floor": ("whole part of ", math.floor), "ceil": ("next whole number above ", math.ceil),
}  # fmt: skip
_EXTREMES: Final[dict[str, tuple[str, Callable[..., float]]]] = {
    "maximum": ("larger", max), "minimum": ("smaller", min),
    "max": ("largest", max), "min": ("smallest", min),
}  # fmt: skip


Unit = Callable[[], si.Unit]


def _plain() -> si.Unit:
    return ""


def _unknown() -> si.Unit:
    return None


def _product(a: Unit, b: Unit, power: int) -> si.Unit:
    return si.product(a(), b(), power)


def _power(a: Unit, n: int) -> si.Unit:
    return si.power(a(), n)


def _same_as(*phrases: Phrase) -> Unit:
    """The unit that terms share."""
    return lambda: si.common([p.unit() for p in phrases])


@dataclass(frozen=True)
class Phrase:
    """A piece of an equation.

    value : SI, where it is one number; unit : tells its unit once those of the operands are known
    parts : the operands, each with its share in what is written
    bare : the operand, where the phrase is nothing else
    """

    text: str
    level: int = ATOM
    value: float | None = None
    unit: Unit = _unknown
    parts: tuple[tuple[Node, float], ...] = ()
    bare: Node | None = None

    def at(self, level: int) -> str:
        """The text, in brackets where it holds together less tightly than wanted."""
        return self.text if self.level >= level else f"({self.text})"


ZERO: Final = Phrase("0", value=0.0)


def of_node(node: Node) -> Phrase:
    """An operand on its own."""
    return Phrase(node.mark, ATOM, node.si, node.dimension, ((node, 1.0),), node)


class Writer:
    """Writes expressions; ``operand`` says what a name, a field or a call stands for."""

    def __init__(
        self, origins: Origins, namer: Namer, unroller: Unroller, operand: Callable[[ast.expr, Call], Phrase]
    ) -> None:
        self.origins, self.namer, self.unroller, self.operand = origins, namer, unroller, operand

    def phrase(self, node: ast.expr, call: Call) -> Phrase:  # noqa: C901 - one case for each sign
        """The text of an expression in the call that evaluated it."""
        match node:
            case ast.Constant(value=bool() | str() | None as value):
                return Phrase("absent" if value is None else str(value))
            case ast.Constant(value=float() | int() as value):
                return Phrase(number(float(value), 9), value=float(value), unit=_plain if value else _unknown)
            case ast.UnaryOp(op=ast.USub(), operand=inner):
                return self._negative(self.phrase(inner, call))
            case ast.UnaryOp(op=ast.Not() | ast.Invert(), operand=inner):
                found = self.phrase(inner, call)
                return replace(found, text=f"not {found.at(ATOM)}", level=CHOICE, bare=None)
            case ast.BinOp(op=ast.MatMult(), left=left, right=right):
                return self._products(left, right, node, call)
            case ast.BinOp(op=ast.Pow(), left=left, right=right):
                return self._power(self.phrase(left, call), self.phrase(right, call))
            case ast.BinOp(op=ast.BitAnd() | ast.BitOr() as op, left=left, right=right):
                word = "and" if isinstance(op, ast.BitAnd) else "or"
                return _listed([self.phrase(left, call), self.phrase(right, call)], f" {word} ")
            case ast.BinOp(op=op, left=left, right=right) if type(op) in _SIGNS:
                return _joined(self.phrase(left, call), _SIGNS[type(op)], self.phrase(right, call))
            case ast.BoolOp(op=op, values=values):
                word = "and" if isinstance(op, ast.And) else "or"
                return _listed([self.phrase(v, call) for v in values], f" {word} ")
            case ast.Compare(left=left, ops=[op], comparators=[right]):
                return _listed(
                    [self.phrase(left, call), self.phrase(right, call)], f" {_RELATIONS[type(op)]} "
                )
            case ast.IfExp(test=test, body=body, orelse=other):
                return self._choice(test, body, other, call)
            case ast.Call():
                return self._called(node, call)
            case ast.Subscript(value=inner, slice=part) if _only_shape(part):
                return self.phrase(inner, call)
            case ast.Attribute(value=inner, attr="real" | "T") if attr_is_array(self.origins, inner, call):
                return self.phrase(inner, call)
        return self.operand(node, call)

    def _negative(self, inner: Phrase) -> Phrase:
        value = None if inner.value is None else -inner.value
        return Phrase(f"−{inner.at(PRODUCT)}", PRODUCT, value, inner.unit, inner.parts)

    def _power(self, base: Phrase, exponent: Phrase) -> Phrase:
        value = _worked(lambda a, b: a**b, base, exponent)
        n = exponent.value
        whole = n is not None and n == int(n) and not exponent.parts
        unit = partial(_power, base.unit, int(n)) if n is not None and whole else _unknown
        text = f"{base.at(ATOM)}^{exponent.at(ATOM)}"
        return Phrase(text, POWER, value, unit, base.parts + exponent.parts)

    def _choice(self, test: ast.expr, body: ast.expr, other: ast.expr, call: Call) -> Phrase:
        """Only what was taken, where the choice is one of the case and not of a number."""
        taken = self.origins.evaluated(test, call)
        if isinstance(taken, bool | np.bool_):
            return self.phrase(body if taken else other, call)
        return self._where(test, body, other, call)

    def _where(self, test: ast.expr, body: ast.expr, other: ast.expr, call: Call) -> Phrase:
        found = self.origins.evaluated(test, call)
        flat = np.ravel(np.asarray(found)) if isinstance(found, np.ndarray | bool | np.bool_) else np.zeros(0)
        taken = bool(flat[0]) if flat.size == 1 else None
        condition, a, b = self.phrase(test, call), self.phrase(body, call), self.phrase(other, call)
        value = None if taken is None else (a if taken else b).value
        parts = condition.parts + _weighed(a, 0.0 if taken is False else 1.0)
        text = f"{a.at(SUM)} if {condition.text}, else {b.at(SUM)}"
        unit = _same_as(*(p for p in (a, b) if p.text not in ("0", "-")))
        return Phrase(text, CHOICE, value, unit, parts + _weighed(b, 0.0 if taken else 1.0))

    def _called(self, node: ast.Call, call: Call) -> Phrase:  # noqa: C901 - one case for each function
        name = class_of(node)
        if name in ("zeros", "zeros_like"):
            return ZERO
        if name in ("ones", "ones_like"):
            return Phrase("1", value=1.0, unit=_plain)
        if self.origins.calls(node, call) and name not in ("total", "column", "as_n"):
            return self.operand(node, call)
        args = node.args
        method = isinstance(node.func, ast.Attribute) and not self._of_module(node.func.value, call)
        if method and isinstance(node.func, ast.Attribute) and name not in ("total",):
            args = [node.func.value, *args]
        if name in _SAME and args:
            return self.phrase(args[0], call)
        if name in ("full", "full_like") and len(args) > 1:
            return self.phrase(args[1], call)
        if name == "divide" and len(args) > 1:
            return _joined(self.phrase(args[0], call), "/", self.phrase(args[1], call))
        if name == "where" and len(args) == 3:
            return self._where(args[0], args[1], args[2], call)
        if name in ("sum", "total", "fsum") and args:
            return self._sum(args, node, call)
        if name == "reduce" and len(args) > 1:
            return self._terms(args[1], node, call)
        if name in _FUNCTIONS and args:
            return self._function(name, self.phrase(args[0], call))
        if name in _EXTREMES and args:
            return self._extreme(name, args, node, call)
        if name == "clip" and len(args) == 3:
            return self._kept_between(*(self.phrase(a, call) for a in args))
        return self.operand(node, call)

    def _of_module(self, owner: ast.expr, call: Call) -> bool:
        return isinstance(owner, ast.Name) and owner.id in ("np", "math", "functools", "operator")

    def _function(self, name: str, inner: Phrase) -> Phrase:
        word, worker = _FUNCTIONS[name]
        text = f"{word}({inner.text})" if not word.endswith(" ") else f"{word}{inner.at(ATOM)}"
        unit = inner.unit if name in ("abs", "floor", "ceil") else _unknown
        return Phrase(text, ATOM, _worked(worker, inner), unit, inner.parts)

    def _extreme(self, name: str, args: Sequence[ast.expr], node: ast.Call, call: Call) -> Phrase:
        word, worker = _EXTREMES[name]
        if name in ("max", "min"):
            pairs = self.unroller.several(args[0], call)
            if pairs is None or len(pairs) > _MANY:
                return self.operand(node, call)
            found = [self.phrase(*pair) for pair in pairs]
        else:
            found = [self.phrase(a, call) for a in args[:2]]
            for one, other in (found, found[::-1]):
                if one.value is not None and not one.parts and 0 < abs(one.value) < _SMALLEST:
                    return other
        values = [p.value for p in found if p.value is not None]
        value = worker(values) if len(values) == len(found) and values else None
        whole = _listed(found, " and ")
        return replace(whole, text=f"{word} of {whole.text}", value=value, bare=None,
                       unit=_same_as(*(p for p in found if p.text != "0")))  # fmt: skip

    def _kept_between(self, inner: Phrase, low: Phrase, high: Phrase) -> Phrase:
        value = _worked(lambda x, a, b: min(max(x, a), b), inner, low, high)
        text = f"{inner.at(SUM)}, kept between {low.text} and {high.text}"
        return Phrase(text, CHOICE, value, inner.unit, inner.parts + low.parts + high.parts)

    def _sum(self, args: Sequence[ast.expr], node: ast.Call, call: Call) -> Phrase:
        of = args[0]
        array = self.origins.evaluated(of, call) if not isinstance(of, ast.GeneratorExp) else None
        if isinstance(array, np.ndarray):
            if array.ndim == 2 and array.shape[0] == 1:
                return self._products(of, None, node, call)
            return self.operand(node, call)
        found = self._terms(of, node, call)
        rest = [k.value for k in node.keywords if k.arg == "start"] + list(args[1:2])
        for start in rest:
            found = _joined(found, "+", self.phrase(start, call))
        return found

    def _terms(self, collection: ast.expr, node: ast.Call, call: Call) -> Phrase:
        pairs = self.unroller.several(collection, call)
        if pairs is None:
            return self.operand(node, call)
        return self._added([self.phrase(*pair) for pair in pairs])

    def _added(self, terms: Sequence[Phrase]) -> Phrase:
        """A sum; of a long one the largest terms, and the rest together."""
        terms = [t for t in terms if t.text != "0"]
        values = [t.value for t in terms if t.value is not None]
        if len(terms) > _MANY and len(values) == len(terms):
            order = sorted(range(len(terms)), key=lambda i: -abs(values[i]))
            rest = sum(values[i] for i in order[_TERMS:])
            others = Node("value", f"{len(terms) - _TERMS} others", si=rest, algebra=_same_as(*terms))
            terms = [*(terms[i] for i in order[:_TERMS]), of_node(others)]
        total = ZERO
        for term in terms:
            total = _joined(total, "+", term)
        return total

    def _products(self, left: ast.expr, right: ast.expr | None, node: ast.expr, call: Call) -> Phrase:
        """A sum over substances or elements, term by term: ``n @ m``, or of the columns of one array."""
        columns = self._columns(left, right, node, call)
        if columns is None:
            return self.operand(node, call) if right is None else _joined(
                self.phrase(left, call), "×", self.phrase(right, call), over="Σ of "
            )  # fmt: skip
        contributions, labels = columns
        order = [int(k) for k in np.argsort(-np.abs(contributions)) if contributions[k] != 0]
        few = order if len(order) <= _TERMS + 1 else order[:_TERMS]
        terms = [self.phrase(self._term(left, right, k, labels[k]), call) for k in few]
        rest = order[len(few) :]
        if rest:
            for k in rest:  # not written out; the tables they are from are cited
                self.phrase(written.column(_last_factor(left, right), k, labels[k]), call)
            left_over = float(contributions[rest].sum())
            others = Node("value", f"{len(rest)} others", si=left_over, algebra=_same_as(*terms))
            terms.append(of_node(others))
        total = ZERO
        for term in terms:
            total = _joined(total, "+", term)
        return total

    def _columns(
        self, left: ast.expr, right: ast.expr | None, node: ast.expr, call: Call
    ) -> tuple[Any, Sequence[str]] | None:
        """What each column contributes, and its name; None where columns have no names."""
        first = self.origins.evaluated(left, call)
        second = 1.0 if right is None else self.origins.evaluated(right, call)
        if not isinstance(first, np.ndarray) or second is MISSING:
            return None
        try:
            contributions = np.ravel(first * second)
        except ValueError:
            return None
        phase = self.namer.phase(left, call) or self._species(right, call)
        names = phase.names if phase is not None else ELEMENTS if contributions.size == len(ELEMENTS) else ()
        return (contributions, names) if len(names) == contributions.size == first.shape[-1] else None

    def _species(self, right: ast.expr | None, call: Call) -> Species | None:
        """The substances whose property is a factor of every term."""
        if isinstance(right, ast.Subscript):
            right = right.value
        owner = self.origins.value(right.value, call) if isinstance(right, ast.Attribute) else None
        return owner if isinstance(owner, Species) else None

    def _term(self, left: ast.expr, right: ast.expr | None, k: int, label: str) -> ast.expr:
        if right is not None:
            return written.joined(written.column(left, k, label), _TIMES, written.column(right, k, label))
        if isinstance(left, ast.BinOp):
            sides = [written.column(side, k, label) for side in (left.left, left.right)]
            return written.joined(sides[0], left.op, sides[1])
        return written.column(left, k, label)


_TIMES: Final = ast.Mult()


def _last_factor(left: ast.expr, right: ast.expr | None) -> ast.expr:
    """Of ``n @ m`` and of ``n * m``, the m."""
    return right if right is not None else left.right if isinstance(left, ast.BinOp) else left


def attr_is_array(origins: Origins, inner: ast.expr, call: Call) -> bool:
    """Whether ``x.T`` or ``x.real`` is of an array."""
    return isinstance(origins.value(inner, call), np.ndarray)


def _only_shape(part: ast.expr) -> bool:
    """``[:, None]`` and the like."""
    shape = part.elts if isinstance(part, ast.Tuple) else [part]
    none = [isinstance(p, ast.Constant) and p.value is None for p in shape]
    return all(isinstance(p, ast.Slice) or n for p, n in zip(shape, none, strict=True)) and any(none)


def _weighed(phrase: Phrase, weight: float) -> tuple[tuple[Node, float], ...]:
    return tuple((node, weight * w) for node, w in phrase.parts)


def _worked(worker: Callable[..., Any], *phrases: Phrase) -> float | None:
    values = [p.value for p in phrases]
    if any(v is None for v in values):
        return None
    try:
        return float(worker(*values))
    except (ArithmeticError, ValueError, TypeError):
        return None


_WORK: Final[dict[str, Callable[[float, float], float]]] = {
    "+": lambda a, b: a + b, "−": lambda a, b: a - b, "×": lambda a, b: a * b, "/": lambda a, b: a / b,
}  # fmt: skip


def _joined(a: Phrase, sign: str, b: Phrase, over: str = "") -> Phrase:
    """Two phrases with a sign between them; what changes nothing is left out."""
    value = _worked(_WORK[sign], a, b)
    if sign in "+−":
        if b.text == "0":
            return a
        if a.text == "0":
            return b if sign == "+" else Phrase(f"−{b.at(PRODUCT)}", PRODUCT, value, b.unit, b.parts)
        most = max(abs(a.value or 0.0), abs(b.value or 0.0))
        shares = [1.0 if p.value is None or not most else abs(p.value) / most for p in (a, b)]
        text = f"{a.at(SUM)} {sign} {b.at(PRODUCT if sign == '−' else SUM)}"
        parts = _weighed(a, shares[0]) + _weighed(b, shares[1])
        return Phrase(text, SUM, value, _same_as(a, b), parts)
    if ("0" in (a.text, b.text) and sign == "×") or a.text == "0":
        return ZERO
    if b.text == "1":
        return a
    if a.text == "1" and sign == "×":
        return b
    text = f"{over}{a.at(PRODUCT)} {sign} {b.at(POWER if sign == '/' else PRODUCT)}"
    unit = partial(_product, a.unit, b.unit, 1 if sign == "×" else -1)
    return Phrase(text, PRODUCT, None if over else value, unit, a.parts + b.parts)


def _listed(phrases: Sequence[Phrase], between: str) -> Phrase:
    text = between.join(p.at(SUM) for p in phrases)
    return Phrase(text, CHOICE, parts=tuple(part for p in phrases for part in p.parts))
