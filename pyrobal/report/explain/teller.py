"""From a number of the graph to the equation that made it: the operations of one statement together."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property, partial
from typing import Any, Final

import numpy as np

from pyrobal.dimensions import Constant
from pyrobal.report.explain.expression import Applied, Expression, Number, Operand, Sum, work_out
from pyrobal.report.explain.known import Known, unit_at
from pyrobal.report.explain.labels import Labels
from pyrobal.report.explain.naming import Naming
from pyrobal.report.explain.source import spot
from pyrobal.report.explain.step import Step, Told
from pyrobal.report.explain.way import Way
from pyrobal.trace.graph import Leaf, Node, Solution, number
from pyrobal.trace.rules import ELEMENTWISE, LINEAR_SOLVE, MATMUL, REDUCE, SOLVED

_ADDING: Final = (np.add, np.subtract, np.negative)
_MOST: Final = 8  # terms written out
_LARGEST: Final = 3  # of a longer sum
_PAGE: Final = 25  # of what is left, where it is told
_TOLD: Final = (ELEMENTWISE, REDUCE, MATMUL)
Term = tuple[float, Expression]


class Teller:
    """Makes the steps of one history."""

    def __init__(self, known: Known) -> None:
        self.known = known
        self.way = Way()
        self._steps: dict[tuple[int, int], Step] = {}
        self._nodes: dict[int, Node] = {}
        self.naming = Naming(Labels(known.history.results), known.materials, self._nodes)

    def step(self, operand: Any, element: int) -> Step:
        """What is known of an element."""
        operand, element, _ = self.way.back(operand, element)
        key = (id(operand), element)
        if key not in self._steps:
            self._steps[key] = made = self._made(operand, element)
            if type(operand) is Node:
                self._nodes[id(made)] = operand
        return self._steps[key]

    def root(self, key: str) -> Step:
        """A reading; of one that no operation made, what it is the same as."""
        node = self.known.history.nodes[key]
        step = self.step(node, 0)
        if step.kind == "reading" and step.name == key:
            return step
        same = Step("reading", step.value, step.unit, tell=lambda: self._same(step, node))
        return self.known.reading(key, same)

    def _same(self, step: Step, node: Node) -> Told:
        """Of what is the same as another value; of a number written in the code, when that is taken."""
        if step.kind != "number":
            return Told(Operand(step, step.name or "value"))
        chosen = [said for n, _ in self.way.back(node, 0)[2] if (said := self.naming.condition(n))]
        return Told(
            sentence=f"a number that is set: {chosen[-1]}" if chosen else "a number that is set or counted"
        )

    @cached_property
    def readings(self) -> dict[tuple[int, int], str]:
        """Element -> the reading it is, where an operation made it."""
        found: dict[tuple[int, int], str] = {}
        for key, node in self.known.history.nodes.items():
            made, element, _ = self.way.back(node, 0)
            if type(made) is Node and made.rule is not None:
                found.setdefault((id(made), element), key)
        return found

    def _made(self, operand: Any, element: int) -> Step:
        value = float(np.real(number(operand).flat[element]))
        if type(operand) is not Node:
            if isinstance(operand, Constant):
                return Step(
                    "constant", value, str(operand.unit), sources=(operand.source,) if operand.source else ()
                )
            return Step("number", value)
        of = unit_at(operand, element)
        if isinstance(operand.origin, Leaf):
            return self.known.leaf(operand, element)
        solved = operand.rule is SOLVED
        tell = partial(
            self._solved if operand.rule in (SOLVED, LINEAR_SOLVE) else self._told, operand, element
        )
        found = Step("solved" if solved else "equation", value, of, spot=spot(operand.place), tell=tell)
        key = self.readings.get((id(operand), element))
        return self.known.reading(key, found) if key is not None else self.known.shown(found)

    # Equations

    def _told(self, node: Node, element: int) -> Told:
        return self.naming.told(self._expression(node, element))

    def _expression(self, node: Node, element: int) -> Expression:
        """The operation with those of the same statement that stand within it."""
        if node.function in _ADDING or node.rule in (REDUCE, MATMUL):
            return self._sum(list(self._terms(node, element)), unit_at(node, element))
        assert node.function is not None
        pairs = node.rule.parents(node, element)
        arguments = tuple(self._operand(node, k, *pair) for k, pair in enumerate(pairs))
        return _product(*arguments) if node.function is np.multiply else Applied(node.function, arguments)

    def _operand(self, node: Node, k: int, operand: Any, element: int) -> Expression:
        """An operand: written out where it is a part of the statement, else by its name."""
        made, i, passed = self.way.back(operand, element)
        if self._within(node, made):
            return self._expression(made, i)
        step = self.step(made, i)
        name = self.naming.of(node, k, made, i, passed, step)
        if (
            step.kind in ("number", "formula", "table")
            and not step.unit
            and (step.value.is_integer() or not name)
        ):
            return Number(step.value)
        return Operand(step, name or self.naming.fallback(step))

    def _within(self, node: Node, made: Any) -> bool:
        if type(made) is not Node or made.rule not in _TOLD:
            return False
        here, there = spot(node.place), spot(made.place)
        return here is not None and here.holds(there)

    def _terms(self, node: Node, element: int) -> Iterator[Term]:
        """The terms of a sum, through sums within it and those that a loop adds up."""
        ahead = [(sign, node, k, pairs) for k, (sign, *pairs) in enumerate(_summed(node, element))][::-1]
        while ahead:
            sign, at, k, pairs = ahead.pop()
            if len(pairs) == 2:
                yield sign, _product(*(self._operand(at, j, *pair) for j, pair in enumerate(pairs)))
                continue
            made, i, _ = self.way.back(*pairs[0])
            again = type(made) is Node and made.place == at.place and at.place is not None
            if type(made) is Node and (again or self._within(at, made)) and _sums(made):
                ahead += [(sign * s, made, j, below) for j, (s, *below) in enumerate(_summed(made, i))][::-1]
            else:
                yield sign, self._operand(at, 0 if at.rule is REDUCE else k, *pairs[0])

    def _sum(self, terms: list[Term], unit: str, most: int = _MOST, largest: int = _LARGEST) -> Expression:
        """The largest terms; what else there is stands for one more, which is told in turn."""
        sized = [
            (abs(float(np.real(work_out(term)))), n, (sign, term)) for n, (sign, term) in enumerate(terms)
        ]
        sized = [one for one in sized if one[0] != 0.0] or sized[:1]
        if len(sized) <= most:
            return Sum(tuple(_signed(*term) for _, _, term in sized))
        kept = sorted(sorted(sized, key=lambda one: -one[0])[:largest], key=lambda one: one[1])
        ours = {n for _, n, _ in kept}
        rest = [term for _, n, term in sized if n not in ours]
        step = Step(
            "others",
            float(np.real(work_out(Sum(tuple(rest))))),
            unit,
            tell=lambda: self.naming.told(self._sum(rest, unit, _PAGE, _PAGE)),
        )
        numbered = [_signed(sign, _numbered(term, n)) for _, n, (sign, term) in kept]
        return Sum((*numbered, (1.0, Operand(self.known.shown(step), f"{len(rest)} others"))), len(sized))

    # Equations that were solved together

    def _solved(self, node: Node, element: int) -> Told:
        if node.rule is LINEAR_SOLVE:
            return self._linear(node, element)
        assert isinstance(node.origin, Solution)
        pairs = node.rule.parents(node, element)
        width = len(pairs)
        own = element % width
        others = f" with {width - 1} other unknowns" if width > 1 else ""
        sentence = (
            f"found by {node.origin.method}{others}: its equation is zero; "
            f"largest residual {node.origin.residual:.1g}"
        )
        made, i, passed = self.way.back(*pairs[own])
        step = self.step(made, i)
        return Told(sentence=sentence, parts=((step, self.naming.bound(made, passed) or "equation", np.nan),))

    def _linear(self, node: Node, element: int) -> Told:
        """x of A x = b: the right sides, each with its share."""
        n = node.value.shape[-2]
        seed = np.zeros((1, *node.value.shape))
        seed.flat[element] = 1.0
        value = float(node.value.flat[element])
        found = []
        for operand, slope in node.rule.pull(node, seed):
            flat, own = slope.reshape(-1), number(operand).reshape(-1)
            for i in np.flatnonzero(flat * own).tolist():
                found.append(
                    (abs(flat[i] * own[i]), operand, i, flat[i] * own[i] / value if value else np.nan)
                )
        ranked = sorted(found, key=lambda one: -one[0])[:_MOST]
        parts = []
        for _, operand, i, share in ranked:
            made, j, passed = self.way.back(operand, i)
            step = self.step(made, j)
            parts.append(
                (step, self.naming.of(node, 0, made, j, passed, step) or self.naming.fallback(step), share)
            )
        more = (
            f", the largest {len(parts)} of {len(found)} numbers in them" if len(found) > len(parts) else ""
        )
        return Told(sentence=f"from {n} linear equations solved together{more}", parts=tuple(parts))


def _signed(sign: float, term: Expression) -> Term:
    """The sign of a term in front of it."""
    match term:
        case Sum(terms=((own, only),)):
            return _signed(sign * own, only)
        case Applied(function=f, arguments=(Number(value=value), other)) if f is np.multiply and value < 0.0:
            return _signed(-sign, _product(Number(-value), other))
    return sign, term


def _numbered(term: Expression, n: int) -> Expression:
    """A term of a long sum with its place in it."""
    return Operand(term.step, f"{term.name} [{n + 1}]") if isinstance(term, Operand) else term


def _product(a: Expression, b: Expression) -> Expression:
    """A number stands first, and one is left out."""
    if isinstance(b, Number) and not isinstance(a, Number):
        a, b = b, a
    if isinstance(a, Number) and abs(a.value) == 1.0:
        return b if a.value > 0 else Sum(((-1.0, b),))
    return Applied(np.multiply, (a, b))


def _sums(node: Node) -> bool:
    return (
        node.function in _ADDING or (node.rule is REDUCE and node.function is np.add) or node.rule is MATMUL
    )


def _summed(node: Node, element: int) -> Iterator[tuple[Any, ...]]:
    """Sign and operand of each term; two operands where the term is their product."""
    pairs = node.rule.parents(node, element)
    if node.rule is MATMUL:
        for k in range(0, len(pairs), 2):
            yield (1.0, pairs[k], pairs[k + 1])
    elif node.function is np.negative:
        yield (-1.0, pairs[0])
    else:
        for k, pair in enumerate(pairs):
            yield (-1.0 if node.function is np.subtract and k else 1.0, pair)
