"""``pyrobal plan``: which parcels in which period, with stocks between."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pyrobal.cli.columns import print_sentences
from pyrobal.cli.executor import searching
from pyrobal.cli.files import INPUT, needs, write
from pyrobal.cli.options import file_option, on_case
from pyrobal.files import put

if TYPE_CHECKING:
    from pyrobal.case.load import Case


@click.command()
@on_case
@click.argument("plan_file", metavar="PLAN.toml", type=INPUT)
@click.option("--late/--no-late", default=True, help="What each parcel costs a period late.")
@file_option("--json", "Write the answer as JSON.")
@file_option("--html", "Write a one-file report.")
@file_option("--xlsx", "Write a workbook.")
def plan(
    case: Case,
    plan_file: str,
    late: bool,
    json_file: str | None,
    html_file: str | None,
    xlsx_file: str | None,
) -> int:
    """Plan which parcels to take and what to feed in each period of PLAN.toml, for most margin.

    Exit code 1 where no plan keeps everything; what stands against what is named.
    """
    import json

    from pyrobal.report.console import print_tables
    from pyrobal.report.plan import content, sentences, tables
    from pyrobal.studies.plan.periods import load_plan
    from pyrobal.studies.plan.planning import plan as work_out

    wanted = load_plan(case, plan_file)
    with searching("plan", "margin") as advance:
        found = work_out(case, wanted, advance, late)
    if html_file is not None:
        with needs("--html", "report"):
            from pyrobal.report.plan import plan_html

            page = plan_html(case, found)
        write(html_file, page)
    if xlsx_file is not None:
        with needs("--xlsx", "report"):
            from pyrobal.report.plan import plan_xlsx

            put(xlsx_file, lambda path: plan_xlsx(found, path))
    if json_file is not None:
        write(json_file, json.dumps({"case": case.title, **content(found)}, indent=1))
    if "-" not in (html_file, json_file):
        print_sentences(sentences(found))
        print_tables(tuple(tables(found)))
    return 0 if found.feasible else 1
