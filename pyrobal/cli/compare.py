"""``pyrobal compare``: what differs between two cases, and what that did."""

from __future__ import annotations

import click

from pyrobal.cli import complete
from pyrobal.cli.executor import progress
from pyrobal.cli.files import INPUT, needs, write
from pyrobal.cli.options import file_option


@click.command()
@click.argument("before", metavar="CASE_A", type=INPUT)
@click.argument("after", metavar="CASE_B", type=INPUT)
@click.option(
    "--set", "assignments", metavar="KEY=VALUE", multiple=True, shell_complete=complete.assignment,
    help="Set one key, over CASE_B; repeatable.",
)  # fmt: skip
@file_option("--html", "Write a one-file report.")
@click.option("--most", type=click.IntRange(0), default=25, help="Readings to list; 25 unless given.")
def compare(before: str, after: str, assignments: tuple[str, ...], html_file: str | None, most: int) -> int:
    """Compare CASE_A with CASE_B: settings that differ, and the readings most affected.

    The same case twice with --set shows what one change does.
    """
    from pyrobal.case.load import load_case

    cases = load_case(before), load_case(after, assignments)

    from pyrobal.report.compare import compare as side_by_side
    from pyrobal.report.console import show_comparison
    from pyrobal.report.result import INFEASIBLE, balance

    with progress("balances"):
        found = side_by_side(*(balance(case) for case in cases))
    if html_file is not None:
        with needs("--html", "report"):
            from pyrobal.report.html import compare_html
        write(html_file, compare_html(found))
    if html_file != "-":
        show_comparison(found, most)
    return 1 if INFEASIBLE in (found.before.status, found.after.status) else 0
