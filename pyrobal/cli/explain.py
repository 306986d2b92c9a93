"""``pyrobal explain``: how one reading came about."""

from __future__ import annotations

import click

from pyrobal.cli import complete
from pyrobal.cli.options import overrides


@click.command()
@click.argument("case")
@click.argument("key", shell_complete=complete.reading)
@click.option(
    "--depth", type=click.IntRange(1, 40), help="Levels of the tree; unless given, what matters most."
)
@overrides
def explain(case: str, key: str, depth: int | None, assignments: tuple[str, ...]) -> int:
    """Show how the reading KEY of CASE came about, from its equation back to the inputs.

    Every line is an equation of the program in words, with the values that went in; steps that change
    nothing are passed over. Below: the settings it rests on, how iterations ended, the published sources.
    Of a setting: its value, meaning and range.
    """
    from pyrobal.case.load import load_case
    from pyrobal.report.explain import setting

    loaded = load_case(case, assignments)
    if found := list(setting.explained(loaded, key)):
        for line in found:
            click.echo(line)
        return 0

    from rich.console import Console

    from pyrobal.report.explain.absent import why_not
    from pyrobal.report.explain.show import lines
    from pyrobal.report.explain.story import Story
    from pyrobal.report.result import INFEASIBLE

    story = Story(loaded)
    if key not in story.result:
        raise click.UsageError(why_not(story.result, key))
    console = Console(highlight=False)
    for line in lines(story.explain(key), depth, console.width, case):
        click.echo(line)
    return 1 if story.result.status == INFEASIBLE else 0
