"""``pyrobal settings`` and ``pyrobal readings``: what can be fixed and what is worked out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import click

from pyrobal.cli import complete


@click.command()
@click.argument("prefix", default="", shell_complete=complete.every_setting)
def settings(prefix: str) -> None:
    """List the settings of a case file: key, unit, default, range and meaning.

    PREFIX shows those that begin with it, such as "smelting" or "smelting.slag".
    """
    from pyrobal.case.registry import matching

    found = matching(prefix)
    if not found:
        raise click.UsageError(_no_such("setting", prefix, (s.key for s in matching(""))))
    rows = [((s.key, s.unit, s.default, s.allowed), s.meaning) for s in found]
    _print(("setting", "unit", "default", "allowed"), rows)


@click.command()
@click.argument("prefix", default="", shell_complete=complete.reading)
def readings(prefix: str) -> None:
    """List the readings a balance gives: key, unit and meaning.

    PREFIX shows those that begin with it, such as "smelting.gas".
    """
    from pyrobal.readings import registry

    known = registry.readings()
    found = [r for r in known if r.key.startswith(prefix) or f".{prefix}" in r.key]
    if not found:
        raise click.UsageError(_no_such("reading", prefix, (r.key for r in known)))
    _print(("reading", "unit"), [((r.key, r.unit_text), r.meaning) for r in found])


def _no_such(what: str, prefix: str, keys: Iterable[str]) -> str:
    from pyrobal.names import suggestion

    otherwise = f"pyrobal {what}s without it lists them all"
    return f'no {what} begins with "{prefix}"; {suggestion(prefix, keys, otherwise)}'


_LEAST = 8  # characters that the last column is given beside the others, else values stand below each other


def _print(header: tuple[str, ...], rows: Sequence[tuple[tuple[str, ...], str]]) -> None:
    """Each quantity on a line that can be searched for, its meaning below; the last column wraps."""
    from rich.console import Console
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    from pyrobal.report.narrow import NARROW, print_stacked

    console = Console(highlight=False)
    widths = [
        max(len(line[i]) for line in (header, *(cells for cells, _ in rows))) for i in range(len(header))
    ]
    last = console.width - sum(widths[:-1]) - 2 * len(widths)
    if console.width < NARROW or last < min(widths[-1], _LEAST):
        for (key, *values), meaning in rows:
            named = (f"{name}: {value}" for name, value in zip(header[1:], values, strict=True))
            print_stacked(console, key, (*named, meaning))
        return
    widths[-1] = min(widths[-1], last)
    for cells, meaning, style in ((header, "", "bold"), *((*row, "") for row in rows)):
        line = Table.grid(padding=(0, 2, 0, 0))
        for width in widths:
            line.add_column(width=width, overflow="fold")
        line.add_row(*(Text(cell, style) for cell in cells))
        console.print(line)
        if meaning:
            console.print(Padding(Text(meaning, "dim"), (0, 0, 0, 4)))
