"""``pyrobal compare``: what differs between cases, and what that did."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pyrobal.cli import complete
from pyrobal.cli.executor import progress
from pyrobal.cli.files import INPUT, STANDARD, OutputFile, needs, write
from pyrobal.cli.options import file_option, keys, load
from pyrobal.files import put

if TYPE_CHECKING:
    from pyrobal.report.compare import Comparison


@click.command()
@click.argument("files", metavar="CASE CASE [CASE ...]", type=INPUT, nargs=-1, required=True)
@click.option(
    "--set", "assignments", metavar="KEY=VALUE", multiple=True, shell_complete=complete.assignment,
    help="Set one key, over the last CASE; repeatable.",
)  # fmt: skip
@click.option(
    "--read", "readings", metavar="KEY,KEY", multiple=True, callback=keys, shell_complete=complete.readings,
    help="Only these readings, as asked.",
)  # fmt: skip
@click.option(
    "--out", metavar="FILE", type=OutputFile(), help="FILE.csv or FILE.xlsx: every reading of each case."
)
@file_option("--html", "Write a one-file report.")
@file_option("--json", "Write JSON; - for stdout.")
@click.option("--most", type=click.IntRange(0), default=25, help="Readings to list; 25 unless given.")
def compare(
    files: tuple[str, ...],
    assignments: tuple[str, ...],
    readings: list[str],
    out: str | None,
    html_file: str | None,
    json_file: str | None,
    most: int,
) -> int:
    """Compare cases with the first: settings that differ, and the readings most affected.

    The same case twice with --set shows what one change does.
    """
    if len(files) < 2:
        raise click.UsageError("needs two cases or more; the same case twice with --set shows one change")
    _check_out(out)
    cases = [*(load(file) for file in files[:-1]), load(files[-1], assignments)]

    from pyrobal.report.compare import compare as side_by_side
    from pyrobal.report.console import show_comparison
    from pyrobal.report.result import balance

    with progress("balances"):
        found = side_by_side(*(balance(case) for case in cases), read=readings)
    _write_files(found, out, html_file, json_file)
    if STANDARD not in (out, html_file, json_file):
        show_comparison(found, most)
    return 0 if found.solved else 1


def _check_out(out: str | None) -> None:
    if out is not None and out != STANDARD and not out.lower().endswith((".csv", ".xlsx")):
        raise click.UsageError(f"--out: {out} is neither FILE.csv nor FILE.xlsx")


def _write_files(found: Comparison, out: str | None, html_file: str | None, json_file: str | None) -> None:
    from pyrobal.report.compare import content, out_table, settings_table, verdict

    if out is not None and out.lower().endswith(".xlsx"):
        with needs("--out", "report"):
            from pyrobal.report.spreadsheet import write_tables
        sheets = {"readings": out_table(found), "settings": settings_table(found, whole=True)}
        put(out, lambda path: write_tables([verdict(found), *found.names], sheets, path))
    elif out is not None:
        from pyrobal.report.export import as_csv

        write(out, as_csv(out_table(found)).rstrip("\n"))
    if html_file is not None:
        with needs("--html", "report"):
            from pyrobal.report.compare_page import compare_html
        write(html_file, compare_html(found))
    if json_file is not None:
        import json

        write(json_file, json.dumps(content(found), ensure_ascii=False, indent=2, allow_nan=False))
