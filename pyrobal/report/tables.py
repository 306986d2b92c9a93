"""Results as plain tables in plant units, for every medium: terminal, HTML, spreadsheet.

Which tables there are follows from the keys of the readings. Lines that share a stream ("smelting.slag.")
stand beside each other, heat in stands against heat out, a family of two names makes a matrix, and
everything else is a list. A new step of the plant needs no line here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, zip_longest
from typing import Final

from pyrobal.readings import registry
from pyrobal.report.labels import label
from pyrobal.report.numbers import quantity
from pyrobal.report.result import Line, Result

Cell = str | float
WHOLE: Final = "\N{NO-BREAK SPACE}"  # keeps words on one line; printed as a blank
_RUN: Final = 3  # so many zeros below each other are too many
_CLAUSE: Final = re.compile("[:;]")
_LONGEST: Final = 160  # letters of a title
_HEAT: Final = re.compile(r"(?P<step>.+)\.heat\.(?P<side>in|out)\.(?P<item>.+)")
_STREAM: Final = re.compile(r"(?P<stream>[^.]+\.[^.]+(?:\.[^.]+)*?)\.(?:assay\..+|flow_wet)")


@dataclass(frozen=True)
class Column:
    """A heading, and the unit of everything below it where there is one."""

    heading: str
    unit: str = ""


@dataclass(frozen=True)
class Table:
    """Rows under headings; a number is in the unit of its column, or of the row where that says it.

    stub : leading columns that name a row, repeated where a wide table has to be parted
    matrix : whether all numbers are of one kind, so that what is zero may be left out
    """

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    notes: tuple[str, ...] = ()
    stub: int = 1
    matrix: bool = False


def words(name: str) -> str:
    """A part of a key as people say it."""
    return name.replace("_", " ").replace(".", " ")


def plain(text: str) -> str:
    """A text of the user's on one line, without characters that steer a terminal or turn the direction."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in " ".join(text.split()))


def headline(title: str) -> str:
    """The title of a case above its results; the case itself has the whole of a long one."""
    line = plain(title)
    return line if len(line) <= _LONGEST else f"{line[:_LONGEST].rstrip()}..."


def section(key: str) -> str:
    """The word that asks for the part of the report a reading is in."""
    return key.partition(".")[0]


def step_tables(word: str, lines: Sequence[Line]) -> Iterable[Table]:
    """The tables of the readings that begin with a word."""
    streams, pairs = stream_lines(lines), matrix_lines(lines)
    apart = {line.key for stream in streams.values() for line in stream.values()}
    apart |= {line.key for cells in pairs.values() for line in cells.values()}
    apart |= {line.key for line in lines if _HEAT.fullmatch(line.key)}
    rest = [line for line in lines if line.key not in apart]
    if rest:
        yield listing(word, rest)
    yield from stream_tables(words(word), streams)
    yield from heat_tables(lines)
    yield from matrices(lines)


def listing(word: str, lines: Sequence[Line]) -> Table:
    """Readings one below the other, named by what follows the section's word; a family's meaning once, and
    where many are zero after each other their names alone."""
    columns = (Column(f"{word}."), Column("value"), Column("unit"), Column("meaning"))
    rows: list[tuple[Cell, ...]] = []
    none = _runs_of_zeros(lines)
    before = ""
    for line in lines:
        if line.key in none:
            continue
        said = line.reason or line.meaning
        rows.append(
            (line.key.removeprefix(f"{word}."), line.shown, line.unit, "" if said == before else said)
        )
        before = said
    return Table(
        words(word).capitalize(), columns, tuple(rows), _zero([key.removeprefix(f"{word}.") for key in none])
    )


def _runs_of_zeros(lines: Sequence[Line]) -> list[str]:
    """The keys of readings that are zero and stand beside others that are."""
    runs = (list(run) for zero, run in groupby(lines, lambda line: line.shown == 0.0) if zero)
    return [line.key for run in runs if len(run) >= _RUN for line in run]


def _zero(names: Sequence[str]) -> tuple[str, ...]:
    """What is left out of a table, as a note to it."""
    return (f"Zero: {', '.join(names)}.",) if names else ()


def every_reading(lines: Sequence[Line]) -> Table:
    """All readings, by what people call them and by their keys; why one has no value in a few words."""
    columns = (Column("result"), Column("key"), Column("value"), Column("unit"), Column("meaning"))
    rows = [
        (label(line.key), line.key, line.shown, line.unit, _CLAUSE.split(line.reason)[0] or line.meaning)
        for line in lines
    ]
    return Table("All results", columns, tuple(rows), stub=2)


def stream_lines(lines: Iterable[Line]) -> dict[str, dict[str, Line]]:
    """Stream -> what is known of it -> reading. A stream is what has an assay or a flow of gas."""
    lines = list(lines)
    heads = [match["stream"] for line in lines if (match := _STREAM.fullmatch(line.key))]
    found: dict[str, dict[str, Line]] = {head: {} for head in heads}
    for line in lines:
        homes = [head for head in found if line.key.startswith(f"{head}.")]
        if homes:
            home = max(homes, key=len)
            found[home][line.key.removeprefix(f"{home}.")] = line
    return found


def stream_tables(title: str, streams: Mapping[str, Mapping[str, Line]]) -> Iterable[Table]:
    """Streams side by side, those with an assay and those of gas apart."""
    solid = {h: s for h, s in streams.items() if any(name.startswith("assay.") for name in s)}
    gas = {h: s for h, s in streams.items() if h not in solid}
    for kind, group in (("matte, slag and solids", solid), ("gas", gas)):
        if group:
            yield _side_by_side(f"{title.capitalize()}: {kind}", group)


def _side_by_side(title: str, streams: Mapping[str, Mapping[str, Line]]) -> Table:
    heads = _short(list(streams))
    columns = (Column(""), Column("unit"), *(Column(words(head)) for head in heads))
    rows, none = [], []
    for name, unit in quantities(streams):
        cells = [in_unit(stream.get(name), unit) for stream in streams.values()]
        if any(cell not in ("", 0.0) for cell in cells):
            rows.append((label(name.removeprefix("assay.")), unit, *cells))
        else:
            none.append(label(name.removeprefix("assay.")))
    return Table(title, columns, tuple(rows), _zero(none), stub=2)


def quantities(streams: Mapping[str, Mapping[str, Line]]) -> list[tuple[str, str]]:
    """What is known of some stream, with its unit: amounts and temperatures first, then the assay.

    One of them stands twice where streams differ in its unit, tonnes of slag and kilograms of slimes.
    """
    both = dict.fromkeys((name, line.unit) for stream in streams.values() for name, line in stream.items())
    return sorted(both, key=lambda one: one[0].startswith("assay."))


def in_unit(line: Line | None, unit: str) -> Cell:
    """The value where there is one in this unit."""
    return line.shown if line is not None and line.unit == unit else ""


def _short(heads: list[str]) -> list[str]:
    """The names without the step they all share."""
    shared = {section(head) for head in heads}
    return [head.partition(".")[2] for head in heads] if len(shared) == 1 else heads


def heat_lines(lines: Iterable[Line]) -> dict[str, tuple[list[Line], list[Line]]]:
    """Step -> heat in and heat out by item; a surplus is heat that is taken out."""
    sides: dict[str, tuple[list[Line], list[Line]]] = {}
    surplus = {}
    for line in lines:
        if match := _HEAT.fullmatch(line.key):
            into, out = sides.setdefault(match["step"], ([], []))
            (into if match["side"] == "in" else out).append(line)
        elif line.key.endswith(".heat.surplus"):
            surplus[line.key.removesuffix(".heat.surplus")] = line
    for step, (_, out) in sides.items():
        if step in surplus:
            out.append(surplus[step])
    return sides


def heat_tables(lines: Sequence[Line]) -> Iterable[Table]:
    """The heat balance of each step, both sides down to their sums."""
    for step, (into, out) in heat_lines(lines).items():
        unit = into[0].unit
        there = ([x for x in side if x.shown or x.key.endswith(".surplus")] for side in (into, out))
        rows: list[tuple[Cell, ...]] = [(*_item(a), *_item(b)) for a, b in zip_longest(*there)]
        rows.append(("sum", sum(x.value for x in into), "sum", sum(x.value for x in out)))
        columns = (Column("heat in"), Column("", unit), Column("heat out"), Column("", unit))
        notes = dict.fromkeys(line.meaning for line in (*into[:1], *out))
        yield Table(
            f"{words(step).capitalize()}: heat balance",
            columns,
            tuple(rows),
            notes=tuple(f"{meaning[:1].upper()}{meaning[1:]}." for meaning in notes),
            stub=4,
        )


def _item(line: Line | None) -> tuple[Cell, Cell]:
    return ("", "") if line is None else (words(line.key.rpartition(".")[2]), line.shown)


def matrix_lines(lines: Iterable[Line]) -> dict[str, dict[tuple[str, str], Line]]:
    """Family -> (row, column) -> reading, of families whose members are two names: ``deportment.As.slag``.

    What is told of a stream is no matrix, though its name has two parts: ``gas.furnace.cooler.so2``.
    """
    lines = list(lines)
    streams = {line.key for stream in stream_lines(lines).values() for line in stream.values()}
    found: dict[str, dict[tuple[str, str], Line]] = {}
    for line in lines:
        if line.key in streams:
            continue
        reading, member = registry.find(line.key)
        row, dot, column = member.partition(".")
        if dot:
            found.setdefault(reading.key, {})[row, column] = line
    return found


def matrices(lines: Iterable[Line]) -> Iterable[Table]:
    """A table of each family of two names."""
    return (matrix(family, cells) for family, cells in matrix_lines(lines).items())


def matrix(family: str, cells: Mapping[tuple[str, str], Line]) -> Table:
    """A family of two names, the first down, the second across; columns of nothing are named in a note."""
    rows, columns = (list(dict.fromkeys(name[i] for name in cells)) for i in (0, 1))
    told = {name[1] for name, line in cells.items() if line.shown != 0.0}
    empty = [words(c) for c in columns if c not in told]
    columns = [c for c in columns if c in told]
    first = next(iter(cells.values()))
    table: list[tuple[Cell, ...]] = [
        (row, *(cells[row, c].shown if (row, c) in cells else 0.0 for c in columns)) for row in rows
    ]
    title = words(family.partition("<")[0].rstrip(".")).capitalize()
    units = {name[1]: line.unit for name, line in cells.items()}
    headings = (Column(""), *(Column(words(c), units[c]) for c in columns))
    notes = [f"{first.meaning[:1].upper()}{first.meaning[1:]}."]
    notes += [f"Zero throughout: {', '.join(empty)}."] if empty else []
    return Table(title, headings, tuple(table), tuple(notes), matrix=True)


def spoken(table: Table) -> Table:
    """A matrix as a line of text for each row, where it is too wide to be one table: what is not zero, the
    largest first where all is in one unit."""
    headings, rows = table.columns[1:], []
    alike = len({column.unit for column in headings}) == 1
    for name, *cells in table.rows:
        there = [(x, column) for x, column in zip(cells, headings, strict=True) if isinstance(x, float) and x]
        if alike:
            there.sort(key=lambda one: -abs(one[0]))
        said = (f"{c.heading} {quantity(x, '' if alike else c.unit)}" for x, c in there)
        rows.append((name, ", ".join(text.replace(" ", WHOLE) for text in said)))
    unit = headings[0].unit if alike and headings else ""
    return Table(table.title, (Column(""), Column("", unit)), tuple(rows), table.notes)


def solution(result: Result) -> Table:
    """How what is iterated ended: the equations of the smelting furnace, and the recycles of the plant."""
    r = result.results
    rows: list[tuple[Cell, ...]] = []
    if r.smelting is not None:
        count, left = float(r.smelting.iterations[0]), float(r.smelting.residual[0])
        rows.append(("smelting", count, left, "largest of the equations"))
    if r.recycle is not None:
        change = float(r.recycle.change[0])
        rows.append(
            ("recycles", float(r.recycle.passes[0]), change, "largest change of the last pass, relative")
        )
    columns = (Column("what"), Column("iterations"), Column("residual"), Column("which is"))
    return Table("Solution", columns, tuple(rows))


def messages(result: Result) -> Table:
    """What a careful engineer would say."""
    columns = (Column("level"), Column("about"), Column("what"))
    rows = tuple((m.level, plain(m.key), plain(m.text)) for m in result.messages)
    return Table("Messages", columns, rows, stub=3)


def assumptions(result: Result) -> Table:
    """Settings the case did not give, with the values taken."""
    rows = tuple((plain(key), plain(value)) for key, value in result.assumed.items())
    return Table("Defaults used", (Column("setting"), Column("value")), rows, stub=2)
