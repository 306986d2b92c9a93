"""``pyrobal reconcile``: plant measurements against the balance."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pyrobal.cli import complete
from pyrobal.cli.columns import width
from pyrobal.cli.executor import progress
from pyrobal.cli.files import INPUT, needs, write
from pyrobal.cli.options import Command, file_option, on_case
from pyrobal.files import put

if TYPE_CHECKING:
    from pyrobal.case.load import Case
    from pyrobal.studies.reconcile.reconciliation import Reconciliation

_MOST = 10  # instruments on the screen


def _fit_option(flag: str, text: str) -> Command:
    option: Command = click.option(
        flag,
        f"{flag[2:]}_texts",
        metavar="KEY[=LOW:HIGH]",
        multiple=True,
        shell_complete=complete.setting,
        help=text,
    )
    return option


@click.command()
@on_case
@click.argument("measured", type=INPUT, required=False)
@_fit_option("--fit", "A setting to fit, one value for all periods; repeatable.")
@_fit_option("--each", "The same, a value in each period.")
@click.option("--drop", metavar="COLUMN", multiple=True, help="A column not to use; repeatable.")
@click.option(
    "--correlated", metavar="KEY,KEY=R", multiple=True, help="Errors of two columns that go together."
)
@click.option(
    "--loss", type=click.Choice(("squares", "huber")), default="squares", show_default=True,
    help="huber: a large error counts by its size, not its square.",
)  # fmt: skip
@file_option("--template", "Write the sheet to fill in, .xlsx or .csv, instead.")
@file_option("--out", "Write the case with the fitted values in it.")
@file_option("--html", "Write a one-file report.")
@file_option("--xlsx", "Write a workbook.")
@file_option("--json", "Write JSON; - for standard output.")
def reconcile(
    case: Case,
    measured: str | None,
    fit_texts: tuple[str, ...],
    each_texts: tuple[str, ...],
    drop: tuple[str, ...],
    correlated: tuple[str, ...],
    loss: str,
    template_file: str | None,
    out_file: str | None,
    html_file: str | None,
    xlsx_file: str | None,
    json_file: str | None,
) -> int:
    """Reconcile plant measurements in MEASURED with the balance of CASE, and fit settings to them.

    MEASURED is a workbook or CSV file with a row for each period, or a TOML file; --template
    writes one to fill in.
    """
    if template_file is not None:
        return _template(case, template_file)
    if measured is None:
        raise click.UsageError(
            "name the file of measurements, or make one to fill in with --template FILE.xlsx"
        )
    _check_out(case, out_file, fit_texts)
    from pyrobal.studies.reconcile.reconciliation import reconcile as work_out

    with progress("rounds") as advance:
        found = work_out(case, measured, fit_texts, each_texts, drop, correlated, loss, advance)
    _write_files(case, found, out_file, html_file, xlsx_file, json_file)
    if "-" not in (html_file, json_file, out_file):
        _print(found)
    return 0 if found.settled else 1


def _template(case: Case, file: str) -> int:
    if not file.lower().endswith((".xlsx", ".csv")):
        raise click.UsageError(f"--template: {file} must end in .xlsx or .csv")
    with needs("--template", "report"):
        from pyrobal.report.reconcile.template import template_rows, write_rows_to
    rows = template_rows(case)
    put(file, lambda path: write_rows_to(rows, path, file))
    click.echo(
        f"{len(rows[0]) - 1} columns; fill in a row for each period, delete the columns you do not measure"
    )
    return 0


def _check_out(case: Case, file: str | None, fit: Sequence[str]) -> None:
    """--out needs a case in TOML, and something fitted."""
    if file is None:
        return
    if not fit:
        raise click.UsageError("--out writes fitted values; give --fit")
    if case.file.lower().endswith(".xlsx"):
        raise click.UsageError("--out writes TOML; the case is a workbook")
    keys = [text.partition("=")[0].strip() for text in fit]
    if any("*" in key for key in keys):
        raise click.UsageError("--out writes settings one by one; fit no key with *")
    laid = [text.partition("=")[0].strip() for text in case.overrides]
    if lost := [key for key in laid if key not in keys]:
        raise click.UsageError(f"--out writes fitted lines only; write {', '.join(lost)} into the case first")
    with needs("--out", "tune"):
        import tomlkit  # noqa: F401


def _write_files(
    case: Case, found: Reconciliation, out: str | None, html: str | None, xlsx: str | None, json: str | None
) -> None:
    from pyrobal.report.reconcile.export import as_json, tuned_case

    if out is not None and found.settled:
        write(out, tuned_case(found).rstrip("\n"))
    if html is not None:
        with needs("--html", "report"):
            from pyrobal.report.reconcile.page import reconcile_html
        write(html, reconcile_html(case, found))
    if xlsx is not None:
        with needs("--xlsx", "report"):
            from pyrobal.report.reconcile.page import write_reconciliation
        put(xlsx, lambda path: write_reconciliation(found, Path(path)))
    if json is not None:
        write(json, as_json(found))


def _print(found: Reconciliation) -> None:
    """The verdict, what else there is to say, then the tables."""
    from pyrobal.report.console import print_tables
    from pyrobal.report.reconcile import tables as told
    from pyrobal.report.reconcile.words import remarks, usual_deviations, verdict

    click.echo(textwrap.fill(verdict(found), width()))
    for remark in remarks(found):
        click.echo(textwrap.fill(remark, width(), subsequent_indent="  "))
    shown = [told.instruments(found, _MOST)]
    shown += [told.outliers(found)] if found.outliers else []
    shown += [told.settings(found)] if found.settings else []
    shown += [told.each(found)] if found.each else []
    shown += [told.predictions(found)] if found.predictions else []
    print_tables([*shown, told.accounts(found)])
    if taken := usual_deviations(found):
        click.echo("")
        click.echo(textwrap.fill(taken, width(), subsequent_indent="  "))
