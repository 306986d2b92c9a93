"""``pyrobal explain``: how one reading came about."""

from __future__ import annotations

import click

from pyrobal.cli import complete
from pyrobal.cli.options import overrides


@click.command()
@click.argument("case")
@click.argument("reading", shell_complete=complete.reading)
@click.option("--depth", type=click.IntRange(1, 40), help="Levels of the tree; unless given, a page of it.")
@overrides
def explain(case: str, reading: str, depth: int | None, assignments: tuple[str, ...]) -> int:
    """Show how READING of CASE came about, from its equation back to the inputs.

    Equations stand as the code has them, values within the tree in SI. Below the tree: the settings it
    rests on, how iterations ended, and the published sources.
    """
    from pyrobal.case.load import load_case

    loaded = load_case(case, assignments)

    from rich.console import Console

    from pyrobal.report.explain.show import lines
    from pyrobal.report.explain.tree import Story
    from pyrobal.report.result import INFEASIBLE, balance

    result = balance(loaded)
    if reading not in result:
        raise click.UsageError(_unknown(reading, list(result)))
    console = Console(highlight=False)
    for line in lines(Story(result).explain(reading), depth, console.width):
        click.echo(line)
    return 1 if result.status == INFEASIBLE else 0


def _unknown(reading: str, known: list[str]) -> str:
    from pyrobal.case.names import nearest

    near = nearest(reading, known)
    return f"this case has no reading {reading!r}" + (f"; did you mean {near!r}?" if near else "")
