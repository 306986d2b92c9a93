"""Cases side by side: which settings differ, and what that did to the readings. The first is the one the
others are held against."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from string import ascii_uppercase
from typing import Any, Final

from pyrobal.constants import TONNE_PER_HOUR
from pyrobal.errors import CaseError, Fault
from pyrobal.names import suggestion
from pyrobal.readings.message import Message
from pyrobal.report.figures.figure import BLUE, ORANGE, WHOLE, Figure, rounded, safe
from pyrobal.report.labels import label
from pyrobal.report.numbers import number
from pyrobal.report.result import CLOSED, INFEASIBLE, Line, Result, told_in
from pyrobal.report.settings import Setting, settings
from pyrobal.report.summary import summary
from pyrobal.report.tables import Cell, Column, Table, headline, plain
from pyrobal.units import behind

SAME: Final = 1e-9  # relative; and absolute for what has no unit, such as closures
MOST: Final = 25  # readings on a screen
TRACE: Final = 1e-4  # share of the largest reading of a unit below which a change matters less and less
SLIGHT: Final = 1e-4  # relative; what changed less is no news among the main readings
_BARS: Final = 20
_MANY: Final = 3  # settings of one table from which they are gathered into a row
_FEW: Final = 4  # columns of numbers that stand beside a unit behind them


@dataclass(frozen=True)
class Difference:
    """A setting that is not the same in every case; "" where a case does not have it."""

    key: str
    texts: tuple[str, ...]
    meaning: str


@dataclass(frozen=True)
class Change:
    """One reading of every case in its unit; nan where a case does not have it or it has no value."""

    key: str
    values: tuple[float, ...]
    unit: str
    meaning: str
    scale: float = 0.0  # the largest reading of this unit; 0 of what has none

    @property
    def told(self) -> Change:
        """The same in the unit of the trade, see ``Line.told``."""
        unit, factor = told_in(self.key, self.unit)
        values = tuple(factor * x for x in self.values)
        return replace(self, values=values, unit=unit, scale=factor * self.scale)

    @property
    def missing(self) -> bool:
        """True where only some cases have it, or a value of it."""
        return any(map(math.isnan, self.values))

    @property
    def difference(self) -> float:
        """Of the case that is furthest from the first, less the first; nan where one has no value."""
        return max((x - self.values[0] for x in self.values[1:]), key=abs) if not self.missing else math.nan

    @property
    def relative(self) -> float:
        """The difference over the first; infinite from nothing, nan where a case has no value."""
        first = self.values[0]
        if first == 0.0 and self.difference:
            return math.copysign(math.inf, self.difference)
        return self.difference / abs(first) if first else 0.0 * self.difference

    @property
    def effect(self) -> float:
        """How much it matters, from 0 to 2: the difference over the largest value; less for a trace."""
        if self.missing:
            return 1.0
        return abs(self.difference) / max(*map(abs, self.values), TRACE * self.scale, 1e-300)


@dataclass(frozen=True)
class Comparison:
    """What differs between results.

    names : of the cases, no two alike
    settings : those that differ
    readings : those that differ, the most affected first, those that a case lacks at the end; or those asked
        for, as asked
    same : how many do not differ; said : limits and cautions that not every case has, with the cases
    """

    cases: tuple[Result, ...]
    names: tuple[str, ...]
    settings: tuple[Difference, ...]
    readings: tuple[Change, ...]
    every: tuple[Change, ...]
    asked: bool
    said: tuple[tuple[tuple[int, ...], Message], ...]

    @property
    def same(self) -> int:
        """How many readings do not differ."""
        return sum(not _changed(change) for change in self.every)

    @property
    def solved(self) -> bool:
        """Whether every case has an answer."""
        return all(result.status != INFEASIBLE for result in self.cases)


def compare(*cases: Result, read: Sequence[str] = ()) -> Comparison:
    """Compare single cases. ``read``: readings to look at, all where none is given.

    Raises CaseError for a reading that no case has.
    """
    lines = [{line.key: line for line in result.lines} for result in cases]
    keys = dict.fromkeys(key for found in lines for key in found)
    wrong = [key for key in read if key not in keys]
    if wrong:
        text = "is no reading of these cases"
        raise CaseError([Fault("--read", None, key, f"{text}; {suggestion(key, keys)}") for key in wrong])
    every = [_change(key, [found.get(key) for found in lines]) for key in read or keys]
    changed = sorted((c for c in every if _changed(c)), key=lambda c: (c.missing, -c.effect))
    return Comparison(
        cases,
        tuple(_names(cases)),
        tuple(_settings([settings(result.case.inputs) for result in cases])),
        tuple(every if read else changed),
        tuple(every),
        bool(read),
        tuple(_said(cases)),
    )


def letter(i: int) -> str:
    """What a case is called in a table: A to Z, then AA, AB, ..."""
    before = letter(i // 26 - 1) if i >= 26 else ""
    return before + ascii_uppercase[i % 26]


def _names(cases: Sequence[Result]) -> Iterator[str]:
    """The titles; where two are alike, with what was set over the case, or with its file."""
    titles = [headline(result.case.title) for result in cases]
    for i, result in enumerate(cases):
        if titles.count(titles[i]) == 1:
            yield titles[i]
            continue
        alike = [r for r, title in zip(cases, titles, strict=True) if title == titles[i]]
        sets = ", ".join(map(plain, result.case.overrides))
        files = {r.case.file for r in alike}
        more = sets or (plain(result.case.file) if len(files) > 1 else "as it is")
        told = [r.case.overrides or r.case.file for r in alike]
        mark = f" ({letter(i)})" if told.count(result.case.overrides or result.case.file) > 1 else ""
        yield f"{titles[i]}, {more}{mark}"


def _said(cases: Sequence[Result]) -> Iterator[tuple[tuple[int, ...], Message]]:
    found: dict[tuple[str, str], dict[int, Message]] = {}  # the numbers within the text may differ
    for i, result in enumerate(cases):
        for m in result.messages:
            if m.level in ("limit", "caution"):
                found.setdefault((m.level, m.key), {}).setdefault(i, m)
    for about in found.values():
        if len(about) < len(cases):
            yield tuple(about), next(iter(about.values()))


def _change(key: str, lines: Sequence[Line | None]) -> Change:
    there = [line for line in lines if line is not None]
    values = tuple(math.nan if line is None or line.unit != there[-1].unit else line.shown for line in lines)
    scale = max(line.noise for line in there) / CLOSED
    return Change(key, values, there[-1].unit, there[-1].meaning, scale)


def _changed(change: Change) -> bool:
    if change.missing:
        return not all(map(math.isnan, change.values))
    least = SAME if change.unit == "-" else SAME * max(*map(abs, change.values), 1e-6)
    return abs(change.difference) > least


def _settings(each: Sequence[Mapping[str, Setting]]) -> Iterator[Difference]:
    for key, setting in {key: one for found in each for key, one in found.items()}.items():
        texts = tuple(found[key].text() if key in found else "" for found in each)
        if len(set(texts)) > 1:
            yield Difference(key, texts, setting.meaning)


def verdict(c: Comparison) -> str:
    """How many settings and readings differ, and what it did to the reading most affected."""
    if not c.settings:
        return "No setting differs."
    count = f"{len(c.settings)} setting{'s differ' if len(c.settings) > 1 else ' differs'}"
    stopped = [letter(i) for i, result in enumerate(c.cases) if result.status == INFEASIBLE]
    if stopped:
        return f"{count}; no solution: {', '.join(stopped)}."
    told = max((x for x in _main(c) if math.isfinite(x.relative)), key=lambda x: x.effect, default=None)
    if told is None:
        return f"{count}; no main reading does."
    at = max(range(1, len(c.cases)), key=lambda i: abs(told.values[i] - told.values[0]))
    return (
        f"{count}; of the main readings {label(told.key)} changes the most: "
        f"{number(told.values[0], 3)} in A, {number(told.values[at], 3)} in {letter(at)}"
        f"{behind(told.unit)} ({100 * told.relative:+.3g} %)."
    )


def cases_table(c: Comparison) -> Table:
    """The letters of the cases."""
    rows = tuple((letter(i), c.names[i], result.status) for i, result in enumerate(c.cases))
    return Table("Cases", (Column("case"), Column("title"), Column("status")), rows, stub=3)


def _letters(c: Comparison) -> tuple[Column, ...]:
    return tuple(Column(letter(i)) for i in range(len(c.cases)))


def settings_table(c: Comparison, whole: bool = False) -> Table:
    """The settings that differ; a step or concentrate that some lack is one row, or the ``whole`` of it."""
    found = c.settings if whole else _gathered(c)
    told = whole or len(c.cases) < _FEW
    cells = ((d.key, *d.texts, *((d.meaning,) if told else ())) for d in found)
    rows = tuple(tuple(plain(cell) or "-" for cell in row) for row in cells)
    columns = (Column("setting"), *_letters(c), *((Column("meaning"),) if told else ()))
    return Table("Settings that differ", columns, rows, stub=1)


def _gathered(c: Comparison) -> Iterable[Difference]:
    """A concentrate or a step that a case lacks in one row, in place of all its settings."""
    known = [settings(result.case.inputs) for result in c.cases]
    found: dict[str, Difference] = {}
    for d in c.settings:
        lacking = [one for one, text in zip(known, d.texts, strict=True) if not text]
        home = _alone(d.key, lacking) if lacking else ""
        members = [one for one in c.settings if one.key.startswith(f"{home}.")]
        if not home or len(members) < _MANY:
            found[d.key] = d
        else:
            given = tuple("given" if text else "" for text in d.texts)
            which = "one case" if sum(map(bool, given)) == 1 else "some cases"
            found[home] = Difference(home, given, f"{len(members)} settings of {which} only")
    return found.values()


def _alone(key: str, lacking: Sequence[Mapping[str, Setting]]) -> str:
    """The widest table around ``key`` of which the other cases have nothing; "" where there is none."""
    parts = key.split(".")
    homes = (".".join(parts[:n]) for n in range(1, len(parts)))
    return next((h for h in homes if not any(k.startswith(f"{h}.") for one in lacking for k in one)), "")


def feed_table(c: Comparison) -> Table | None:
    """Concentrates and lots as columns, cases as rows; None where all take the same of each."""
    rates = [_rates(result) for result in c.cases]
    if all(one == rates[0] for one in rates):
        return None
    lots = list(dict.fromkeys(name for one in rates for name in one))
    rows: list[tuple[Cell, ...]] = [
        (letter(i), *(one.get(name, 0.0) for name in lots), sum(one.values())) for i, one in enumerate(rates)
    ]
    columns = (Column("case"), *(Column(plain(name), "t/h") for name in lots), Column("all", "t/h"))
    return Table("Concentrates, dry", columns, tuple(rows))


def _rates(result: Result) -> dict[str, float]:
    """[t/h] of each concentrate, dry; a share is one of the charge."""
    found: dict[str, float] = {}
    for one in result.case.inputs.concentrate:
        rate = one.rate
        if rate is None and one.share is not None and result.case.inputs.charge.rate is not None:
            rate = one.share * result.case.inputs.charge.rate
        if rate is not None:
            found[one.name] = float(rate[0]) / TONNE_PER_HOUR
    return found


def _main(c: Comparison) -> list[Change]:
    """The readings of the first screens, in their order."""
    changes = {change.key: change for change in c.readings if change.effect >= SLIGHT}
    rows = [row for result in c.cases for group in summary(result) for row in group.rows]
    keys = dict.fromkeys(part.line.key for row in rows for part in (row.main, *row.remarks))
    return [changes[key] for key in keys if key in changes]


def answer_table(c: Comparison, told: bool = False) -> Table:
    """The main readings that differ, in the order of the first screen; none where some are asked for."""
    notes = (f"Changes below {number(100 * SLIGHT)} % are left out.",)
    return _table("The main results", c, () if c.asked else _main(c), notes, told)


def readings_table(c: Comparison, most: int | None = None, told: bool = False) -> Table:
    """Readings that differ, the most affected first, or those asked for; ``told``: with their labels."""
    shown = c.readings if c.asked else c.readings[:most]
    rest = len(c.readings) - len(shown)
    said = [f"{c.same} readings are the same.", *([f"{rest} more changed less."] if rest else [])]
    notes = () if c.asked else tuple(said)
    title = "Readings" if c.asked else "Readings, the most affected first"
    return _table(title, c, shown, notes, told)


def _table(
    title: str, c: Comparison, changes: Sequence[Change], notes: tuple[str, ...], told: bool = False
) -> Table:
    """Values of every case; of two also the change. Many cases have the unit before them, so that a narrow
    terminal can part the rest."""
    two = len(c.cases) == 2
    numbers = (*_letters(c), *((Column("change"), Column("%")) if two else ()))
    name = (Column("result"), Column("key")) if told else (Column("reading"),)
    before = told or len(numbers) > _FEW
    columns = (*name, *((Column("unit"), *numbers) if before else (*numbers, Column("unit"))))
    rows: list[tuple[Cell, ...]] = []
    for x in (one.told for one in changes):
        change = (x.difference, x.relative) if x.missing or _changed(x) else (0.0, 0.0)
        percent = 100.0 * change[1] if math.isfinite(change[1]) else math.nan
        cells = (*x.values, *((change[0], percent) if two else ()))
        head = (label(x.key), x.key) if told else (x.key,)
        rows.append((*head, *((x.unit, *cells) if before else (*cells, x.unit))))
    return Table(title, columns, tuple(rows), notes, stub=len(name) + before)


def out_table(c: Comparison) -> Table:
    """For a spreadsheet: every reading of every case, or those asked for, under the names of the cases."""
    columns = tuple(map(Column, ("reading", "label", "unit", *c.names, "meaning")))
    rows: list[tuple[Cell, ...]] = [(x.key, label(x.key), x.unit, *x.values, x.meaning) for x in c.every]
    return Table("Readings", columns, tuple(rows), stub=3)


def content(c: Comparison) -> dict[str, Any]:
    """For programs; what has no value is null."""
    return {
        "cases": [{"name": n, "status": r.status} for n, r in zip(c.names, c.cases, strict=True)],
        "settings": {d.key: [text or None for text in d.texts] for d in c.settings},
        "readings": {
            x.key: {"unit": x.unit, "values": [None if math.isnan(v) else v for v in x.values]}
            for x in c.every
        },
    }


def bars(c: Comparison) -> list[Figure]:
    """The relative changes of the readings most affected."""
    told = [x for x in c.readings if math.isfinite(x.relative) and _changed(x)][:_BARS]
    if not told:
        return []
    traces = [_bar(c, told, i) for i in range(1, len(c.cases))]
    ends = [0.0, *(x for trace in traces for x in trace["x"])]
    each = len(traces)
    layout = {
        "height": 110 + (24 if each == 1 else 16 * each + 10) * len(told),
        "barmode": "group",
        "showlegend": each > 1,
        "legend": {"orientation": "h", "y": 1.08},
        "xaxis": {
            "title": {"text": "change, % of A"}, "zeroline": True,
            "range": [1.25 * min(ends), 1.25 * max(ends)],
        },
        "yaxis": {"autorange": "reversed", "automargin": True},
        "margin": {"l": 20, "r": 60, "t": 20, "b": 50},
    }  # fmt: skip
    about = f"The {len(told)} readings most affected against A: more to the right, less to the left."
    title = f"Relative change against A: {c.names[0]}"
    return [Figure("changes", title, about, {"": (traces, {})}, layout, readings_table(c, _BARS))]


_COLOURS: Final = ("#0072B2", "#009E73", "#CC79A7", "#56B4E9", "#D55E00")


def _bar(c: Comparison, told: Sequence[Change], i: int) -> dict[str, Any]:
    percent = [100.0 * (x.values[i] - x.values[0]) / abs(x.values[0]) for x in told]
    single = len(c.cases) == 2
    colours: Any = _COLOURS[(i - 1) % len(_COLOURS)]
    hatches: Any = ("", "/", "\\", "x", "-")[(i - 1) % 5]
    if single:
        colours = [BLUE if p > 0 else ORANGE for p in percent]
        hatches = ["" if p > 0 else "/" for p in percent]
    said = [f"{number(x.values[0])} in A, {number(x.values[i])} in {letter(i)}{behind(x.unit)}" for x in told]
    return {
        "type": "bar",
        "orientation": "h",
        "name": safe(f"{letter(i)}: {c.names[i]}", 60),
        "y": [safe(label(x.key), WHOLE) for x in told],
        "x": rounded(percent),
        "text": [f"{number(p, 3)} %" for p in percent],
        "customdata": said,
        "textposition": "outside",
        "cliponaxis": False,
        "marker": {
            "color": colours,
            "pattern": {"shape": hatches, "fillmode": "overlay", "fgcolor": "#FFFFFF", "solidity": 0.25},
        },
        "hovertemplate": "%{y}: %{x:.4~g} %<br>%{customdata}<extra></extra>",
    }
