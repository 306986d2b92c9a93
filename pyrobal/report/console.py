"""The balance on a terminal: the answer on one screen, every table on request.

Plain text in columns: nothing depends on colour, on line-drawing characters or on a width above 80, and
no number is ever cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table as Grid
from rich.text import Text

from pyrobal.report.columns import print_table
from pyrobal.report.compare import (
    MOST,
    Comparison,
    answer_table,
    feed_table,
    letter,
    readings_table,
    settings_table,
)
from pyrobal.report.narrow import NARROW, folded, print_stacked
from pyrobal.report.numbers import number
from pyrobal.report.result import CAUTION, INFEASIBLE, OK, Line, Result
from pyrobal.report.sections import Sections
from pyrobal.report.summary import Group, summary
from pyrobal.report.tables import Table, headline, plain

if TYPE_CHECKING:
    from pyrobal.case.load import Case
    from pyrobal.flowsheet.results import Results

ALL = "all"
_SAFETY = "safety: SO2, CO, oxygen, acid and molten metal can kill; local codes and licensed practice decide"
_WARNING = {"limit": "red", CAUTION: "yellow"}
_DIGITS = 3  # on the first screen
_STYLE = {OK: "green", CAUTION: "yellow", INFEASIBLE: "red"}
_WIDTHS = (9, 17, 7, 5)  # least widths on the first screen: heading, label, value, unit


def print_balance(case: Case, results: Results, detail: Sequence[str] = ()) -> None:
    """Print a solved case on standard output: the first screen, then the tables ``detail`` names."""
    show(Result(case, results), detail)


def show(result: Result, detail: Sequence[str] = (), console: Console | None = None) -> None:
    """The first screen, then the tables that ``detail`` names by their section, or ALL.

    Raises KeyError for a section there is not.
    """
    console = console or _console()
    found = Sections(result)
    wanted = list(found) if ALL in detail else list(dict.fromkeys(detail))
    with console.capture() as capture:
        _first_screen(console, result, list(found))
        for word in wanted:
            for table in found[word]:
                print_table(console, table)
    _write(console, capture.get())


def print_tables(tables: Sequence[Table]) -> None:
    """Print tables on standard output."""
    console = _console()
    with console.capture() as capture:
        for table in tables:
            print_table(console, table)
    _write(console, capture.get())


def show_comparison(c: Comparison, most: int = MOST, console: Console | None = None) -> None:
    """What differs between cases: settings, main results, cautions, and the readings most affected."""
    console = console or _console()
    with console.capture() as capture:
        for i, (name, result) in enumerate(zip(c.names, c.cases, strict=True)):
            status = (result.status, _STYLE[result.status])
            console.print(Text.assemble(f"{letter(i)}  ", name, "; status: ", status))
        if not c.settings:
            console.print(Text("\nNo setting differs."))
        feed = feed_table(c)
        given = [feed] if feed is not None else []
        for table in (settings_table(c), *given, answer_table(c), readings_table(c, most)):
            if table.rows:
                print_table(console, table)
        for at, m in c.said:
            which = ", ".join(map(letter, at))
            console.print(Text(f"{m.level} in {which}: {plain(m.key)}: {plain(m.text)}"))
    _write(console, capture.get())


def _console() -> Console:
    return Console(highlight=False, emoji=False, markup=False, soft_wrap=False)


def _write(console: Console, text: str) -> None:
    """Letters a terminal cannot show become escapes instead of an error."""
    encoding = getattr(console.file, "encoding", None) or "utf-8"
    text = "".join(f"{line.rstrip(' ')}\n" for line in text.splitlines())
    console.file.write(text.encode(encoding, "backslashreplace").decode(encoding))
    console.file.flush()


def _first_screen(console: Console, result: Result, words: Sequence[str]) -> None:
    console.print(Text(headline(result.case.title), "bold"))
    console.print(Text.assemble("status: ", (result.status, _STYLE[result.status])))
    groups = summary(result)
    if groups and result.status == INFEASIBLE:
        console.print(Text("No whole balance: what follows does not depend on the limit named below."))
    for group in groups:
        if console.width < NARROW:
            _print_narrow(console, group)
        else:
            console.print(_group(group, console.width))
    _warnings(console, result)
    if groups:
        more = folded(f"More: --detail {','.join(words)} or {ALL}", console.width, " ,")
        console.print(Text("\n".join(["", *more]), "dim"))
        console.print(Text("Trace a result: pyrobal explain CASE READING", "dim"))


def _print_narrow(console: Console, group: Group) -> None:
    for row in group.rows:
        remarks = [text for part in row.remarks if (text := part.text(_DIGITS))]
        print_stacked(console, f"{group.heading}: {row.label}", [_value(row.main.line), *remarks])


def _value(line: Line) -> str:
    return f"{number(line.shown, _DIGITS)} {'' if line.unit == '-' else line.unit}".rstrip()


def _group(group: Group, width: int) -> Grid:
    grid = Grid.grid(padding=(0, 1, 0, 0))
    heading, label, value, unit = _WIDTHS
    grid.add_column(min_width=heading, no_wrap=True, style="bold")
    grid.add_column(min_width=label, no_wrap=True)
    grid.add_column(min_width=value, no_wrap=True, justify="right")
    grid.add_column(min_width=unit, no_wrap=True)
    grid.add_column(overflow="fold")
    room = width - sum(_WIDTHS) - len(_WIDTHS)
    for i, row in enumerate(group.rows):
        line = row.main.line
        remarks = _packed([text for part in row.remarks if (text := part.text(_DIGITS))], room)
        unit_text = "" if line.unit == "-" else line.unit
        grid.add_row("" if i else group.heading, row.label, number(line.shown, _DIGITS), unit_text, remarks)
    return grid


def _packed(remarks: Sequence[str], width: int) -> str:
    """Remarks with commas, broken between them only."""
    lines: list[str] = []
    for remark in remarks:
        if lines and len(lines[-1]) + len(remark) + 3 <= width:
            lines[-1] += f", {remark}"
        else:
            lines.append(remark)
    return ",\n".join(lines)


def _warnings(console: Console, result: Result) -> None:
    """Limits, cautions and notes on a reading in full; notes on settings and on safety by number."""
    console.print()
    rest = 0
    for message in result.messages:
        if message.level in _WARNING or (message.level == "note" and message.key in result):
            label = (f"{message.level}: ", _WARNING.get(message.level, ""))
            console.print(Text.assemble(label, f"{plain(message.key)}: {plain(message.text)}"))
        else:
            rest += 1
    console.print(Text(f"{_SAFETY}; {rest} more remarks: --detail messages"))
