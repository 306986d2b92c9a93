"""A sweep as one HTML file: each reading over the settings, the limits of the case and where they are met."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import Any, Final

import numpy as np

from pyrobal.arrays import Floats
from pyrobal.case.load import Case
from pyrobal.report.figures.figure import (
    COLOURS,
    DASHES,
    MARKS,
    RED,
    WHOLE,
    Figure,
    Key,
    Traces,
    rounded,
    safe,
    titled,
)
from pyrobal.report.labels import capital, label
from pyrobal.report.numbers import number
from pyrobal.report.study import Section, study_page
from pyrobal.report.tables import Cell, Column, Table, plain
from pyrobal.studies import table as study
from pyrobal.studies.edges import met
from pyrobal.studies.limit import Limit, in_force
from pyrobal.studies.table import StudyTable
from pyrobal.units import behind

MOST: Final = 20_000  # scenarios of a page
_CURVES: Final = 6  # in one drawing
_FIGURES: Final = 12  # readings that are drawn; the table has all
_UPRIGHT: Final = 36  # letters of the title of the upright axis on one line
_MARKED: Final = 60  # points of a curve up to which each has a mark


@dataclass(frozen=True, eq=False)
class Curves:
    """What is drawn of a sweep.

    across : the setting along the drawing; None where it is the number of the scenario
    x : (N,) its values, or words; curves : name -> rows, in the order of x; left : curves not drawn
    """

    across: study.Column | None
    x: list[str] | Floats
    curves: dict[str, list[int]]
    left: int

    @property
    def title(self) -> str:
        """Of the axis."""
        return "scenario" if self.across is None else _title(self.across)


def sweep_html(case: Case, found: StudyTable, made: datetime.datetime | None = None) -> str:
    """The page. ``made``: the time printed on it, now unless given."""
    subject = "Readings of a copper smelter's balance over a range of settings."
    content = {
        "columns": [column.heading for column in found.columns],
        "rows": [[None if x != x else x for x in row] for row in zip(*_plain_cells(found), strict=True)],
    }
    return study_page(case, subject, list(sections(case, found)), content, made)


def sections(case: Case, found: StudyTable) -> Iterator[Section]:
    """What the page shows."""
    drawn, varied = curves(found), [c.key for c in found.columns if c.varied]
    told = [c for c in found.columns if not c.varied]
    limits = [limit for limit in in_force(case, (), varied) if limit.key in {c.key for c in told}]
    crossed = crossings(found, drawn, limits)
    figures = [_figure(found, drawn, column, limits, crossed) for column in told[:_FIGURES]]
    notes = [f"{drawn.left} curves are not drawn; the table has them."] if drawn.left else []
    notes += (
        [f"{len(told) - _FIGURES} readings are not drawn; the table has them."]
        if len(told) > _FIGURES
        else []
    )
    sentences = (_answer(found, drawn, crossed), *_failures(found))
    places = (_places(drawn, crossed),) if crossed else ()
    yield Section(
        "answer", "Curves", "Readings over the settings", sentences, tuple(figures), places, tuple(notes)
    )
    yield Section("scenarios", "Scenarios", "Scenarios", tables=(_scenarios(found),))


def curves(found: StudyTable) -> Curves:
    """The setting with the most values along the drawing, a curve for each combination of the others; where
    nearly every scenario has a combination of its own, as in a list of them, their number along it."""
    cells = dict(zip(found.columns, found.cells(), strict=True))
    varied = [c for c in found.columns if c.varied and len(set(_listed(cells[c]))) > 1]
    if varied:
        across = max(varied, key=lambda c: (not c.words, len(set(_listed(cells[c])))))
        names: dict[str, list[int]] = {}
        for i in range(len(found)):
            parts = (f"{label(c.key)} {_said(cells[c][i])}{behind(c.unit)}" for c in varied if c != across)
            names.setdefault(", ".join(parts), []).append(i)
        if len(names) == 1 or 2 * len(names) <= len(found):
            x = cells[across]
            if not across.words:
                names = {name: sorted(rows, key=lambda i: float(x[i])) for name, rows in names.items()}
            kept = [list(names)[k] for k in np.unique(np.linspace(0, len(names) - 1, _CURVES).astype(int))]
            return Curves(across, x, {name: names[name] for name in kept}, len(names) - len(kept))
    return Curves(None, np.arange(1.0, len(found) + 1), {"": list(range(len(found)))}, 0)


def crossings(found: StudyTable, drawn: Curves, limits: Sequence[Limit]) -> list[tuple[Limit, str, float]]:
    """Where the curves meet limits: limit, curve, value of the setting, straight between scenarios."""
    if drawn.across is None or isinstance(drawn.x, list):
        return []
    return [
        (limit, name, x)
        for limit in limits
        for name, rows in drawn.curves.items()
        for x in met(drawn.x[rows], limit.room(found[limit.key][rows]))
    ]


def _answer(found: StudyTable, drawn: Curves, crossed: Sequence[tuple[Limit, str, float]]) -> str:
    said = f"{len(found)} scenarios"
    if drawn.across is not None and not isinstance(drawn.x, list):
        ends = f"{number(float(drawn.x.min()))} to {number(float(drawn.x.max()))}{behind(drawn.across.unit)}"
        said += f" over {drawn.across.key}, {ends}"
    if not crossed or drawn.across is None:
        return f"{said}; no reading shown meets a limit of the case."
    limit, name, x = crossed[0]
    more = f", and {len(crossed) - 1} more" if len(crossed) > 1 else ""
    at = f"{number(x)}{behind(drawn.across.unit)}{f' ({name})' if name else ''}"
    return f"{said}; {limit} is just met at {at}{more}."


def _failures(found: StudyTable) -> Iterator[str]:
    for reason, count in found.failures().items():
        yield f"{count} of {len(found)} have no solution: {reason.text}."


def _figure(
    found: StudyTable,
    drawn: Curves,
    column: study.Column,
    limits: Sequence[Limit],
    crossed: Sequence[tuple[Limit, str, float]],
) -> Figure:
    own = [limit for limit in limits if limit.key == column.key]
    points = [(x, limit.bound) for limit, _, x in crossed if limit.key == column.key]
    traces = [_curve(found, drawn, column, k, name) for k, name in enumerate(drawn.curves)]
    traces += _limits(drawn, own, points, column)
    legend = [Key(name, line=_style(k)[0], dash=_style(k)[1]) for k, name in enumerate(drawn.curves) if name]
    legend += [Key(str(limit), line=RED, dash="dot") for limit in own]
    legend += [Key("the limit is just met", mark="\N{LARGE CIRCLE}")] if points else []
    upright = wrap(titled(column.key, column.unit), _UPRIGHT, break_long_words=False)
    layout = {
        "height": 380, "showlegend": False, "margin": {"l": 80, "r": 30, "t": 20, "b": 60},
        "xaxis": {"title": {"text": safe(drawn.title, WHOLE)}, "zeroline": False},
        "yaxis": {
            "title": {"text": "<br>".join(upright)},
            "zeroline": False, "automargin": True, "exponentformat": "none",
        },
    }  # fmt: skip
    keep = [c for c in found.columns if c.varied or c == column]
    name = f"sweep-{column.key}".replace(".", "-").replace("*", "all")
    about = f"Over {drawn.title}, a point for each scenario; a gap where there is no solution."
    title = f"{capital(label(column.key))} over {drawn.title}"
    return Figure(
        name, title, about, {"": (traces, {})}, layout, _scenarios(found, keep), legend=tuple(legend)
    )


def _curve(found: StudyTable, drawn: Curves, column: study.Column, k: int, name: str) -> dict[str, Any]:
    rows = list(drawn.curves.values())[k]
    colour, dash = _style(k)
    y, unit = found[column.key][rows], behind(column.unit)
    x = [safe(drawn.x[i]) for i in rows] if isinstance(drawn.x, list) else rounded(drawn.x[rows].tolist())
    return {
        "type": "scatter",
        "mode": "markers" if drawn.across is None else "lines+markers" if len(rows) <= _MARKED else "lines",
        "x": x,
        "y": [None if np.isnan(v) else r for v, r in zip(y, rounded(y.tolist()), strict=True)],
        "name": safe(name, 60),
        "line": {"color": colour, "dash": dash, "width": 2.5},
        "marker": {"color": colour, "symbol": MARKS[k % len(MARKS)], "size": 7},
        "hovertemplate": f"{safe(name, 60)} %{{x:.4~g}}: %{{y:.4~g}}{unit}<extra></extra>"
        if not isinstance(drawn.x, list)
        else f"{safe(name, 60)} %{{x}}: %{{y:.4~g}}{unit}<extra></extra>",
    }


def _limits(
    drawn: Curves, own: Sequence[Limit], points: Sequence[tuple[float, float]], column: study.Column
) -> Traces:
    x = drawn.x if isinstance(drawn.x, list) else [float(drawn.x.min()), float(drawn.x.max())]
    traces: Traces = [
        {"type": "scatter", "mode": "lines", "x": [x[0], x[-1]], "y": [limit.bound] * 2, "name": "limit",
         "line": {"color": RED, "dash": "dot", "width": 2},
         "hovertemplate": f"limit %{{y:.4~g}}{behind(column.unit)}<extra></extra>"}
        for limit in own
    ]  # fmt: skip
    if points:
        traces.append({
            "type": "scatter", "mode": "markers", "x": rounded([x for x, _ in points]),
            "y": rounded([y for _, y in points]), "name": "just met", "cliponaxis": False,
            "marker": {"color": RED, "symbol": "circle-open", "size": 14, "line": {"width": 3}},
            "hovertemplate": "just met at %{x:.4~g}<extra></extra>",
        })  # fmt: skip
    return traces


def _places(drawn: Curves, crossed: Sequence[tuple[Limit, str, float]]) -> Table:
    assert drawn.across is not None
    columns = (Column("limit"), Column("curve"), Column(drawn.across.key, drawn.across.unit.strip("-")))
    rows: list[tuple[Cell, ...]] = [(str(limit), plain(name) or "-", x) for limit, name, x in crossed]
    note = "Straight between the two scenarios on either side; take more of them for a closer place."
    return Table("Where limits are just met", columns, tuple(rows), (note,), stub=2)


def _scenarios(found: StudyTable, keep: Sequence[study.Column] | None = None) -> Table:
    pairs = [(c, x) for c, x in zip(found.columns, found.cells(), strict=True) if keep is None or c in keep]
    reasons = found.reasons()
    noted = any(reasons)
    columns = (*(Column(c.key, c.unit.strip("-")) for c, _ in pairs), *((Column("reason"),) if noted else ()))
    cells = [_listed(x) for _, x in pairs] + ([reasons] if noted else [])
    return Table("Scenarios", columns, tuple(zip(*cells, strict=True)), stub=sum(c.varied for c, _ in pairs))


def _style(k: int) -> tuple[str, str]:
    strong = [c for c in COLOURS if c != RED]
    return strong[k % len(strong)], DASHES[k % len(DASHES)]


def _title(column: study.Column) -> str:
    return label(column.key) if column.unit in ("", "-") else f"{label(column.key)}, {column.unit}"


def _listed(cells: list[str] | Floats) -> list[Any]:
    return [plain(cell) for cell in cells] if isinstance(cells, list) else cells.tolist()


def _plain_cells(found: StudyTable) -> list[list[Any]]:
    return [_listed(cells) for cells in found.cells()]


def _said(cell: str | float) -> str:
    return plain(cell) if isinstance(cell, str) else number(float(cell))
