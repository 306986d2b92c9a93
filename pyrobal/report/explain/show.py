"""An explanation as text: the tree, then the settings, the published sources and the solver it rests on."""

from __future__ import annotations

import heapq
import textwrap
from collections.abc import Iterator
from itertools import count
from typing import Final

from pyrobal.report.explain.node import Explanation, Node
from pyrobal.report.tables import plain

PAGE: Final = 40  # lines of a tree
WIDTH: Final = 80
_INDENT: Final = "  "
_LOST: Final = (
    "The way back to the settings is not told: it leads through a loop or a collection whose single parts "
    "are not kept. The readings of the steps before it are explained by themselves."
)
_DEEPER: Final = 0.5  # what a level counts less than the one above
_LEAST: Final = 0.01  # share of the value above which a step is worth a line


def lines(
    explanation: Explanation, depth: int | None = None, width: int = WIDTH, case: str = "CASE"
) -> Iterator[str]:
    """The explanation line by line: ``depth`` levels of the tree, or what matters most of it on a page."""
    shown = _chosen(explanation.root) if depth is None else _down_to(explanation.root, depth)
    met: set[int] = set()
    yield from _tree(explanation.root, shown, width, 0, met)
    told = [node for node in explanation.root.walk(explanation.steps) if id(node) in met]
    on_page = {id(part): part for node in told for part, _ in node.parts}
    readings = dict.fromkeys(n.name for n in on_page.values() if n.kind == "reading")
    used = dict.fromkeys(n.name for n in on_page.values() if n.kind == "setting")
    nearest = f", in the nearest {explanation.steps} steps" if explanation.far else ""
    sections = (
        ("Readings above, explained in turn by", [f"pyrobal explain {case} {key}" for key in readings]),
        ("Settings in these equations", _settings(explanation, list(used))),
        (f"Settings further back{nearest}", _by_section(k for k in explanation.settings if k not in used)),
        ("Solved by iteration", list(explanation.solved)),
        ("Sources of the equations", list(explanation.models)),
        ("Sources of the data", [f"{source}: {', '.join(of)}" for source, of in explanation.data.items()]),
    )
    if explanation.root.si and not explanation.settings:
        yield ""
        yield from _wrapped(_LOST, width, "")
    for heading, rows in sections:
        if rows:
            yield ""
            yield heading
            for row in rows:
                yield from _wrapped(row, width, _INDENT)


def _settings(explanation: Explanation, keys: list[str]) -> list[str]:
    """One line each, with what is said of it."""
    rows = []
    for key in keys:
        if key in explanation.settings:
            value, said = explanation.settings[key]
            rows.append(f"{key} = {value}: {said}")
        else:  # a table
            within = [(k, v) for k, v in explanation.settings.items() if k.startswith(f"{key}.")]
            said = within[0][1][1] if within else ""
            rows.append(
                f"{key} ({said}): " + ", ".join(f"{k.removeprefix(key + '.')} {v}" for k, (v, _) in within)
            )
    return rows


def _by_section(keys: Iterator[str]) -> list[str]:
    """The keys of one section on one line."""
    found: dict[str, list[str]] = {}
    for key in keys:
        section, _, rest = key.partition(".")
        name = ".".join(rest.split(".")[:2]) if section in ("concentrate", "revert", "flux", "fuel") else rest
        found.setdefault(section, []).append(name)
    return [f"{section}: {', '.join(dict.fromkeys(names))}" for section, names in found.items()]


def _worth_telling(node: Node) -> bool:
    """Whether a step has an equation to show; readings are told by themselves."""
    return node.kind in ("equation", "solved") and bool(node.told().equation)


def _down_to(root: Node, depth: int) -> set[int]:
    shown, level = {id(root)}, [root]
    for _ in range(depth):
        level = [part for node in level for part, _ in node.operands() if _worth_telling(part)]
        shown |= {id(node) for node in level}
    return shown


def _chosen(root: Node) -> set[int]:
    """The steps that matter most to the value, as many as fit a page of the usual width."""
    order = count()
    ahead = [(-1.0, next(order), 0, root)]
    shown: set[int] = set()
    room = PAGE
    while ahead:
        worth, _, level, node = heapq.heappop(ahead)
        if id(node) in shown:
            continue
        room -= len(list(_lines_of(node, WIDTH, level)))
        if room < 0 and shown:
            break
        shown.add(id(node))
        for part, share in node.operands():
            if _worth_telling(part) and share >= _LEAST:
                heapq.heappush(ahead, (worth * share * _DEEPER, next(order), level + 1, part))
    return shown


def _tree(node: Node, shown: set[int], width: int, level: int, met: set[int]) -> Iterator[str]:
    if id(node) in met:
        return
    met.add(id(node))
    yield from _lines_of(node, width, level)
    for part, _ in node.operands():
        if id(part) in shown:
            yield from _tree(part, shown, width, level + 1, met)


def _lines_of(node: Node, width: int, level: int) -> Iterator[str]:
    """A value, what is said of it, its equation and where that stands."""
    margin = _INDENT * level
    head = " = ".join(filter(None, (node.name, node.value)))
    yield from _wrapped(f"{head}: {node.words}" if node.words else head, width, margin)
    if node.equation:
        solved = node.equation.startswith("found by ")
        place = f" [{node.place}]" if node.place and not solved else ""
        sign = "" if solved else "= "
        yield from _wrapped(f"{sign}{node.written()}{place}", width, margin + _INDENT)


def _wrapped(text: str, width: int, margin: str) -> list[str]:
    room = max(width, len(margin) + 30)
    return textwrap.wrap(plain(text), room, initial_indent=margin, subsequent_indent=margin + _INDENT * 2)
