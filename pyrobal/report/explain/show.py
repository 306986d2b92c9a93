"""An explanation as text: the tree, then the settings, the published sources and the solver it rests on."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Mapping
from itertools import groupby
from typing import Final

from pyrobal.report.explain.ground import Explanation, Node
from pyrobal.report.tables import plain

PAGE: Final = 60  # lines
DEEPEST: Final = 5  # levels that are tried for a page
WIDTH: Final = 80
_INDENT: Final = "  "


def lines(explanation: Explanation, depth: int | None = None, width: int = WIDTH) -> Iterator[str]:
    """The explanation line by line: ``depth`` levels of the tree, or as many as stay on a page."""
    depths = range(DEEPEST, 0, -1) if depth is None else (depth,)
    for levels in depths:
        tree = list(_tree(explanation.root, levels, width, 0, set()))
        if len(tree) <= PAGE:
            break
    yield from tree
    for heading, rows in (
        ("Settings on the way", list(_settings(explanation.settings))),
        ("Solved by iteration", list(explanation.solved)),
        ("Sources", list(explanation.sources)),
    ):
        if rows:
            yield ""
            yield heading
            for row in rows:
                yield from _wrapped(row, width, _INDENT)


def _settings(settings: Mapping[str, tuple[str, str]]) -> Iterator[str]:
    """One line each; the values of one assay, mineralogy or table together."""
    for (table, said), group in groupby(settings.items(), key=lambda item: (_table(item[0]), item[1][1])):
        if table:
            shares = (f"{key.removeprefix(table)} {value}" for key, (value, _) in group)
            yield f"{table[:-1]} ({said}): {', '.join(shares)}"
        else:
            yield from (f"{key} = {value}: {text}" for key, (value, text) in group)


def _table(key: str) -> str:
    """What comes before the name of a share: ``concentrate.Fenholt.assay.``, nothing of other settings."""
    found = re.match(r".+\.(?:assay|minerals|deportment)\.|fuel\.[^.]+\.(?=[A-Z])", key)
    return found[0] if found else ""


def _tree(node: Node, depth: int, width: int, level: int, told: set[int]) -> Iterator[str]:
    margin = _INDENT * level
    head = " = ".join(filter(None, (node.name, node.value)))
    again = bool(node.children) and id(node.origin or node) in told
    yield from _wrapped(f"{head}  (as above)" if again else head, width, margin)
    if again:
        return
    place = f"  [{node.place.removeprefix('pyrobal/')}]" if node.place else ""
    for text in (node.words, f"= {node.equation}{place}" if node.equation else ""):
        if text:
            yield from _wrapped(text, width, margin + _INDENT)
    if not node.children:
        return
    if level >= depth:
        yield f"{margin}{_INDENT}... {sum(1 for _ in node.walk()) - 1} more steps below"
        return
    told.add(id(node.origin or node))
    for child in node.children:
        yield from _tree(child, depth, width, level + 1, told)


def _wrapped(text: str, width: int, margin: str) -> list[str]:
    room = max(width, len(margin) + 30)
    return textwrap.wrap(plain(text), room, initial_indent=margin, subsequent_indent=margin + _INDENT * 2)
