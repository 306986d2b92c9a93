"""``pyrobal sensitivity``: what each setting does to a reading, the greatest effect first."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pyrobal.cli.aims import aim_of, aims
from pyrobal.cli.balance import overrides
from pyrobal.cli.studies import keys, with_options

if TYPE_CHECKING:
    from pyrobal.studies.sensitivity import Effect

_MOST = 15


@click.command()
@click.argument("case")
@click.option("--read", "readings", metavar="KEY,KEY", multiple=True, required=True, help="The readings.")
@click.option("--to", "settings", metavar="KEY,KEY", multiple=True, help="Settings, or how their keys begin.")
@click.option("--top", type=click.IntRange(1), default=_MOST, show_default=True, help="Lines per reading.")
@with_options(*aims, overrides)
def sensitivity(
    case: str,
    readings: tuple[str, ...],
    settings: tuple[str, ...],
    top: int,
    aim: str | None,
    by: str | None,
    assignments: tuple[str, ...],
) -> None:
    """Rank what a change of each setting of CASE does to a reading, from exact derivatives.

    The change is one a person would speak of: one point of a share, 10 K, a tenth of anything else.
    """
    from pyrobal.case.load import load_case

    loaded = load_case(case, assignments)

    from pyrobal.studies.measure import reading_units
    from pyrobal.studies.sensitivity import sensitivity as work_out

    found = work_out(loaded, keys(readings), keys(settings), aim_of(loaded, aim, by))
    units = reading_units(loaded, list(found))
    for i, (key, effects) in enumerate(found.items()):
        click.echo(f"{'' if i == 0 else chr(10)}{key}")
        _print(effects[:top], units[key])
        if len(effects) > top:
            click.echo(f"  {len(effects) - top} lesser effects are not shown; --top N shows more", err=True)
        if not effects:
            click.echo("  no setting of this case has an effect on it")


def _print(effects: tuple[Effect, ...], unit: str) -> None:
    from pyrobal.report.numbers import number

    rows = []
    for e in effects:
        change = f"{'+' if e.change > 0 else ''}{number(e.change, 3)}"
        step = f"+{number(e.step, 3)}{_spaced(e.unit)}"
        rows.append((step, e.setting, f"from {number(e.value, 3)}", f"{change}{_spaced(unit)}", _note(e)))
    widths = [max(len(row[i]) for row in rows) for i in range(4)] if rows else []
    for *cells, note in rows:
        line = "  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True))
        click.echo(f"  {line}".rstrip())
        if note:
            click.echo(f"      {note}")


def _note(e: Effect) -> str:
    from pyrobal.report.numbers import number

    if e.below is None or e.above is None:
        return ""
    return f"kink at the present value: {number(e.below, 3)} for a step down, {number(e.above, 3)} for one up"


def _spaced(unit: str) -> str:
    return "" if unit == "-" else f" {unit}"
