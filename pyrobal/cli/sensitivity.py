"""``pyrobal sensitivity``: what each setting does to a reading, the greatest effect first."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import click

from pyrobal.cli.executor import progress
from pyrobal.cli.files import STANDARD, needs, write
from pyrobal.cli.options import file_option, keys_option, reads, study
from pyrobal.cli.streams import say

if TYPE_CHECKING:
    from pyrobal.case.load import Case
    from pyrobal.studies.aim import Aim
    from pyrobal.studies.sensitivity import Effect

_MOST = 15


@click.command()
@reads
@keys_option("--to", "settings", "Settings, or how their keys begin.")
@click.option("--top", type=click.IntRange(1), default=_MOST, show_default=True, help="Lines per reading.")
@file_option("--html", "Write a one-file report.")
@study
def sensitivity(
    case: Case, aim: Aim | None, readings: list[str], settings: list[str], top: int, html_file: str | None
) -> None:
    """Rank what a change of each setting of CASE does to a reading, from exact derivatives.

    The change is one a person would speak of: one point of a share, 10 K, a tenth of anything else; of what
    is counted one more or less, solved. No change leaves the allowed range.
    """
    from pyrobal.studies.measure import reading_units
    from pyrobal.studies.sensitivity import sensitivity as work_out

    with progress("derivatives"):
        found = work_out(case, readings, settings, aim)
        units = reading_units(case, list(found))
    if html_file is not None:
        with needs("--html", "report"):
            from pyrobal.report.sensitivity import sensitivity_html
        write(html_file, sensitivity_html(case, found, units))
    if html_file == STANDARD:
        return
    for i, (key, effects) in enumerate(found.items()):
        click.echo(f"{'' if i == 0 else chr(10)}{key}")
        _print(effects[:top], units[key])
        if effects:
            say("  slopes at the present value; see pyrobal sweep for a change as large as the step")
        if len(effects) > top:
            say(f"  {len(effects) - top} lesser effects are not shown; --top N shows more")
        if not effects:
            closes = case.inputs.smelting.close_heat_with
            held = key == "smelting.heat.surplus" and closes != "nothing"
            why = f": {closes} closes the heat, so look at what that takes" if held else ""
            click.echo(f"  no setting of this case has an effect on it{why}")


def _print(effects: tuple[Effect, ...], unit: str) -> None:
    from pyrobal.report.numbers import number, quantity

    rows = []
    for e in effects:
        change = f"{'+' if e.change > 0 else ''}{quantity(e.change, unit, 3)}"
        step = f"{'+' if e.step > 0 else ''}{quantity(e.step, e.unit, 3)}"
        rows.append((step, e.setting, f"from {number(e.value, 3)}", change, _note(e)))
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
    if e.count:
        other = e.below if e.step > 0 else e.above
        return "solved" + ("" if math.isnan(other) else f"; {number(other, 3)} for one less")
    return f"kink at the present value: {number(e.below, 3)} for a step down, {number(e.above, 3)} for one up"
