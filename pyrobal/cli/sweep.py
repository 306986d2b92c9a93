"""``pyrobal sweep``: any readings over a grid or list of settings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from pyrobal.cli import complete
from pyrobal.cli.executor import Executors, progress
from pyrobal.cli.files import STANDARD, OutputFile, needs, write
from pyrobal.cli.options import file_option, input_option, on_workers, pairs, reads, study
from pyrobal.cli.streams import say

if TYPE_CHECKING:
    from pyrobal.arrays import FloatN
    from pyrobal.case.load import Case
    from pyrobal.studies.aim import Aim
    from pyrobal.studies.sweep import Sweep
    from pyrobal.studies.table import StudyTable

BESIDE = (".parts", ".study.json")  # what a study keeps beside its file
MOST_SHOWN = 1_000_000  # rows kept in memory for the screen
_NOTHING = "nothing was written; with --out FILE finished parts are kept"
_HEAD, _TAIL = 30, 5  # rows printed of a long table
_ROUNDING = 1e-12  # share of the largest value of a column below which a number is nothing but rounding


@click.command()
@click.option(
    "--over", "ranges", metavar="KEY=FROM:TO:COUNT", multiple=True, shell_complete=complete.assignment,
    help="Vary a setting; or KEY=VALUE,VALUE, or words. Repeat for a grid.",
)  # fmt: skip
@input_option("--scenarios", "FILE.csv", "A line of keys, then one of values for each scenario.")
@reads
@click.option(
    "--out", metavar="FILE", type=OutputFile(text=False, folder=True, beside=BESIDE),
    help="FILE.csv, FILE.parquet, or a folder for Parquet parts.",
)  # fmt: skip
@file_option("--html", "Write a one-file report.")
@click.option("--chunk", type=click.IntRange(1), metavar="N", help="Scenarios in a part.")
@on_workers
@study
def sweep(
    case: Case,
    aim: Aim | None,
    executors: Executors,
    ranges: tuple[str, ...],
    scenarios: str | None,
    readings: list[str],
    out: str | None,
    html_file: str | None,
    chunk: int | None,
) -> int:
    """Solve CASE over a grid or list of settings and read the answers.

    With --out the finished parts survive an interrupt or a kill, and the same command goes on from them.
    """
    from pyrobal.studies.grid import unused
    from pyrobal.studies.sweep import prepare

    job = prepare(case, pairs("--over", ranges), readings, scenarios=scenarios, aim=aim, chunk=chunk)
    for caution in _in_all([unused(branch.case, job.grid.variables) for branch in job.branches]):
        say(f"caution: {caution}")
    _check_size(job, out)
    if html_file is not None:
        _check_page(job, out)
    if out:
        return _to_file(job, out, executors)
    with executors(job.parts) as executor, progress("sweep", kept=lambda: _NOTHING) as advance:
        table = job.table(executor, advance)
    if html_file is not None:
        write(html_file, _html(case, table))
    if html_file != STANDARD:
        print_table(table, stub=len(job.words) + len(job.grid.variables))
    return 0 if table.solved else 1


def _check_size(job: Sweep, out: str | None) -> None:
    if not out and job.scenarios > MOST_SHOWN:
        raise click.UsageError(
            f"{job.scenarios:,} scenarios are too many for a screen; name a file with --out"
        )


def _check_page(job: Sweep, out: str | None) -> None:
    if out:
        raise click.UsageError(
            "--html and --out: a page is drawn of what is kept in memory; give one of them"
        )
    with needs("--html", "report"):
        from pyrobal.report.sweep import MOST
    if job.scenarios > MOST:
        raise click.UsageError(f"{job.scenarios:,} scenarios are too many for a page, which holds {MOST:,}")


def _html(case: Case, table: StudyTable) -> str:
    from pyrobal.report.sweep import sweep_html

    return sweep_html(case, table)


def _in_all(cautions: Sequence[Sequence[str]]) -> list[str]:
    """What is said in every branch: a setting without effect in one of them has it in another."""
    return [text for text in cautions[0] if all(text in said for said in cautions)]


def _to_file(job: Sweep, out: str, executors: Executors) -> int:
    from pyrobal.studies.store import Store
    from pyrobal.studies.sweep import sweep_to

    store = Store.at(out)
    try:
        if store.finished(job.manifest(), job.parts):
            say(f"{out} holds this study already, complete; it is left as it is")
            return 0
        with executors(job.parts) as executor, progress("sweep", kept=store.kept) as advance:
            written = sweep_to(out, job, executor, advance)
    except OSError as error:
        say(f"pyrobal: {error.filename or out}: {error.strerror or error}; {store.kept()}")
        return 2
    say(f"{job.scenarios} scenarios in {written}")
    return 0


def print_table(table: StudyTable, stub: int) -> None:
    """The rows of a study, or the first and last of many, and what stopped the others."""
    from pyrobal.cli.columns import print_columns

    n = len(table)
    shown = range(n) if n <= _HEAD + _TAIL else (*range(_HEAD), *range(n - _TAIL, n))
    reasons = table.reasons()
    noted = any(reasons)
    headings = [*(column.heading for column in table.columns), *(["reason"] if noted else [])]
    columns = [cells if isinstance(cells, list) else _without_noise(cells) for cells in table.cells()]
    rows: list[list[str | float]] = [[cells[i] for cells in columns] for i in shown]
    for row, i in zip(rows, shown, strict=True):
        row += [reasons[i]] if noted else []
    print_columns(headings, rows, stub)
    if len(shown) < n:
        say(f"rows {_HEAD + 1} to {n - _TAIL} are not shown; --out FILE keeps all {n}")
    for reason, count in table.failures().items():
        say(f"{count} of {n} without a solution ({reason.name.lower()}): {reason.text}")


def _without_noise(values: FloatN) -> list[float]:
    import numpy as np

    noise = _ROUNDING * np.nanmax(np.abs(values), initial=0.0)
    return np.where(np.abs(values) <= noise, 0.0, values).tolist()
