"""``pyrobal explain``: how one reading came about."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pyrobal.cli import complete
from pyrobal.cli.files import STANDARD, needs, write
from pyrobal.cli.options import case_argument, file_option, load, overrides

if TYPE_CHECKING:
    from pyrobal.report.explain.story import Story


@click.command()
@case_argument
@click.argument("key", shell_complete=complete.key)
@click.option(
    "--depth", type=click.IntRange(1, 40), help="Levels of the tree; unless given, the largest terms."
)
@click.option(
    "--influence", is_flag=True, help="What one per cent of each setting and table value does, ranked."
)
@file_option("--html", "Write the tree as a page, to be unfolded.")
@overrides
def explain(
    case: str,
    key: str,
    depth: int | None,
    influence: bool,
    html_file: str | None,
    assignments: tuple[str, ...],
) -> int:
    """Trace the reading KEY of CASE, from its equation back to the inputs.

    Every line is a value with what one per cent of it does to the value above, of a sum its share; below it
    the equation of the program in words. Steps that change nothing are passed over, and the page holds what
    matters most. Below: the published sources. Of a setting: its value, meaning and range; of a key that is
    both, the reading first.

    With --influence, in place of the equations: every setting, assay and table value that moves the reading,
    by what one per cent more of it does, to first order and exactly; what does nothing is not listed.
    """
    loaded = load(case, assignments)

    from pyrobal.readings import registry
    from pyrobal.report.explain import setting
    from pyrobal.report.explain.absent import why_not
    from pyrobal.report.explain.story import Story
    from pyrobal.report.result import INFEASIBLE

    as_setting = list(setting.explained(loaded, key))
    story = None if as_setting and not registry.known(key) else Story(loaded)
    if story is None or (key not in story.result and as_setting):
        click.echo("\n".join(as_setting))
        return 0
    if key not in story.result:
        raise click.UsageError(why_not(story.result, key))
    if html_file is not None:
        with needs("--html", "report"):
            from pyrobal.report.explain.page import explain_html
        write(html_file, explain_html(story, key, depth))
    if html_file != STANDARD:
        _print(story, key, depth, influence, case)
        if as_setting:  # of the same name: what was asked for, where the reading is what came out
            click.echo("\n".join(["", "The setting of the same name", *(f"  {line}" for line in as_setting)]))
    return 1 if story.result.status == INFEASIBLE else 0


def _print(story: Story, key: str, depth: int | None, influence: bool, case: str) -> None:
    from rich.console import Console

    from pyrobal.report.explain import influence as ranked
    from pyrobal.report.explain.show import lines

    width = Console(highlight=False).width
    if influence:
        told = ranked.lines(story.known, key)
    else:
        told = lines(story.explain(key), depth, width, case, story.sources(key))
    for line in told:
        click.echo(line)
