"""``pyrobal balance`` and ``pyrobal check``: one case, solved or only read."""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from pyrobal.case.load import Case

overrides = click.option(
    "--set", "assignments", metavar="KEY=VALUE", multiple=True, help="Set one key, over the case; repeatable."
)


def output_file(_: click.Context, parameter: click.Parameter, value: str | None) -> str | None:
    """Refuse a file that cannot be written before anything is computed."""
    if value is None or value == "-":
        return value
    if Path(value).is_dir():
        raise click.BadParameter(f"{value} is a directory", param=parameter)
    if not Path(value).absolute().parent.is_dir():
        raise click.BadParameter(f"there is no directory {Path(value).parent}", param=parameter)
    return value


@click.command()
@click.argument("case")
@click.option("--json", "json_file", metavar="FILE", callback=output_file, help="Write JSON; - for stdout.")
@overrides
def balance(case: str, json_file: str | None, assignments: tuple[str, ...]) -> int:
    """Work out the balance of CASE and print it."""
    loaded = _load(case, assignments)

    from pyrobal.errors import Reason
    from pyrobal.flowsheet.solve import solve
    from pyrobal.report.console import print_balance
    from pyrobal.report.export import as_json

    results = solve(loaded.inputs)
    if json_file is not None:
        write(json_file, as_json(loaded, results))
    with contextlib.redirect_stdout(sys.stderr if json_file == "-" else sys.stdout):
        print_balance(loaded, results)
    return 0 if results.reason[0] == Reason.SOLVED else 1


@click.command()
@click.argument("case")
@overrides
def check(case: str, assignments: tuple[str, ...]) -> None:
    """Read CASE, report every fault in it, and list what will be assumed."""
    loaded = _load(case, assignments)
    click.echo(f"{loaded.title}: no faults")
    if loaded.assumed:
        click.echo("\nAssumed, because the case does not say:")
        width = max(map(len, loaded.assumed))
        for key, text in loaded.assumed.items():
            click.echo(f"  {key:<{width}}  {text}")


def write(file: str, text: str) -> None:
    """Write ``text`` to a file, or to standard output for "-"."""
    if file == "-":
        click.echo(text)
    else:
        Path(file).write_text(text + "\n", encoding="utf-8")


def _load(source: str, assignments: tuple[str, ...]) -> Case:
    """The case, its cautions said on standard error."""
    from pyrobal.case.load import load_case

    case = load_case(source, assignments)
    for caution in case.cautions:
        click.echo(f"caution: {caution}", err=True)
    return case
