"""``pyrobal balance`` and ``pyrobal check``: one case, solved or only read."""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pyrobal.cli.aims import aimed_case, aims

if TYPE_CHECKING:
    from pyrobal.report.result import Result

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
@click.option("--html", "html_file", metavar="FILE", callback=output_file, help="Write a one-file report.")
@click.option("--xlsx", "xlsx_file", metavar="FILE", callback=output_file, help="Write a workbook.")
@click.option(
    "--detail", metavar="SECTION", multiple=True, help="Also print the tables of a section, or all."
)
@aims[0]
@aims[1]
@overrides
def balance(
    case: str,
    json_file: str | None,
    html_file: str | None,
    xlsx_file: str | None,
    detail: tuple[str, ...],
    aim: str | None,
    by: str | None,
    assignments: tuple[str, ...],
) -> int:
    """Work out the balance of CASE and print it."""
    _check_files(case, json_file, html_file, xlsx_file)

    from pyrobal.case.load import load_case

    loaded = load_case(case, assignments)  # a wrong case is refused before the engine is loaded

    from pyrobal.report.console import show
    from pyrobal.report.export import as_json
    from pyrobal.report.result import INFEASIBLE
    from pyrobal.report.result import balance as work_out

    result = work_out(aimed_case(loaded, aim, by))
    _check_sections(detail, result)
    if json_file is not None:
        write(json_file, as_json(result.case, result.results))
    if html_file is not None:
        write(html_file, _html(result))
    if xlsx_file is not None:
        _write_workbook(result, xlsx_file)
    with contextlib.redirect_stdout(sys.stderr if "-" in (json_file, html_file) else sys.stdout):
        show(result, detail)
    return 1 if result.status == INFEASIBLE else 0


def _check_files(case: str, json_file: str | None, html_file: str | None, xlsx_file: str | None) -> None:
    """Refuse what would mix on standard output, or be written over the case itself."""
    if json_file == html_file == "-":
        raise click.UsageError("--json - and --html - would mix on standard output; name a file for one")
    if xlsx_file == "-":
        raise click.UsageError("--xlsx needs the name of a file; a workbook is no text")
    for file in (json_file, html_file, xlsx_file):
        if file not in (None, "-") and Path(file).absolute() == Path(case).absolute():
            raise click.UsageError(f"{file} is the case itself; name another file")


def _html(result: Result) -> str:
    try:
        from pyrobal.report.html import as_html
    except ModuleNotFoundError as error:
        raise click.UsageError(f"--html needs {error.name}: pip install 'pyrobal[report]'") from None
    return as_html(result)


def _write_workbook(result: Result, file: str) -> None:
    try:
        from pyrobal.report.spreadsheet import write_workbook
    except ModuleNotFoundError as error:
        raise click.UsageError(f"--xlsx needs {error.name}: pip install 'pyrobal[spreadsheet]'") from None
    write_workbook(result, file)


def _check_sections(detail: tuple[str, ...], result: Result) -> None:
    from pyrobal.case.names import suggestion
    from pyrobal.report.console import ALL
    from pyrobal.report.tables import sections

    known = [*sections(result), ALL] if detail else []
    for word in detail:
        if word not in known:
            raise click.UsageError(f"--detail: there is no section {word!r}; {suggestion(word, known)}")


@click.command()
@click.argument("case")
@overrides
def check(case: str, assignments: tuple[str, ...]) -> None:
    """Read CASE, report every fault in it, and list what will be assumed."""
    from pyrobal.case.load import load_case

    loaded = load_case(case, assignments)
    for caution in loaded.cautions:
        click.echo(f"caution: {caution}", err=True)
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
