"""``pyrobal sweep``: any readings over a grid or list of settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pyrobal.cli import complete
from pyrobal.cli.crew import Crew, progress
from pyrobal.cli.options import on_workers, pairs, reads, study

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from pyrobal.case.load import Case
    from pyrobal.studies.aim import Aim
    from pyrobal.studies.sweep import Sweep
    from pyrobal.studies.table import StudyTable

MOST_SHOWN = 1_000_000  # rows kept in memory for the screen
_HEAD, _TAIL = 30, 5  # rows printed of a long table
_ROUNDING = 1e-12  # share of the largest value of a column below which a number is nothing but rounding


@click.command()
@click.option(
    "--over", "ranges", metavar="KEY=FROM:TO:COUNT", multiple=True, shell_complete=complete.span,
    help="Vary a setting; or KEY=VALUE,VALUE. Repeat it for a grid.",
)  # fmt: skip
@click.option(
    "--scenarios", metavar="FILE.csv", shell_complete=complete.file,
    help="A line of keys, then one of values for each scenario.",
)  # fmt: skip
@reads
@click.option(
    "--out", metavar="FILE", shell_complete=complete.file,
    help="FILE.csv, FILE.parquet, or a folder for Parquet parts.",
)  # fmt: skip
@click.option("--chunk", type=click.IntRange(1), metavar="N", help="Scenarios in a part.")
@on_workers
@study
def sweep(
    case: Case,
    aim: Aim | None,
    crew: Crew,
    ranges: tuple[str, ...],
    scenarios: str | None,
    readings: list[str],
    out: str | None,
    chunk: int | None,
) -> int:
    """Solve CASE over a grid or list of settings and read the answers.

    With --out the finished parts survive an interrupt or a kill, and the same command goes on from them.
    """
    from pyrobal.studies.plan import idle
    from pyrobal.studies.sweep import prepare

    job = prepare(case, pairs("--over", ranges), readings, scenarios=scenarios, aim=aim, chunk=chunk)
    for caution in idle(case, job.plan.variables):
        click.echo(f"caution: {caution}", err=True)
    with crew(job.parts) as executor:
        return _to_file(job, out, executor) if out else _to_screen(job, executor)


def _to_file(job: Sweep, out: str, executor: Executor | None) -> int:
    from pyrobal.studies.store import Store
    from pyrobal.studies.sweep import sweep_to

    again = f"finished parts are kept in {Store.at(out).folder}; the same command goes on from them"
    try:
        with progress("sweep", kept=again) as advance:
            written = sweep_to(out, job, executor, advance)
    except OSError as error:
        click.echo(f"pyrobal: {error.filename or out}: {error.strerror or error}; {again}", err=True)
        return 2
    click.echo(f"{job.plan.scenarios} scenarios in {written}", err=True)
    return 0


def _to_screen(job: Sweep, executor: Executor | None) -> int:
    if job.plan.scenarios > MOST_SHOWN:
        raise click.UsageError(
            f"{job.plan.scenarios:,} scenarios are too many for a screen; name a file with --out"
        )
    with progress("sweep", kept="nothing was written; with --out FILE finished parts are kept") as advance:
        table = job.table(executor, advance)
    print_table(table, stub=len(job.plan.variables))
    return 0 if table.solved else 1


def print_table(table: StudyTable, stub: int) -> None:
    """The rows of a study, or the first and last of many, and what stopped the others."""
    import numpy as np

    from pyrobal.cli.columns import print_columns

    n = len(table)
    shown = range(n) if n <= _HEAD + _TAIL else (*range(_HEAD), *range(n - _TAIL, n))
    reasons = table.reasons()
    noted = any(reasons)
    headings = [*(column.heading for column in table.columns), *(["reason"] if noted else [])]
    noise = _ROUNDING * np.nanmax(np.abs(table.values), axis=0, initial=0.0)
    values = np.where(np.abs(table.values) <= noise, 0.0, table.values)
    rows: list[list[str | float]] = [[*map(float, values[i])] for i in shown]
    for row, i in zip(rows, shown, strict=True):
        row += [reasons[i]] if noted else []
    print_columns(headings, rows, stub)
    if len(shown) < n:
        click.echo(f"rows {_HEAD + 1} to {n - _TAIL} are not shown; --out FILE keeps all {n}", err=True)
    for reason, count in table.failures().items():
        click.echo(f"{count} of {n} without an answer ({reason.name.lower()}): {reason.text}", err=True)
