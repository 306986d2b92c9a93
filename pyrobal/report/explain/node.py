"""What an explanation is made of: values, each with the equation it came from and the values that went in."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from pyrobal.report.explain import si as units
from pyrobal.report.numbers import number

DIGITS = 6
_MARK = re.compile("\x01(\\d+)\x02")


@dataclass(eq=False, repr=False)  # a tree shares its branches: written out it has no end
class Node:
    """One value on the way.

    kind : "reading", "setting", "constant", "table", "solved", "equation" or "value"
    name : as an engineer says it; the key of a reading or setting
    si, unit : the number, where it is one, in SI
    shown : the number as people have it, where it is not just SI; words : what is said of it
    equation : what it was made from, with marks for the operands; place : file and function
    parts : the operands, each with its share in the value; tell, algebra : work out the equation, the unit
    """

    kind: str
    name: str
    si: float | None = None
    unit: units.Unit = None
    shown: str = ""
    words: str = ""
    equation: str = ""
    place: str = ""
    parts: tuple[tuple[Node, float], ...] = ()
    tell: Callable[[], None] | None = None
    algebra: Callable[[], units.Unit] | None = None

    def told(self) -> Node:
        """The node with its equation, which is sought the first time it is asked for."""
        if self.tell is not None:
            tell, self.tell = self.tell, None
            tell()
        return self

    @property
    def mark(self) -> str:
        """What stands for this node in an equation."""
        return f"\x01{id(self)}\x02"

    def dimension(self) -> units.Unit:
        """Its unit: as documentation states it, else what comes of the units in its equation."""
        if self.algebra is not None and self.kind not in ("reading", "setting"):
            algebra, self.algebra = self.algebra, None  # asked once: an equation may lead back to itself
            self.unit = units.settled(self.unit, algebra())
        return self.unit

    @property
    def value(self) -> str:
        """The number with its unit: "48.1559 t/h = 13.3766 kg/s", "0.064058 kg/mol"."""
        plain = "" if self.si is None else number(self.si, DIGITS)
        unit = self.dimension()
        si = f"{plain} {unit}" if plain and unit not in (None, "", "-") else plain
        if not self.shown or self.shown == si:
            return si
        return f"{self.shown} = {si}" if si and unit is not None and self.si == self.si else self.shown

    @property
    def named(self) -> str:
        """The name with the value behind it."""
        return f"{self.name} [{self.value}]" if self.value else self.name

    def written(self) -> str:
        """The equation, with the value of every operand where it is first named."""
        by_mark = {id(node): node for node, _ in self.parts}
        met: set[int] = set()

        def put(match: re.Match[str]) -> str:
            node = by_mark[int(match[1])]
            first = id(node) not in met
            met.add(id(node))
            return node.named if first else node.name

        return _MARK.sub(put, self.equation)

    def operands(self) -> Iterator[tuple[Node, float]]:
        """The operands, each once, with its share."""
        share: dict[int, float] = {}
        for node, weight in self.parts:
            share[id(node)] = max(share.get(id(node), 0.0), weight)
        for node in {id(n): n for n, _ in self.parts}.values():
            yield node, share[id(node)]

    def walk(self, most: int | None = None) -> Iterator[Node]:
        """This node and those below, each once, the nearest first; at ``most`` so many."""
        seen, ahead = {id(self)}, deque([self])
        while ahead and (most is None or len(seen) - len(ahead) < most):
            node = ahead.popleft()
            yield node.told()
            for part, _ in node.operands():
                if id(part) not in seen:
                    seen.add(id(part))
                    ahead.append(part)


@dataclass(eq=False, repr=False)  # a tree shares its branches: written out it has no end
class Explanation:
    """The tree of one reading, and what it rests on.

    settings : key -> value and meaning; solved : how each iteration on the way ended
    models : published sources of equations; data : source -> substances taken from it
    steps : how many steps were gone through for these; far : True where there are more
    """

    root: Node
    settings: dict[str, tuple[str, str]] = field(default_factory=dict)
    models: dict[str, None] = field(default_factory=dict)
    data: dict[str, dict[str, None]] = field(default_factory=dict)
    solved: dict[str, None] = field(default_factory=dict)
    steps: int = 0
    far: bool = False
