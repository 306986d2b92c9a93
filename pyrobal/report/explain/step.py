"""What an explanation is made of: values, each with the equation it came from and what went in."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

from pyrobal.report.explain.expression import Expression, Operand, operands, shares, written
from pyrobal.report.explain.source import Spot

LEAVES: Final = ("setting", "table", "constant", "formula", "number", "unknown")


@dataclass(frozen=True, eq=False, repr=False)
class Part:
    """One thing that went in, by the name its equation has for it.

    share : relative change of the value for one of the part: of a sum the part of it; nan where not known
    """

    step: Step
    name: str
    share: float


@dataclass(frozen=True, eq=False, repr=False)
class Told:
    """How a value came about: by an equation, or by a sentence with what went in.

    names : id of a step -> its name in the equation, where that is not what the operand is called by itself
    """

    expression: Expression | None = None
    names: Mapping[int, str] = field(default_factory=dict)
    sentence: str = ""
    parts: tuple[tuple[Step, str, float], ...] = ()


@dataclass(eq=False, repr=False)  # a tree shares its branches: written out it has no end
class Step:
    """One value on the way.

    kind : "reading", "equation", "solved", "others" of a sum, or one of ``LEAVES``
    name : by which it is known anywhere: the key of a reading or setting; "" where only its equation names it
    value : in SI; unit : in SI, "" of a plain number; shown : in plant units, where it differs from SI
    words : what is said of it; sources : published, of a table or constant; of a
        setting where it was written; spot : where its equation stands
    tell : works out how it came about, when first asked for
    """

    kind: str
    value: float
    unit: str = ""
    name: str = ""
    shown: str = ""
    words: str = ""
    sources: tuple[str, ...] = ()
    spot: Spot | None = None
    tell: Callable[[], Told] | None = None

    @cached_property
    def told(self) -> Told:
        return Told() if self.tell is None else self.tell()

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """What went in, each once, in the order of the equation."""
        expression = self.told.expression
        if expression is None:
            return tuple(Part(*part) for part in self.told.parts)
        by_step = {id(operand.step): operand for operand in operands(expression)}
        share, names = shares(expression), self.told.names
        return tuple(Part(_past(o.step), names.get(key, o.name), share[key]) for key, o in by_step.items())

    @property
    def equation(self) -> str:
        """As a textbook has it, in the names of the parts."""
        if self.told.expression is None:
            return self.told.sentence
        return written(self.told.expression, self.told.names)

    def walk(self, most: int | None = None) -> Iterator[Step]:
        """This step and those below, each once, the nearest first; at ``most`` so many."""
        seen, ahead = {id(self)}, [self]
        for step in ahead:
            if most is not None and len(seen) > most:
                return
            yield step
            for part in step.parts:
                if id(part.step) not in seen:
                    seen.add(id(part.step))
                    ahead.append(part.step)


def _past(step: Step) -> Step:
    """What a step is the same as."""
    while step.kind == "equation" and isinstance(same := step.told.expression, Operand):
        step = same.step
    return step
