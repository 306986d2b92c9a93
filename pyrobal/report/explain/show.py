"""An explanation as text: the tree, then the readings on the way and the published sources."""

from __future__ import annotations

import heapq
import math
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import count
from typing import Final

from pyrobal.report.explain.source import Spot
from pyrobal.report.explain.step import Part, Step
from pyrobal.report.numbers import number
from pyrobal.report.tables import plain
from pyrobal.units import behind

PAGE: Final = 40  # lines of a tree
WIDTH: Final = 80
DIGITS: Final = 6
_INDENT: Final = "  "
SMALLEST: Final = 0.01  # per cent, that is shown
_DEEPER: Final = 0.7  # what a level counts less than the one above
_PREFIXED: Final = ("W", "Pa", "J/mol", "J/kg")  # plant units are thousands or millions of these
_LEGEND: Final = (
    "Before a name: per cent that the value above changes by for one per cent of it; of a sum its share."
)
_ROUNDS: Final = 4  # of a loop; fewer are told one by one
_LEAST: Final = 0.005  # share of the value above which a step is told in turn


def value(step: Step) -> str:
    """The number with its unit, of the trade and in SI: "48.1559 t/h = 13.3766 kg/s"."""
    si = f"{number(step.value, DIGITS)}{behind(step.unit)}"
    if not step.shown or step.shown == si:
        return si
    plain = (step.unit == "" and step.kind != "setting") or step.shown.split()[0] == "0"
    return step.shown if plain or step.unit in _PREFIXED else f"{step.shown} = {si}"


@dataclass(eq=False)
class Branch:
    """A line of the tree. part : what it is in the equation of ``above``; below : what is told of it"""

    step: Step
    part: Part | None = None
    above: Branch | None = None
    below: list[Branch] = field(default_factory=list)
    note: str = ""

    @property
    def level(self) -> int:
        return 0 if self.above is None else self.above.level + 1

    @property
    def share(self) -> str:
        """How much of the value above it is; "" where that is not known."""
        if self.part is None or not math.isfinite(self.part.share):
            return ""
        percent = 100.0 * self.part.share
        if abs(percent) < SMALLEST:
            return "0 %" if percent == 0.0 else f"< {SMALLEST:g} %"
        return f"{number(float(f'{percent:.3g}'), 3)} %"

    @property
    def head(self) -> str:
        """Name and value."""
        name = self.part.name if self.part is not None else self.step.name
        name = name[1:-1] if name.startswith("(") and name.endswith(")") else name
        return f"{name} = {value(self.step)}"

    @property
    def said(self) -> str:
        """What is said of a value: what it means, where a setting was written, why no more is told."""
        written = self.step.sources if self.step.kind == "setting" else ()
        return "; ".join(filter(None, (self.step.words, *written, self.note)))


def tree(root: Step, depth: int | None = None, most: int = 2000) -> Branch:
    """Down to ``depth`` levels, or what matters most of it on a page; each step told once."""
    order = count()
    trunk = Branch(root)
    ahead: list[tuple[float, int, Branch]] = [(-1.0, next(order), trunk)]
    told: set[int] = set()
    alike: set[tuple[int, Spot]] = (
        set()
    )  # of the parts of one equation those that are made alike are told once
    room = PAGE if depth is None else math.inf
    while ahead and len(told) < most:
        worth, _, branch = heapq.heappop(ahead)
        if depth is not None and branch.level >= depth:
            continue
        branch.note, step = _instead(branch, told, whole=depth is not None)
        if step is None:
            continue
        below = [Branch(part.step, part, branch) for part in step.parts]
        taken = sum(1 for b in below for _ in _lines(b, WIDTH, b.level)) + 2
        if depth is None and branch.above is not None and step.spot is not None:
            if (id(branch.above), step.spot) in alike:
                continue
            alike.add((id(branch.above), step.spot))
        if room < taken and told:
            continue
        room -= taken
        told.add(id(step))
        branch.below = below
        for b in below:
            weight = abs(b.part.share) if b.part and math.isfinite(b.part.share) else 1.0
            if depth is not None:
                heapq.heappush(ahead, (b.level, next(order), b))
            elif weight >= _LEAST:
                heapq.heappush(ahead, (worth * min(weight, 1.0) * _DEEPER, next(order), b))
    return trunk


def _instead(branch: Branch, told: set[int], whole: bool) -> tuple[str, Step | None]:
    """What is said beside a value, and what is told: nothing a second time, of a loop the first round."""
    step = branch.step
    if step.tell is None or (step.kind == "others" and not whole):
        return "", None
    if step.kind == "reading" and branch.above is not None and not whole:
        return "", None
    if id(step) in told:
        return "told elsewhere in this tree", None
    rounds, first = _rounds(branch)
    if rounds < _ROUNDS:
        return "", step
    note = f"made as the {branch.part.name if branch.part else ''} above is, {rounds} rounds back; the first:"
    return (note, first) if id(first) not in told else (note.rpartition(";")[0], None)


def _rounds(branch: Branch) -> tuple[int, Step]:
    """How often the way from an ancestor with the same equation can be gone again, and where it ends."""
    names: list[str] = []
    at, step, rounds = branch, branch.step, 0
    while at.above is not None and at.part is not None and step.spot is not None:
        names.insert(0, at.part.name)
        at = at.above
        if at.step.spot == step.spot:
            while (onward := _along(step, names)) is not None and onward.spot == step.spot:
                step, rounds = onward, rounds + 1
            return rounds, step
    return 0, step


def _along(step: Step, names: list[str]) -> Step | None:
    for name in names:
        found = next((part.step for part in step.parts if part.name == name), None)
        if found is None:
            return None
        step = found
    return step


def lines(
    root: Step,
    depth: int | None = None,
    width: int = WIDTH,
    case: str = "CASE",
    behind: Sequence[str] = (),
) -> Iterator[str]:
    """The explanation line by line. behind : sources of all equations, told or not"""
    trunk = tree(root, depth)
    yield from _tree(trunk, width, 0)
    if trunk.below:
        yield ""
        yield from _wrapped(_LEGEND, width, "")
    told = list(branches(trunk))
    readings = dict.fromkeys(b.step.name for b in told if b.step.kind == "reading" and b.part and not b.below)
    here = sources(told)
    sections = (
        ("Readings above, explained in turn by", [f"pyrobal explain {case} {key}" for key in readings]),
        ("Sources of the equations", here),
        ("Sources of equations further back", [source for source in behind if source not in here]),
        ("Sources of the data", data(told)),
    )
    for heading, rows in sections:
        if rows:
            yield ""
            yield heading
            for row in rows:
                yield from _wrapped(row, width, _INDENT)


def branches(trunk: Branch) -> Iterator[Branch]:
    """All of a tree, from the top."""
    yield trunk
    for below in trunk.below:
        yield from branches(below)


def sources(told: list[Branch]) -> list[str]:
    """Published sources of the equations that are told."""
    spots = (b.step.spot for b in told if b.below and b.step.spot is not None)
    return list(dict.fromkeys(source for spot in spots for source in spot.references()))


def data(told: list[Branch]) -> list[str]:
    """Published sources of the numbers that went in, with what was taken from each."""
    found: dict[str, dict[str, None]] = {}
    for branch in told:
        for source in branch.step.sources if branch.step.kind != "setting" else ():
            found.setdefault(source, {})[branch.part.name if branch.part else branch.step.name] = None
    return [f"{source}: {', '.join(of)}" for source, of in found.items()]


def _tree(branch: Branch, width: int, level: int) -> Iterator[str]:
    yield from _lines(branch, width, level)
    for below in branch.below:
        yield from _tree(below, width, level + 1)


def _lines(branch: Branch, width: int, level: int) -> Iterator[str]:
    """A value, its share, what is said of it, its equation and where that stands."""
    margin = _INDENT * level
    front = f"{branch.share}  " if branch.share else ""
    yield from _wrapped(": ".join(filter(None, (front + branch.head, branch.said))), width, margin)
    if branch.below or branch.part is None:
        spot = branch.step.spot
        place = f"  [{spot.place}]" if spot is not None else ""
        sign = "" if branch.step.told.expression is None else "= "
        yield from _wrapped(f"{sign}{branch.step.equation}{place}", width, margin + _INDENT)


def _wrapped(text: str, width: int, margin: str) -> list[str]:
    room = max(width, len(margin) + 30)
    return textwrap.wrap(plain(text), room, initial_indent=margin, subsequent_indent=margin + _INDENT * 2)
