"""``pyrobal balance`` and ``pyrobal check``: one case, solved or only read."""

from __future__ import annotations

import contextlib
import sys
from typing import TYPE_CHECKING

import click

from pyrobal.cli import complete
from pyrobal.cli.executor import progress
from pyrobal.cli.files import needs, write
from pyrobal.cli.options import aimed_case, aims, case_argument, file_option, keys, load, on_case, overrides
from pyrobal.cli.streams import say
from pyrobal.files import put

if TYPE_CHECKING:
    from pyrobal.case.load import Case
    from pyrobal.report.result import Result


@click.command()
@case_argument
@file_option("--json", "Write JSON; - for stdout.")
@file_option("--html", "Write a one-file report.")
@file_option("--xlsx", "Write a workbook.")
@click.option(
    "--detail", metavar="SECTION,SECTION", multiple=True, callback=keys, shell_complete=complete.sections,
    help="Also print the tables of a section, or all.",
)  # fmt: skip
@aims
@overrides
def balance(
    case: str,
    json_file: str | None,
    html_file: str | None,
    xlsx_file: str | None,
    detail: list[str],
    aim: tuple[str, ...],
    by: tuple[str, ...],
    assignments: tuple[str, ...],
) -> int:
    """Work out the balance of CASE and print it."""
    loaded = load(case, assignments)  # a wrong case is refused before the engine is loaded

    from pyrobal.report.console import show
    from pyrobal.report.export import as_json
    from pyrobal.report.result import INFEASIBLE
    from pyrobal.report.result import balance as work_out

    with progress("balance"):
        result = work_out(aimed_case(loaded, aim, by))
    _check_sections(detail, result)
    try:
        if json_file is not None:
            write(json_file, as_json(result.case, result.results))
        if html_file is not None:
            write(html_file, _html(result))
        if xlsx_file is not None:
            _write_workbook(result, xlsx_file)
    finally:  # a file that cannot be written takes nothing from the screen
        with contextlib.redirect_stdout(sys.stderr if "-" in (json_file, html_file) else sys.stdout):
            show(result, detail)
    return 1 if result.status == INFEASIBLE else 0


def _html(result: Result) -> str:
    with needs("--html", "report"):
        from pyrobal.report.html import as_html
    return as_html(result)


def _write_workbook(result: Result, file: str) -> None:
    with needs("--xlsx", "report"):
        from pyrobal.report.spreadsheet import write_workbook
    put(file, lambda path: write_workbook(result, path))


def _check_sections(detail: list[str], result: Result) -> None:
    from pyrobal.names import suggestion
    from pyrobal.report.console import ALL
    from pyrobal.report.sections import Sections

    known = [*Sections(result), ALL] if detail else []
    for word in detail:
        if word not in known:
            raise click.UsageError(f'--detail: there is no section "{word}"; {suggestion(word, known)}')


@click.command()
@on_case
def check(case: Case) -> None:
    """Read CASE, report every error in it, and list the defaults used."""
    for caution in case.cautions:
        say(f"caution: {caution}")
    click.echo(f"{case.title}: no errors")
    for key in sorted(key for key in case.given if key.endswith(".precision")):
        click.echo(f"{key}: for pyrobal uncertainty; a balance makes no use of it")
    if case.assumed:
        click.echo("\nDefaults used:")
        width = max(map(len, case.assumed))
        for key, text in case.assumed.items():
            click.echo(f"  {key:<{width}}  {text}")
