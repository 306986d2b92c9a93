"""``pyrobal optimise``: the best settings within ranges and limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pyrobal.cli import complete
from pyrobal.cli.columns import print_sentences
from pyrobal.cli.executor import searching
from pyrobal.cli.files import needs, write
from pyrobal.cli.options import best_option, file_option, limit_option, on_case

if TYPE_CHECKING:
    from pyrobal.case.load import Case


@click.command()
@best_option("max:READING", "What is wanted most: max:READING or min:READING.", required=True)
@click.option(
    "--by",
    metavar="KEY=LOW:HIGH",
    multiple=True,
    required=True,
    shell_complete=complete.span,
    help="A setting to move, and its range; repeatable.",
)
@limit_option()
@file_option("--json", "Write the answer as JSON.")
@file_option("--html", "Write a one-file report, with the plant before and after.")
@on_case
def optimise(
    case: Case,
    best: str,
    by: tuple[str, ...],
    limit_texts: tuple[str, ...],
    json_file: str | None,
    html_file: str | None,
) -> int:
    """Choose settings of CASE for the most or least of a reading within limits.

    The limits of the case hold too. Exit code 1 where no settings keep them all.
    """
    import json

    from pyrobal.report.console import print_tables
    from pyrobal.report.optimise import content, sentences, tables
    from pyrobal.studies.limit import goal, limits
    from pyrobal.studies.optimise import optimise as work_out

    wanted = goal(case, best)
    with searching("settings", wanted.key, wanted.unit) as advance:
        found = work_out(case, by, wanted, limits(case, limit_texts), advance)
    if html_file is not None:
        with needs("--html", "report"):
            from pyrobal.report.optimise import optimise_html
        write(html_file, optimise_html(case, found))
    if json_file is not None:
        write(json_file, json.dumps({"case": case.title, **content(found)}, indent=1))
    if "-" not in (html_file, json_file):
        print_sentences(sentences(found))
        print_tables(tuple(tables(found)))
    return 0 if found.best.feasible else 1
