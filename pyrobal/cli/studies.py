"""``pyrobal sweep``, and the options that studies share."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

import click

from pyrobal.cli.aims import aim_of, aims
from pyrobal.cli.balance import overrides

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from pyrobal.studies.sweep import Sweep
    from pyrobal.studies.table import StudyTable

Command = Callable[..., Any]
MOST_SHOWN = 1_000_000  # rows kept in memory for the screen
_MANY = 4  # parts that are worth starting processes for
_HEAD, _TAIL = 30, 5  # rows printed of a long table
_ROUNDING = 1e-12  # share of the largest value of a column below which a number is nothing but rounding

workers = (
    click.option(
        "--workers", type=click.IntRange(1), metavar="N", help="Processes; all cores if it is worth it."
    ),
    click.option("--cluster", metavar="ADDRESS", help="Scheduler of a Dask cluster, tcp://HOST:PORT."),
)


def with_options(*options: Callable[[Command], Command]) -> Callable[[Command], Command]:
    """Several options as one decorator, in this order on the help page."""

    def decorate(function: Command) -> Command:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


@click.command()
@click.argument("case")
@click.option(
    "--over", "ranges", metavar="KEY=FROM:TO:COUNT", multiple=True,
    help="Vary a setting; or KEY=VALUE,VALUE. Repeat it for a grid.",
)  # fmt: skip
@click.option("--scenarios", metavar="FILE.csv", help="A line of keys, then one of values for each scenario.")
@click.option("--read", "readings", metavar="KEY,KEY", multiple=True, required=True, help="What to read.")
@click.option("--out", metavar="FILE", help="FILE.csv, FILE.parquet, or a folder for Parquet parts.")
@click.option("--chunk", type=click.IntRange(1), metavar="N", help="Scenarios in a part.")
@with_options(*aims, *workers, overrides)
def sweep(
    case: str,
    ranges: tuple[str, ...],
    scenarios: str | None,
    readings: tuple[str, ...],
    out: str | None,
    chunk: int | None,
    aim: str | None,
    by: str | None,
    workers: int | None,
    cluster: str | None,
    assignments: tuple[str, ...],
) -> int:
    """Solve CASE over a grid or list of settings and read the answers.

    With --out the finished parts survive an interrupt or a kill, and the same command goes on from them.
    """
    from pyrobal.case.load import load_case

    loaded = load_case(case, assignments)

    from pyrobal.studies.plan import idle
    from pyrobal.studies.run import CHUNK
    from pyrobal.studies.sweep import prepare

    job = prepare(
        loaded, pairs("--over", ranges), keys(readings), scenarios=scenarios, aim=aim_of(loaded, aim, by),
        chunk=chunk or CHUNK,
    )  # fmt: skip
    for caution in idle(loaded, job.plan.variables):
        click.echo(f"caution: {caution}", err=True)
    with executor(workers, cluster, job.parts) as crew:
        return _to_file(job, out, crew) if out else _to_screen(job, crew)


def keys(texts: Sequence[str]) -> list[str]:
    """The keys of repeated options that may hold several with commas."""
    return [key.strip() for text in texts for key in text.split(",") if key.strip()]


def pairs(option: str, texts: Sequence[str]) -> dict[str, str]:
    """KEY=... options by key. Raises click.UsageError for one without an equals sign."""
    found: dict[str, str] = {}
    for text in texts:
        key, equals, rest = text.partition("=")
        if not equals or not key.strip():
            raise click.UsageError(f'{option}: "{text}" is not KEY=...')
        if key.strip() in found:
            raise click.UsageError(f"{option}: {key.strip()} is given twice")
        found[key.strip()] = rest.strip()
    return found


@contextlib.contextmanager
def executor(workers: int | None, cluster: str | None, parts: int | None = None) -> Iterator[Executor | None]:
    """Who runs the parts: a cluster, processes of this machine, or this process.

    parts : how many there are; every core is used where they are many, unless ``workers`` says otherwise
    """
    if cluster is not None:
        with _client(cluster) as client:
            yield client.get_executor()
        return
    many = parts is not None and parts >= _MANY
    count = min(workers or (os.cpu_count() or 1 if many else 1), parts or workers or 1)
    if count == 1:
        yield None
        return
    from pyrobal.studies.run import processes

    pool = processes(count)
    try:
        yield pool
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ModuleNotFoundError:
        raise click.UsageError("--cluster needs Dask: pip install 'pyrobal[distributed]'") from None
    try:
        return Client(address, timeout="10s")  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise click.UsageError(f"--cluster: no scheduler answers at {address}: {error}") from None


@contextlib.contextmanager
def progress(count: int) -> Iterator[Callable[[int], object]]:
    """A bar on standard error where a person watches it; yields what to call with each further number."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    with click.progressbar(length=count, file=sys.stderr) as bar:
        yield bar.update


def _to_file(job: Sweep, out: str, crew: Executor | None) -> int:
    from pyrobal.studies.store import Store
    from pyrobal.studies.sweep import sweep_to

    parts = Store.at(out).folder
    again = f"finished parts are kept in {parts}; the same command goes on from them"
    try:
        with progress(job.plan.scenarios) as advance:
            written = sweep_to(out, job, crew, advance)
    except KeyboardInterrupt:
        click.echo(f"\ninterrupted; {again}", err=True)
        raise
    except OSError as error:
        click.echo(f"pyrobal: {error.filename or out}: {error.strerror or error}; {again}", err=True)
        return 2
    click.echo(f"{job.plan.scenarios} scenarios in {written}", err=True)
    return 0


def _to_screen(job: Sweep, crew: Executor | None) -> int:
    from pyrobal.studies.table import joined

    if job.plan.scenarios > MOST_SHOWN:
        raise click.UsageError(
            f"{job.plan.scenarios:,} scenarios are too many for a screen; name a file with --out"
        )
    parts = []
    with progress(job.plan.scenarios) as advance:
        for _, part in job.run(crew):
            parts.append(part)
            advance(len(part))
    table = joined(parts)
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
