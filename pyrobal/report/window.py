"""A window of two settings as one HTML file: the picture, the best point, what was asked, the case."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any, Final

from pyrobal import units
from pyrobal.arrays import FloatN
from pyrobal.case.load import Case
from pyrobal.report.figures.window import draw, shares
from pyrobal.report.study import Section, study_page
from pyrobal.report.tables import Cell, Column, Table
from pyrobal.studies.variable import Variable
from pyrobal.studies.window import Point, Window

_ADVICE: Final = (
    "Closed in on from the best cell, within the region it stands in. Run the balance there, and ask pyrobal "
    "sensitivity what it depends on, before it is used."
)


def window_html(case: Case, found: Window, made: datetime.datetime | None = None) -> str:
    """The page. ``made``: the time printed on it, now unless given."""
    return study_page(
        case, "The window of two settings of a copper smelter.", list(sections(found)), _content(found), made
    )


def sections(found: Window) -> Iterator[Section]:
    """What its page shows: the result, the picture, the best point."""
    asked = (shares(found), _asked(found))
    yield Section("answer", "Picture", "The window", (_answer(found),), figures=(draw(found),), tables=asked)
    if found.best is not None:
        yield Section(
            "best", "Best point", "The best point", tables=(best_table(found, found.best),), notes=(_ADVICE,)
        )


def _answer(found: Window) -> str:
    kept = found.feasible.mean()
    if not kept:
        if found.nearest is None:
            return "Nothing in this window has a solution."
        at = _place(found, found.nearest)
        return f"No point keeps every limit; the worst of them is broken least at {at}."
    said = f"Every limit is kept in {100 * kept:.3g} % of the window"
    if found.best is None:
        return f"{said}."
    return f"{said}; {found.goal} at {_place(found, (found.best.x, found.best.y))}."


def _asked(found: Window) -> Table:
    axes = ((found.x, found.x_values), (found.y, found.y_values))
    rows: list[tuple[Cell, ...]] = [("setting", axis.key, _span(axis, values)) for axis, values in axes]
    rows += [("limit", limit.key, str(limit).removeprefix(f"{limit.key} ")) for limit in found.limits]
    return Table("What was asked", (Column(""), Column("key"), Column("range")), tuple(rows), stub=3)


def best_table(found: Window, best: Point) -> Table:
    """The settings and readings at the best point, and how far each limit is."""
    rows: list[tuple[Cell, ...]] = [
        (axis.key, value, axis.unit, "setting", "") for axis, value in ((found.x, best.x), (found.y, best.y))
    ]
    for key, value in best.readings.items():
        room: Cell = min((room for limit, room in best.rooms.items() if limit.key == key), default="")
        rows.append((key, value, found.unit_of(key), best.limits_on(key) or "goal", room))
    columns = (Column("what"), Column("value"), Column("unit"), Column("limit"), Column("room"))
    return Table(f"Best point: {found.goal}", columns, tuple(rows))


def _span(axis: Variable, values: FloatN) -> str:
    return f"{values[0]:.5g} to {values[-1]:.5g}{units.behind(axis.unit)}, {len(values)} values"


def _place(found: Window, point: tuple[float, float]) -> str:
    axes = zip((found.x, found.y), point, strict=True)
    return ", ".join(f"{axis.key} = {value:.4g}{units.behind(axis.unit)}" for axis, value in axes)


def _content(found: Window) -> dict[str, Any]:
    best = found.best
    return {
        "x": {"key": found.x.key, "unit": found.x.unit, "values": found.x_values.tolist()},
        "y": {"key": found.y.key, "unit": found.y.unit, "values": found.y_values.tolist()},
        "limits": [str(limit) for limit in found.limits],
        "goal": None if found.goal is None else str(found.goal),
        "best": None if best is None else {"x": best.x, "y": best.y, "readings": dict(best.readings)},
        "feasible": float(found.feasible.mean()),
    }
