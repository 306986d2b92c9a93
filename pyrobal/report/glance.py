"""A result at a glance, for a notebook: a table as a frame, five lines, and a short table in HTML."""

from __future__ import annotations

import html
import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

from pyrobal.report.numbers import number
from pyrobal.report.tables import Cell, Table, plain

if TYPE_CHECKING:
    import pandas

_WIDTH: Final = 100  # letters of a line
_ROWS: Final = 12  # of a table


def frame(table: Table) -> pandas.DataFrame:
    """A table as pandas has it; a unit stands in its heading, and headings that are alike are numbered."""
    import pandas

    headings: list[str] = []
    for column in table.columns:
        name = f"{column.heading} [{column.unit}]" if column.unit else column.heading
        alike = sum(one == name or one.startswith(f"{name}.") for one in headings)
        headings.append(f"{name}.{alike}" if alike else name)
    return pandas.DataFrame(list(table.rows), columns=pandas.Index(headings))


def lines(head: str, *told: str) -> str:
    """What it is, what there is to say of it, and what to do with it, a line each of bounded length."""
    what = "frame(), figure(name), to_html(path), to_xlsx(path)"
    return "\n".join((_short(plain(head)), *(_short(f"  {plain(line)}") for line in (*told, what))))


def _short(line: str) -> str:
    words = line.lstrip()
    return textwrap.shorten(words, _WIDTH, initial_indent=line[: len(line) - len(words)], placeholder=" ...")


def glance(head: str, table: Table) -> str:
    """The first rows of a table in HTML; whatever a name holds, nothing in it is markup."""
    headings = (f"{column.heading} {column.unit}".strip() for column in table.columns)
    rows = [_row("th", headings), *(_row("td", map(_text, row)) for row in table.rows[:_ROWS])]
    more = len(table.rows) - _ROWS
    foot = f"<p>{more} more rows: frame()</p>" if more > 0 else ""
    return f"<p><strong>{html.escape(plain(head))}</strong></p><table>{''.join(rows)}</table>{foot}"


def _row(tag: str, cells: Iterable[str]) -> str:
    return f"<tr>{''.join(f'<{tag}>{html.escape(plain(cell))}</{tag}>' for cell in cells)}</tr>"


def _text(cell: Cell) -> str:
    return cell if isinstance(cell, str) else number(cell)
