"""A table as columns of text within a width: no number, and no name that fits on a line, is ever cut.

A table too wide is parted where it is all numbers; else a name that is too long gets a line of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import zip_longest
from typing import Final

from rich.cells import cell_len
from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from pyrobal.report.narrow import INDENT, NARROW, folded, print_stacked
from pyrobal.report.numbers import number
from pyrobal.report.tables import WHOLE, Cell, Column, Table, spoken

_PROSE: Final = 22  # what a last column of sentences needs at least
_GAP: Final = 2


def print_table(console: Console, table: Table) -> None:
    """The title, the rows in columns, the notes."""
    console.print()
    console.print(Text(table.title, "bold"))
    if console.width < NARROW:
        for row in table.rows:
            print_stacked(console, _shown(row[0]), _values(table, row))
    if table.matrix and sum(_width(table, i) for i in range(len(table.columns))) > console.width:
        table = spoken(table)
    for part in () if console.width < NARROW else parts(table, console.width, _width):
        heading, *rows = _laid_out(part, console.width)
        console.print(Text("\n".join(heading), "bold"), soft_wrap=True)
        if rows:
            console.print(Text("\n".join(line for row in rows for line in row)), soft_wrap=True)
    for note in table.notes:
        console.print(Padding(Text(note, "dim"), (0, 0, 0, INDENT)))


def _values(table: Table, row: tuple[Cell, ...]) -> Iterator[str]:
    """The cells behind the name of a row, each behind its heading."""
    for column, cell in zip(table.columns[1:], row[1:], strict=True):
        if cell != "":
            yield f"{_heading(column)}: {_shown(cell)}".removeprefix(": ")


def _laid_out(table: Table, width: int) -> Iterator[list[str]]:
    """The heading and each row as lines; a name too long for its column gets a line of its own."""
    first, *widths = _widths(table, width)
    right = [_is_number(table, i) for i in range(1, len(table.columns))]
    for row in ([_heading(column) for column in table.columns], *table.rows):
        name, *cells = (_shown(cell) for cell in row)
        lines = [] if cell_len(name) <= first else folded(name, width, " .")
        parts = [[""] if lines else [name], *(folded(c, w) for c, w in zip(cells, widths, strict=True))]
        for texts in zip_longest(*parts, fillvalue=""):
            padded = map(_padded, texts, (first, *widths), (False, *right))
            lines.append((" " * _GAP).join(padded).rstrip())
        yield lines


def _widths(table: Table, width: int) -> list[int]:
    """Of each column: sentences in the last take what is left, names give way, then the widest others."""
    first, *rest = (_width(table, i) - _GAP for i in range(len(table.columns)))
    prose = rest and not _is_number(table, len(rest))
    least = [*rest[:-1], min(rest[-1], _PROSE)] if prose else rest
    first = min(first, max(width - sum(least) - _GAP * len(rest), INDENT))
    room = width - first - _GAP * len(rest)
    if prose:
        least[-1] = min(rest[-1], max(room - sum(least[:-1]), least[-1]))
    while sum(least) > room:
        least[max(range(len(least)), key=least.__getitem__)] -= 1
    return [first, *least]


def _padded(text: str, width: int, right: bool) -> str:
    text = text.replace(WHOLE, " ")
    space = " " * (width - cell_len(text))
    return space + text if right else text + space


def parts(table: Table, width: int, measure: Callable[[Table, int], int]) -> list[Table]:
    """The table in pieces that fit the width, each with the columns that name its rows."""
    stub, rest = range(table.stub), range(table.stub, len(table.columns))
    if not rest or not all(_is_number(table, i) for i in rest):
        return [table]
    room = width - sum(measure(table, i) for i in stub)
    groups: list[list[int]] = [[]]
    for i in rest:
        if groups[-1] and sum(measure(table, j) for j in (*groups[-1], i)) > room:
            groups.append([])
        groups[-1].append(i)
    return [_only(table, [*stub, *group]) for group in groups]


def _only(table: Table, keep: list[int]) -> Table:
    """Some of the columns, and the rows that say something in them."""
    rows = (tuple(row[i] for i in keep) for row in table.rows)
    told = tuple(row for row in rows if any(cell != "" for cell in row[table.stub :]))
    return Table(table.title, tuple(table.columns[i] for i in keep), told, stub=table.stub)


def _width(table: Table, i: int) -> int:
    texts = [_heading(table.columns[i]), *(_shown(row[i]) for row in table.rows)]
    return max(map(cell_len, texts)) + _GAP


def _heading(column: Column) -> str:
    return f"{column.heading} {column.unit}".strip()


def _is_number(table: Table, i: int) -> bool:
    cells = [row[i] for row in table.rows if row[i] != ""]
    return bool(cells) and all(isinstance(cell, float) for cell in cells)


def _shown(cell: Cell) -> str:
    return cell if isinstance(cell, str) else number(cell)
