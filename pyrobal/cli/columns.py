"""Plain columns for the tables of a study: numbers to the right, no line wider than the terminal."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable, Sequence

import click

GAP = 2
Cell = str | float


def print_sentences(sentences: Iterable[str]) -> None:
    """Each from the margin, what does not fit on its line a little further in."""
    for text in sentences:
        click.echo(textwrap.fill(text, width(), subsequent_indent="    "))


def print_columns(headings: Sequence[str], rows: Sequence[Sequence[Cell]], stub: int = 1) -> None:
    """Print rows under headings; where the width does not do, the rest follows below with the first
    ``stub`` columns repeated. A heading breaks at its dots and blanks, a number never does."""
    texts = [[_text(cell) for cell in row] for row in rows]
    right = [all(isinstance(row[i], float) for row in rows) for i in range(len(headings))]
    widths = [
        max(len(part) for part in (*_broken(heading), *(row[i] for row in texts)))
        for i, heading in enumerate(headings)
    ]
    for k, group in enumerate(_groups(widths, min(stub, len(headings)), width())):
        if k:
            click.echo("")
        _print_group(headings, texts, widths, right, group)


def width() -> int:
    """Of the terminal; 80 where there is none."""
    return shutil.get_terminal_size((80, 24)).columns


def _text(cell: Cell) -> str:
    from pyrobal.report.numbers import number

    return cell if isinstance(cell, str) else number(cell)


def _broken(heading: str) -> list[str]:
    """The lines of a heading: its key part by part, its unit last."""
    key, bracket, unit = heading.partition(" [")
    parts = key.split(".")
    lines = [f"{part}." for part in parts[:-1]] + [parts[-1]]
    return [*lines, f"[{unit}"] if bracket else lines


def _groups(widths: Sequence[int], stub: int, room: int) -> list[list[int]]:
    first = list(range(stub))
    groups = [list(first)]
    for i in range(stub, len(widths)):
        if len(groups[-1]) > stub and sum(widths[j] + GAP for j in (*groups[-1], i)) - GAP > room:
            groups.append(list(first))
        groups[-1].append(i)
    return groups


def _print_group(
    headings: Sequence[str],
    texts: Sequence[Sequence[str]],
    widths: Sequence[int],
    right: Sequence[bool],
    group: Sequence[int],
) -> None:
    heads = {i: _broken(headings[i]) for i in group}
    depth = max(len(lines) for lines in heads.values())
    lines = [[[""] * (depth - len(heads[i])) + heads[i] for i in group]]
    rows = [[column[k] for column in lines[0]] for k in range(depth)]
    rows += [[row[i] for i in group] for row in texts]
    for row in rows:
        cells = (
            cell.rjust(widths[i]) if right[i] else cell.ljust(widths[i])
            for i, cell in zip(group, row, strict=True)
        )
        click.echo((" " * GAP).join(cells).rstrip())
