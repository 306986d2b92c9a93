"""A window of two settings as one HTML file: the picture, the best point, what was asked, the case."""

from __future__ import annotations

import datetime
import hashlib
from typing import Any, Final

from pyrobal.case.load import Case
from pyrobal.report.figures.window import draw, shares
from pyrobal.report.html import page, script_json
from pyrobal.report.tables import Cell, Column, Table, headline
from pyrobal.studies.variable import Variable
from pyrobal.studies.window import Point, Window

_PARTS: Final = {"answer": "Answer", "figures-part": "Picture", "best": "Best point", "case": "Case"}


def window_html(case: Case, found: Window, made: datetime.datetime | None = None) -> str:
    """The page. ``made``: the time printed on it, now unless given."""
    best = None if found.best is None else best_table(found, found.best)
    return page(
        "window.html",
        headline(case.title),
        [draw(found)],
        json_text=script_json(_summary(case, found)),
        made=f"{made or datetime.datetime.now():%Y-%m-%d %H:%M}",
        parts=[(name, label) for name, label in _PARTS.items() if best or name != "best"],
        found=found,
        best=best,
        shares=shares(found),
        axes=[(axis.key, _span(axis, values)) for axis, values in _axes(found)],
        nearest=None if found.nearest is None or found.feasible.any() else _place(found, found.nearest),
        case=case,
        digest=hashlib.sha256(case.text.encode()).hexdigest(),
    )


def best_table(found: Window, best: Point) -> Table:
    """The settings and readings at the best point, and how far each limit is."""
    rows: list[tuple[Cell, ...]] = [
        (axis.key, value, axis.unit, "setting", "") for axis, value in ((found.x, best.x), (found.y, best.y))
    ]
    for key, value in best.readings.items():
        bound = [limit for limit in best.rooms if limit.key == key]
        unit = next(one.unit for one in (*found.limits, found.goal) if one is not None and one.key == key)
        said = "; ".join(f"{limit}{', binds' if limit in best.binding else ''}" for limit in bound)
        room: Cell = min((best.rooms[limit] for limit in bound), default="")
        rows.append((key, value, unit, said or "goal", room))
    columns = (Column("what"), Column("value"), Column("unit"), Column("limit"), Column("room"))
    return Table(f"Best point: {found.goal}", columns, tuple(rows))


def _axes(found: Window) -> tuple[tuple[Variable, Any], ...]:
    return (found.x, found.x_values), (found.y, found.y_values)


def _span(axis: Variable, values: Any) -> str:
    unit = "" if axis.unit == "-" else f" {axis.unit}"
    return f"{values[0]:.5g} to {values[-1]:.5g}{unit}, {len(values)} values"


def _place(found: Window, point: tuple[float, float]) -> str:
    units = ("" if axis.unit == "-" else f" {axis.unit}" for axis in (found.x, found.y))
    keys = (found.x.key, found.y.key)
    return ", ".join(f"{key} = {x:.4g}{unit}" for key, x, unit in zip(keys, point, units, strict=True))


def _summary(case: Case, found: Window) -> dict[str, Any]:
    """For programs that read the page."""
    best = found.best
    return {
        "case": case.title,
        "x": {"key": found.x.key, "unit": found.x.unit, "values": found.x_values.tolist()},
        "y": {"key": found.y.key, "unit": found.y.unit, "values": found.y_values.tolist()},
        "limits": [str(limit) for limit in found.limits],
        "goal": None if found.goal is None else str(found.goal),
        "best": None if best is None else {"x": best.x, "y": best.y, "readings": dict(best.readings)},
        "feasible": float(found.feasible.mean()),
    }
