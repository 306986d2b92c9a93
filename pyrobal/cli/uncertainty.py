"""``pyrobal uncertainty``: how sure the readings are, and what makes them unsure."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import click

from pyrobal.cli import complete
from pyrobal.cli.columns import width
from pyrobal.cli.executor import Executors, progress
from pyrobal.cli.files import needs, write
from pyrobal.cli.options import file_option, limit_option, on_workers, pairs, reads, study
from pyrobal.cli.streams import say

if TYPE_CHECKING:
    from pyrobal.case.load import Case
    from pyrobal.studies.aim import Aim
    from pyrobal.studies.indices import Indices
    from pyrobal.studies.uncertainty import Uncertainty

_LEAST = 0.01  # share of the variance worth a line


@click.command()
@reads
@click.option(
    "--vary", "stated", metavar="KEY=SPREAD", multiple=True, shell_complete=complete.span,
    help='"+-0.5 %" or "+-2 % rel" (one standard deviation), LOW:HIGH, or LOW:MODE:HIGH.',
)  # fmt: skip
@click.option("--only", is_flag=True, help="Vary nothing but what --vary states.")
@limit_option("Give the chance of breaking it.")
@file_option("--html", "Write a one-file report.")
@click.option("--samples", type=click.IntRange(2), metavar="N", help="Base draws, a power of two.")
@click.option(
    "--seed",
    type=click.IntRange(0),
    default=1,
    show_default=True,
    help="The same seed gives the same numbers.",
)
@on_workers
@study
def uncertainty(
    case: Case,
    aim: Aim | None,
    executors: Executors,
    readings: list[str],
    stated: tuple[str, ...],
    only: bool,
    limit_texts: tuple[str, ...],
    html_file: str | None,
    samples: int | None,
    seed: int,
) -> int:
    """Propagate the errors of assays, settings and formation enthalpies of CASE to readings.

    What is not stated is varied as is common practice; the list is printed.
    """
    from pyrobal.studies.limit import limits
    from pyrobal.studies.spread import spreads
    from pyrobal.studies.uncertainty import SAMPLES
    from pyrobal.studies.uncertainty import uncertainty as work_out

    sources = spreads(case, pairs("--vary", stated))
    bounds = limits(case, limit_texts)
    with executors() as executor, progress("draws") as advance:
        found = work_out(
            case, readings, sources, bounds, aim=aim, only_stated=only, samples=samples or SAMPLES,
            seed=seed, executor=executor, progress=advance,
        )  # fmt: skip
    if html_file is not None:
        with needs("--html", "report"):
            from pyrobal.report.uncertainty import uncertainty_html
        write(html_file, uncertainty_html(case, found))
    if html_file != "-":
        _print(found)
    return 1 if found.unsolved == found.draws else 0


def _print(found: Uncertainty) -> None:
    from pyrobal.cli.columns import print_columns
    from pyrobal.studies.uncertainty import PERCENTILES

    headings = ["reading", "unit", "mean", "deviation", *(f"P{p:g}" for p in PERCENTILES)]
    rows: list[list[str | float]] = [
        [key, s.unit, s.mean, s.deviation, *s.percentiles] for key, s in found.scatter.items()
    ]
    print_columns(headings, rows)
    if found.unsolved:
        text = (
            f"of draws with a solution only: {100 * found.unsolved / found.draws:.3g} % have none; means, "
            "percentiles and chances hold under the condition that there is a balance"
        )
        click.echo(textwrap.fill(text, width()))
    for risk in found.risks:
        low, high = 100 * risk.low, 100 * risk.high
        click.echo(
            f"\nchance of breaking {risk.limit}: {100 * risk.chance:.1f} %  (95 %: {low:.1f} to {high:.1f})"
        )
    for key, indices in found.indices.items():
        _print_sources(found, key, indices)
    _print_spreads(found)
    note = f"{found.draws} draws of {found.samples} samples, seed {found.seed}"
    say(f"{note}; {found.unsolved} without a solution")


def _print_sources(found: Uncertainty, key: str, indices: Indices) -> None:
    """The sources that bring a share of the variance, the greatest first."""
    from pyrobal.cli.columns import print_columns

    click.echo(f"\n{key}: share of the variance, % (95 % interval)")
    rows: list[list[str | float]] = []
    for g in sorted(range(len(found.sources)), key=lambda g: -indices.total[g]):
        if indices.total[g] >= _LEAST:
            alone, total = (
                f"{round(100 * share[g])}  ({round(100 * band[g][0])} to {round(100 * band[g][1])})"
                for share, band in (
                    (indices.first, indices.first_range),
                    (indices.total, indices.total_range),
                )
            )
            rows.append([found.sources[g].name, alone, total])
    if rows:
        print_columns(["source", "first order", "total effect"], rows)
    else:
        click.echo("nothing that is varied moves it")


def _print_spreads(found: Uncertainty) -> None:
    """What was varied, and how far."""
    click.echo("\nvaried, one standard deviation or a range:")
    for source in found.sources:
        if not source.spreads:
            text = "formation enthalpies, as the tables state them; on the furnace's heat only"
        elif len(source.spreads) == 1:
            text = f"{source.name} {source.spreads[0].text()}"
        else:
            parts = (f"{_within(s.variable.key, source.name)} {s.text()}" for s in source.spreads)
            text = f"{source.name}: {', '.join(parts)}"
        click.echo(textwrap.fill(text, width(), initial_indent="  ", subsequent_indent="      "))


def _within(key: str, source: str) -> str:
    """A key without what the name of its source already says."""
    head, star, tail = source.partition("*")
    return key.removeprefix(head).removesuffix(tail) if star else key.removeprefix(f"{source}.")
