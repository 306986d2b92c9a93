"""``pyrobal explain``: how one reading came about."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pyrobal.cli import complete
from pyrobal.cli.options import case_argument, load, overrides

if TYPE_CHECKING:
    from pyrobal.case.load import Case


@click.command()
@case_argument
@click.argument("key", shell_complete=complete.key)
@click.option(
    "--depth", type=click.IntRange(1, 40), help="Levels of the tree; unless given, the largest terms."
)
@click.option(
    "--influence", is_flag=True, help="What one per cent of each setting and table value does, ranked."
)
@overrides
def explain(case: str, key: str, depth: int | None, influence: bool, assignments: tuple[str, ...]) -> int:
    """Trace the reading KEY of CASE, from its equation back to the inputs.

    Every line is an equation of the program in words, with the values that went in; steps that change
    nothing are passed over. Below: the settings it rests on, how iterations ended, the published sources.
    Of a setting: its value, meaning and range; of a key that is both, the reading first.

    With --influence, in place of the equations: every setting, assay and table value that moves the reading,
    by what one per cent more of it does, to first order and exactly; what does nothing is not listed.
    """
    loaded = load(case, assignments)
    if influence:
        return _influence(loaded, key)

    from rich.console import Console

    from pyrobal.readings import registry
    from pyrobal.report.explain import setting
    from pyrobal.report.explain.absent import why_not
    from pyrobal.report.explain.show import lines
    from pyrobal.report.explain.story import Story
    from pyrobal.report.result import INFEASIBLE

    as_setting = list(setting.explained(loaded, key))
    story = None if as_setting and not registry.known(key) else Story(loaded)
    if story is not None and key in story.result:
        console = Console(highlight=False)
        for line in lines(story.explain(key), depth, console.width, case):
            click.echo(line)
        if as_setting:  # of the same name: what was asked for, where the reading is what came out
            click.echo("\n".join(["", "The setting of the same name", *(f"  {line}" for line in as_setting)]))
        return 1 if story.result.status == INFEASIBLE else 0
    if story is None or as_setting:
        click.echo("\n".join(as_setting))
        return 0
    raise click.UsageError(why_not(story.result, key))


def _influence(case: Case, key: str) -> int:
    """Print what moves a reading; exit code 1 where the plant has no answer."""
    from pyrobal.report.explain.absent import why_not
    from pyrobal.report.explain.influence import lines
    from pyrobal.report.result import INFEASIBLE, balance

    result = balance(case)
    if key not in result:
        raise click.UsageError(why_not(result, key))
    for line in lines(case, key):
        click.echo(line)
    return 1 if result.status == INFEASIBLE else 0
