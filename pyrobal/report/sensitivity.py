"""Sensitivity as one HTML file: what each setting does to a reading, one step up and one step down."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping, Sequence
from textwrap import wrap
from typing import Any, Final

from pyrobal import units
from pyrobal.case.load import Case
from pyrobal.errors import CaseError
from pyrobal.report.figures.figure import BLUE, ORANGE, Figure, Key, rounded, safe
from pyrobal.report.labels import capital, label
from pyrobal.report.numbers import number, quantity
from pyrobal.report.study import Section, study_page
from pyrobal.report.tables import Cell, Column, Table, plain
from pyrobal.studies.sensitivity import Effect
from pyrobal.studies.variable import Variable, find
from pyrobal.units import behind

_BARS: Final = 15  # settings that are drawn of a reading
_LINE: Final = 24  # letters of a setting beside its bar
_SLOPES: Final = (
    "Slopes at the present value, from exact derivatives; a count is solved with one more and one less. A "
    "setting that would leave its allowed range has a bar to one side only. For a large change see pyrobal "
    "sweep."
)

Effects = Mapping[str, tuple[Effect, ...]]


def sensitivity_html(
    case: Case, found: Effects, unit_of: Mapping[str, str], made: datetime.datetime | None = None
) -> str:
    """The page. ``made``: the time printed on it, now unless given."""
    subject = "What a change of each setting does to readings of a copper smelter's balance."
    content = {
        key: {"unit": unit_of[key], "effects": [
            {"setting": e.setting, "value": e.value, "step": e.step, "unit": e.unit, "change": e.change}
            for e in effects
        ]} for key, effects in found.items()
    }  # fmt: skip
    return study_page(case, subject, list(sections(case, found, unit_of)), {"readings": content}, made)


def sections(case: Case, found: Effects, unit_of: Mapping[str, str]) -> Iterator[Section]:
    """What the page shows, a part for each reading."""
    for i, (key, effects) in enumerate(found.items()):
        drawn = [_figure(case, key, effects[:_BARS], unit_of[key])] if effects else []
        table = _table(case, key, effects, unit_of[key])
        notes = (_SLOPES,) if effects else ()
        said = (answer(key, effects, unit_of[key]),)
        yield Section(
            _name(key),
            label(key),
            capital(label(key)) if i else "Effects",
            said,
            tuple(drawn),
            (table,),
            notes,
        )


def answer(key: str, effects: Sequence[Effect], unit: str) -> str:
    """The setting with the greatest effect."""
    if not effects:
        return f"No setting of this case has an effect on {key}."
    e = effects[0]
    return (
        f"{capital(label(key))}: {_said(e.setting)} does the most of {len(effects)} settings, "
        f"{_signed(e.change, unit)} for {_signed(e.step, e.unit)}."
    )


def sides(case: Case, e: Effect) -> tuple[float, float]:
    """The change of the reading for a step down and one up; nan where the step would leave the range."""
    size, up = abs(e.step), e.change if e.step > 0 else -e.change
    down = -up
    if e.below is not None and e.above is not None:
        down, up = e.below, e.above
    variable = _variable(case, e.setting)
    room_up, room_down = (math.inf, math.inf) if variable is None else _room(variable, e)
    return (
        down if size <= room_down * (1 + 1e-9) else math.nan,
        up if size <= room_up * (1 + 1e-9) else math.nan,
    )


def _room(variable: Variable, e: Effect) -> tuple[float, float]:
    """How far the setting may go up and down, in its plant unit."""
    high, low = (
        math.inf if end is None else abs(float(units.display(end, variable.unit)) - e.value)
        for end in (variable.high, variable.low)
    )
    return high, low


def _variable(case: Case, key: str) -> Variable | None:
    names = [one.name for one in case.inputs.concentrate]
    try:
        return find(case.inputs, key.replace("*", names[0], 1) if key != "concentrate.*.rate" else key)
    except (ValueError, CaseError, IndexError):
        return None


def _figure(case: Case, key: str, effects: Sequence[Effect], unit: str) -> Figure:
    names = ["<br>".join(wrap(safe(_step(e), 60), _LINE, break_long_words=False)) for e in effects]
    both = [sides(case, e) for e in effects]
    traces = [_bars(names, [one[k] for one in both], unit, k) for k in (0, 1)]
    reach = 1.15 * max(abs(x) for one in both for x in one if math.isfinite(x))
    layout = {
        "barmode": "overlay", "height": 110 + 32 * len(effects), "showlegend": False, "bargap": 0.3,
        "margin": {"l": 20, "r": 30, "t": 20, "b": 60},
        "xaxis": {
            "title": {"text": f"change{_comma(unit)}"},
            "zeroline": True, "range": [-reach, reach],
        },
        "yaxis": {"autorange": "reversed", "automargin": True},
    }  # fmt: skip
    about = "Each setting with the size of its step; a bar for the step up and one for the step down."
    title = f"Change of {label(key)}{_comma(unit)}, by setting"
    legend = (Key("step up", fill=BLUE), Key("step down, hatched", fill=ORANGE))
    table = _table(case, key, effects, unit)
    return Figure(f"bars-{_name(key)}", title, about, {"": (traces, {})}, layout, table, legend=legend)


def _bars(names: Sequence[str], changes: Sequence[float], unit: str, side: int) -> dict[str, Any]:
    there = [k for k, x in enumerate(changes) if math.isfinite(x)]
    return {
        "type": "bar",
        "orientation": "h",
        "name": ("step down", "step up")[side],
        "y": [names[k] for k in there],
        "x": rounded([changes[k] for k in there]),
        "marker": {
            "color": (ORANGE, BLUE)[side],
            "pattern": {
                "shape": ("/", "")[side],
                "fillmode": "overlay",
                "fgcolor": "#FFFFFF",
                "solidity": 0.25,
            },
        },
        "hovertemplate": f"%{{y}} {('down', 'up')[side]}: %{{x:+.3~g}}{behind(unit)}<extra></extra>",
    }


def _table(case: Case, key: str, effects: Sequence[Effect], unit: str) -> Table:
    columns = (
        Column("setting"), Column("key"), Column("value"), Column("step"), Column("unit"),
        *(Column(side, unit.strip("-")) for side in ("step down", "step up")), Column("% per %"),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (
            plain(_said(e.setting)),
            plain(e.setting),
            e.value,
            abs(e.step),
            e.unit,
            *sides(case, e),
            e.elasticity,
        )
        for e in effects
    ]
    return Table(f"Effects on {key}", columns, tuple(rows), stub=2)


def _step(e: Effect) -> str:
    return f"{_said(e.setting)}, {number(abs(e.step), 3)}{behind(e.unit)}"


def _said(setting: str) -> str:
    return label(setting.replace("concentrate.*", "every concentrate"))


def _name(key: str) -> str:
    return key.replace(".", "-")


def _comma(unit: str) -> str:
    return "" if unit in ("", "-") else f", {unit}"


def _signed(x: float, unit: str) -> str:
    return f"{'+' if x > 0 else ''}{quantity(x, unit, 3)}"
