"""Two cases side by side: which settings differ, and what that did to the readings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from pyrobal.readings.message import Message
from pyrobal.report.figures.figure import BLUE, ORANGE, Figure, rounded
from pyrobal.report.numbers import number
from pyrobal.report.result import CLOSED, Line, Result
from pyrobal.report.settings import Setting, settings
from pyrobal.report.summary import summary
from pyrobal.report.tables import Cell, Column, Table, plain

SAME: Final = 1e-9  # relative; and absolute for what has no unit, such as closures
MOST: Final = 25  # readings on a screen
TRACE: Final = 1e-4  # share of the largest reading of a unit below which a change matters less and less
SLIGHT: Final = 1e-4  # relative; what changed less is no news among the main readings
_BARS: Final = 20
_MANY: Final = 3  # settings of one table from which they are gathered into a row

Difference = tuple[str, str, str, str]  # of a setting: key, before, after, meaning


@dataclass(frozen=True)
class Change:
    """One reading of both cases in its unit; nan where a case does not have it or it has no value."""

    key: str
    before: float
    after: float
    unit: str
    meaning: str
    scale: float = 0.0  # the largest reading of this unit; 0 of what has none

    @property
    def missing(self) -> bool:
        """True where only one case has it, or a value of it."""
        return math.isnan(self.difference)

    @property
    def difference(self) -> float:
        """After less before."""
        return self.after - self.before

    @property
    def relative(self) -> float:
        """The difference over what was before; infinite from nothing, nan where a case has no value."""
        if self.before == 0.0 and self.after != 0.0:
            return math.copysign(math.inf, self.after)
        return self.difference / abs(self.before) if self.before else 0.0 * self.difference

    @property
    def effect(self) -> float:
        """How much it matters, from 0 to 2: the difference over the larger of the two; less for a trace."""
        if self.missing:
            return 1.0
        return abs(self.difference) / max(abs(self.before), abs(self.after), TRACE * self.scale, 1e-300)


@dataclass(frozen=True)
class Comparison:
    """What differs between two results.

    settings : key, value before, value after, meaning; "" where a case does not have it
    readings : those that changed, the most affected first, those of one case only at the end
    same : how many did not
    gone, new : limits and cautions of one case only
    """

    before: Result
    after: Result
    settings: tuple[Difference, ...]
    readings: tuple[Change, ...]
    same: int
    gone: tuple[Message, ...]
    new: tuple[Message, ...]


def compare(before: Result, after: Result) -> Comparison:
    """Compare two single cases."""
    lines = [{line.key: line for line in result.lines} for result in (before, after)]
    changes = [_change(key, *(found.get(key) for found in lines)) for key in {**lines[0], **lines[1]}]
    changed = sorted((c for c in changes if _changed(c)), key=lambda c: (c.missing, -c.effect))
    warned = [[m for m in result.messages if m.level in ("limit", "caution")] for result in (before, after)]
    about = [{(m.level, m.key) for m in found} for found in warned]  # the numbers within the text may differ
    return Comparison(
        before,
        after,
        tuple(_settings(settings(before.case.inputs), settings(after.case.inputs))),
        tuple(changed),
        len(changes) - len(changed),
        tuple(m for m in warned[0] if (m.level, m.key) not in about[1]),
        tuple(m for m in warned[1] if (m.level, m.key) not in about[0]),
    )


def _change(key: str, before: Line | None, after: Line | None) -> Change:
    line = after or before
    assert line is not None
    one, other = (math.nan if found is None else found.shown for found in (before, after))
    scale = max(found.noise for found in (before, after) if found) / CLOSED
    return Change(key, one, other, line.unit, line.meaning, scale)


def _changed(change: Change) -> bool:
    missing = math.isnan(change.before), math.isnan(change.after)
    if any(missing):
        return not all(missing)
    least = SAME if change.unit == "-" else SAME * max(abs(change.before), abs(change.after), 1e-6)
    return abs(change.difference) > least


def _settings(before: Mapping[str, Setting], after: Mapping[str, Setting]) -> Iterator[Difference]:
    for key, setting in {**before, **after}.items():
        one, other = (found[key].text() if key in found else "" for found in (before, after))
        if one != other:
            yield key, one, other, setting.meaning


def settings_table(c: Comparison, whole: bool = False) -> Table:
    """The settings that differ; a step or concentrate of one case only is one row, or the ``whole`` of it."""
    found = c.settings if whole else _gathered(c)
    rows = tuple(tuple(plain(cell) or "-" for cell in row) for row in found)
    columns = (Column("setting"), Column("before"), Column("after"), Column("meaning"))
    return Table("Settings that differ", columns, rows, stub=3)


def _gathered(c: Comparison) -> Iterable[Difference]:
    """A concentrate or a step that one case lacks in one row, in place of all its settings."""
    known = [settings(result.case.inputs) for result in (c.before, c.after)]
    found: dict[str, Difference] = {}
    for key, before, after, meaning in c.settings:
        lacking = known[1] if before else known[0]
        home = "" if before and after else _alone(key, lacking)
        members = [row for row in c.settings if row[0].startswith(f"{home}.")]
        if not home or len(members) < _MANY:
            found[key] = (key, before, after, meaning)
        else:
            given = ("given" if before else "", "given" if after else "")
            found[home] = (home, *given, f"{len(members)} settings of one case only")
    return found.values()


def _alone(key: str, lacking: Mapping[str, Setting]) -> str:
    """The widest table around ``key`` of which the other case has nothing; "" where there is none."""
    parts = key.split(".")
    homes = (".".join(parts[:n]) for n in range(1, len(parts)))
    return next((home for home in homes if not any(k.startswith(f"{home}.") for k in lacking)), "")


def answer_table(c: Comparison) -> Table:
    """The main readings of both that changed, in the order of the first screen."""
    changes = {change.key: change for change in c.readings if change.effect >= SLIGHT}
    rows = [row for result in (c.before, c.after) for group in summary(result) for row in group.rows]
    keys = dict.fromkeys(part.line.key for row in rows for part in (row.main, *row.remarks))
    notes = (f"Changes below {number(100 * SLIGHT)} % are left out.",)
    return Table(
        "The main results", _COLUMNS, tuple(_row(changes[key]) for key in keys if key in changes), notes
    )


def readings_table(c: Comparison, most: int | None = None) -> Table:
    """Readings that changed, the most affected first."""
    shown = c.readings[:most]
    rest = len(c.readings) - len(shown)
    notes = [f"{c.same} readings are the same."] + ([f"{rest} more changed less."] if rest else [])
    rows = tuple(_row(change) for change in shown)
    return Table("Readings, the most affected first", _COLUMNS, rows, tuple(notes))


_COLUMNS: Final = tuple(map(Column, ("reading", "before", "after", "change", "%", "unit")))


def _row(change: Change) -> tuple[Cell, ...]:
    percent: Cell = 100.0 * change.relative if math.isfinite(change.relative) else ""
    return (change.key, change.before, change.after, change.difference, percent, change.unit)


def bars(c: Comparison) -> list[Figure]:
    """The relative changes of the readings most affected."""
    told = [x for x in c.readings if math.isfinite(x.relative)][:_BARS]
    if not told:
        return []
    percent = [100.0 * x.relative for x in told]
    trace: dict[str, Any] = {
        "type": "bar",
        "orientation": "h",
        "y": [x.key for x in told],
        "x": rounded(percent),
        "text": [f"{number(p, 3)} %" for p in percent],
        "textposition": "outside",
        "cliponaxis": False,
        "marker": {"color": [BLUE if p > 0 else ORANGE for p in percent]},
        "hovertemplate": "%{y}: %{x:.4~g} %<extra></extra>",
    }
    layout = {
        "height": 90 + 24 * len(told),
        "xaxis": {
            "title": {"text": "change, % of before"},
            "zeroline": True,
            "range": [1.2 * min(*percent, 0.0), 1.2 * max(*percent, 0.0)],
        },
        "yaxis": {"autorange": "reversed", "automargin": True},
        "margin": {"l": 20, "r": 80, "t": 20, "b": 50},
    }
    return [
        Figure(
            "changes",
            "Relative change",
            f"The {len(told)} readings most affected, rises to the right, falls to the left.",
            {"": ([trace], layout)},
            {},
            readings_table(c, _BARS),
        )
    ]
