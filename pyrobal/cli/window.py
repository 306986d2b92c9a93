"""``pyrobal window``: two settings against limits, as a picture in letters."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import click

from pyrobal.cli import complete
from pyrobal.cli.columns import width
from pyrobal.cli.executor import Executors, progress
from pyrobal.cli.files import needs, write
from pyrobal.cli.options import Command, best_option, file_option, limit_option, on_workers, study

if TYPE_CHECKING:
    from pyrobal.case.load import Case
    from pyrobal.studies.aim import Aim
    from pyrobal.studies.window import Point, Window

_ACROSS, _UP = 57, 21  # cells of the picture where no count is given: with its margin, 80 columns
_MARGIN = 11
_INDENT = " " * 5


def _axis_option(flag: str, text: str) -> Callable[[Command], Command]:
    name = f"{flag[2:]}_text"
    return click.option(
        flag, name, metavar="KEY=FROM:TO[:COUNT]", required=True, shell_complete=complete.span, help=text
    )


@click.command()
@_axis_option("--x", "The setting across.")
@_axis_option("--y", "The setting up.")
@limit_option("What must hold, <= or >=; repeatable. Needed where the case has no [[limit]].")
@best_option("max:READING", "Also find the best point; max: or min:.")
@file_option("--html", "Write a one-file report.")
@on_workers
@study
def window(
    case: Case,
    aim: Aim | None,
    executors: Executors,
    x_text: str,
    y_text: str,
    limit_texts: tuple[str, ...],
    best: str | None,
    html_file: str | None,
) -> int:
    """Show where two settings of CASE keep every limit, and which limit binds elsewhere."""
    from pyrobal.studies import limit
    from pyrobal.studies.window import window as work_out

    across, up = _axis("--x", x_text, _ACROSS), _axis("--y", y_text, _UP)
    limits = limit.limits(case, limit_texts)
    goal = limit.goal(case, best) if best else None
    with executors() as executor, progress("window") as advance:
        found = work_out(case, across, up, limits, goal, aim, executor, advance)
    if html_file is not None:
        write(html_file, _html(case, found))
    if html_file != "-":
        for line in _picture(found):
            click.echo(line)
        for remark in _legend(found):
            click.echo(textwrap.fill(remark, width(), subsequent_indent=_INDENT))
    return 0 if found.feasible.any() else 1


def _html(case: Case, found: Window) -> str:
    with needs("--html", "report"):
        from pyrobal.report.window import window_html
    return window_html(case, found)


def _axis(option: str, text: str, count: int) -> tuple[str, str]:
    key, equals, span = (part.strip() for part in text.partition("="))
    if not equals or span.count(":") not in (1, 2):
        raise click.UsageError(f'{option}: "{text}" is not KEY=FROM:TO or KEY=FROM:TO:COUNT')
    return key, span if span.count(":") == 2 else f"{span}:{count}"


def _picture(found: Window) -> Iterator[str]:
    yield f"{found.y.key}{_behind(found.y.unit)}"
    cells = _cells(found)
    label_rows = {0, len(cells) - 1, len(cells) // 2}
    for row in range(len(cells) - 1, -1, -1):
        label = f"{found.y_values[row]:.4g}" if row in label_rows else ""
        yield f"{label:>{_MARGIN - 2}} |{''.join(cells[row])}"
    yield f"{'':>{_MARGIN - 2}} +{'-' * len(cells[0])}"
    low, high = (f"{found.x_values[i]:.4g}" for i in (0, -1))
    yield f"{'':>{_MARGIN}}{low}{high:>{max(len(cells[0]) - len(low), len(high) + 1)}}"
    name = f"{found.x.key}{_behind(found.x.unit)}"
    yield f"{'':>{_MARGIN}}{name:>{len(cells[0])}}" if len(name) < len(cells[0]) else name
    yield ""


def _cells(found: Window) -> list[list[str]]:
    from pyrobal.studies.window import FEASIBLE, LETTERS, NO_ANSWER

    letters = {FEASIBLE: ".", NO_ANSWER: "x"} | dict(enumerate(LETTERS))
    cells = [[letters.get(int(v), "?") for v in row] for row in found.verdict]
    if found.best is not None:
        row = int(abs(found.y_values - found.best.y).argmin())
        column = int(abs(found.x_values - found.best.x).argmin())
        cells[row][column] = "*"
    return cells


def _legend(found: Window) -> Iterator[str]:
    from pyrobal.studies.window import FEASIBLE, LETTERS, NO_ANSWER

    verdict = found.verdict
    shares = {code: float((verdict == code).mean()) for code in set(verdict.ravel().tolist())}
    yield f"  .  every limit is kept: {100 * shares.get(FEASIBLE, 0.0):.0f} % of the window"
    for i, limit in enumerate(found.limits):
        letter = LETTERS[i] if i < len(LETTERS) else "?"
        yield f"  {letter}  breaks {limit} the most: {100 * shares.get(i, 0.0):.0f} %"
    if NO_ANSWER in shares:
        yield f"  x  no solution: {100 * shares[NO_ANSWER]:.0f} %"
        yield from (f"{_INDENT}{share:.0f} %: {why}" for why, share in _reasons(found))
    if found.best is not None and found.goal is not None:
        yield from _best(found, found.best)
    elif not shares.get(FEASIBLE):
        yield _nearest(found)


def _best(found: Window, best: Point) -> Iterator[str]:
    x, y = f"{best.x:.5g}{_behind(found.x.unit)}", f"{best.y:.5g}{_behind(found.y.unit)}"
    yield f"  *  {found.goal}: {found.x.key} = {x}, {found.y.key} = {y}"
    for key, value in best.readings.items():
        note = best.limits_on(key)
        yield f"{_INDENT}{key} {value:.5g}{_behind(found.unit_of(key))}" + (f"  ({note})" if note else "")


def _nearest(found: Window) -> str:
    point = found.nearest
    if point is None:
        return "nothing in this window has a solution"
    x, y = (f"{value:.4g}{_behind(axis.unit)}" for value, axis in zip(point, (found.x, found.y), strict=True))
    where = f"{found.x.key} = {x}, {found.y.key} = {y}"
    return f"no point keeps every limit; the worst of them is broken least at {where}"


def _reasons(found: Window) -> Iterator[tuple[str, float]]:
    """Why cells have no answer, and the share of the window in % that each reason has, most first."""
    import numpy as np

    from pyrobal.errors import Reason

    codes, counts = np.unique(found.reason[found.reason != Reason.SOLVED], return_counts=True)
    for i in np.argsort(-counts, kind="stable"):
        yield Reason(int(codes[i])).text, 100 * float(counts[i]) / found.reason.size


def _behind(unit: str) -> str:
    from pyrobal.units import behind

    return behind(unit)
