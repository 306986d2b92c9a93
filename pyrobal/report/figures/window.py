"""The window of two settings: the feasible region, what stands in the way elsewhere, each reading over it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from pyrobal.arrays import Floats
from pyrobal.errors import Reason
from pyrobal.report.figures.figure import COLOURS, GREY, RED, Figure, Traces, rounded, veiled
from pyrobal.report.tables import Cell, Column, Table
from pyrobal.studies.variable import Variable
from pyrobal.studies.window import FEASIBLE, LETTERS, NO_ANSWER, Window

_MOST: Final = 120  # cells a side that are drawn; of a finer grid every second, third, ...
_ACROSS, _UP = 30, 16  # letters a side that can be read
_LAYOUT: Final = {
    "height": 560, "margin": {"l": 80, "r": 30, "t": 20, "b": 60}, "legend": {"orientation": "h", "y": -0.16},
}  # fmt: skip
_FAINT: Final = 0.55  # of the colours, so that the letters stand out


def draw(found: Window) -> Figure:
    """The picture by limits, and one of each reading; the edge of the feasible region is in all of them."""
    thin = _thinned(found)
    pictures = {"limits": ([*_regions(found, *thin), *_over(found, thin)], _axes(found))}
    for key, values in found.readings.items():
        unit = next(limit.unit for limit in (*found.limits, found.goal) if limit and limit.key == key)
        pictures[key] = ([_levels(found, thin, values, unit.strip("-")), *_over(found, thin)], _axes(found))
    return Figure(
        "window",
        "Where every limit is kept",
        "The region without a letter keeps every limit; elsewhere a letter names the limit that is broken "
        "the most, measured by its bound. The heavy line is the edge of the feasible region, the star "
        "the best point. Each reading can be shown instead, by lines of equal value.",
        pictures,
        _LAYOUT,
        shares(found),
    )


def shares(found: Window) -> Table:
    """How much of the window each verdict has."""
    rows: list[tuple[Cell, ...]] = [
        (letter or "none", text, 100.0 * float((found.verdict == code).mean()))
        for code, letter, text in _verdicts(found)
    ]
    return Table("The window", (Column("letter"), Column("what"), Column("share", "%")), tuple(rows), stub=2)


def _verdicts(found: Window) -> Iterator[tuple[int, str, str]]:
    """Code, letter and words of all there are, what is feasible first."""
    yield FEASIBLE, "", "every limit is kept"
    for i, limit in enumerate(found.limits):
        yield i, LETTERS[i % len(LETTERS)], f"breaks {limit} the most"
    reasons = sorted({int(code) for code in found.reason.ravel()} - {int(Reason.SOLVED)})
    if reasons:
        yield NO_ANSWER, "x", f"no solution: {'; '.join(Reason(code).text for code in reasons)}"


def _thinned(found: Window) -> tuple[slice, slice]:
    """Rows and columns that are drawn."""
    up, across = (slice(None, None, -(-n // _MOST)) for n in found.verdict.shape)
    return up, across


def _regions(found: Window, up: slice, across: slice) -> Traces:
    verdict = found.verdict[up, across]
    told = [one for one in _verdicts(found) if (found.verdict == one[0]).any()]
    colours = {code: veiled(COLOURS[i % len(COLOURS)], _FAINT) for i, (code, *_) in enumerate(told)}
    colours |= {FEASIBLE: "rgba(0,0,0,0)", NO_ANSWER: veiled(GREY, _FAINT)}
    places = {code: i for i, (code, *_) in enumerate(told)}
    n = len(told)
    steps = [[edge, colours[code]] for i, (code, *_) in enumerate(told) for edge in (i / n, (i + 1) / n)]
    cells: dict[str, Any] = {
        "type": "heatmap",
        **_grid(found, up, across),
        "z": [[places[int(code)] for code in row] for row in verdict],
        "zmin": -0.5,
        "zmax": n - 0.5,
        "colorscale": steps,
        "showscale": False,
        "text": _letters(verdict, {code: letter for code, letter, _ in told}),
        "texttemplate": "%{text}",
        "hovertemplate": "%{x:.4~g}, %{y:.4~g}<extra></extra>",
    }
    return [cells, *(_key(letter, text, colours[code]) for code, letter, text in told)]


def _letters(verdict: Any, letters: dict[int, str]) -> list[list[str]]:
    """A letter in some of the cells, as many as can be read."""
    y, x = (-(-n // most) for n, most in zip(verdict.shape, (_UP, _ACROSS), strict=True))
    return [
        [letters[int(code)] if i % y == y // 2 and j % x == x // 2 else "" for j, code in enumerate(row)]
        for i, row in enumerate(verdict)
    ]


def _key(letter: str, text: str, colour: str) -> dict[str, Any]:
    """A line of the legend, which regions have none of; the table has the whole text."""
    short = text.partition(": ")[0]
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [None],
        "y": [None],
        "name": f"{letter}: {short}" if letter else short,
        "marker": {"symbol": "square", "size": 13, "color": colour, "line": {"color": GREY, "width": 1}},
    }


def _levels(found: Window, thin: tuple[slice, slice], values: Floats, unit: str) -> dict[str, Any]:
    return {
        "type": "contour",
        **_grid(found, *thin),
        "z": _nullable(values[thin]),
        "contours": {"coloring": "lines", "showlabels": True, "labelfont": {"size": 12}},
        "line": {"width": 1.5, "smoothing": 0.6},
        "colorscale": [[0.0, COLOURS[0]], [1.0, COLOURS[0]]],
        "showscale": False,
        "name": unit,
        "hovertemplate": f"%{{x:.4~g}}, %{{y:.4~g}}: %{{z:.4~g}}{unit and f' {unit}'}<extra></extra>",
    }


def _over(found: Window, thin: tuple[slice, slice]) -> Traces:
    """The edge of the feasible region and the best point."""
    edge: dict[str, Any] = {
        "type": "contour",
        **_grid(found, *thin),
        "z": found.feasible[thin].astype(int).tolist(),
        "autocontour": False,
        "contours": {"coloring": "none", "start": 0.5, "end": 0.5, "size": 1.0},
        "line": {"color": RED, "width": 3, "smoothing": 0},
        "showscale": False,
        "hoverinfo": "skip",
        "name": "edge of the feasible region",
    }
    both = found.feasible.any() and not found.feasible.all()
    star = [] if found.best is None else [{
        "type": "scatter", "mode": "markers", "x": [found.best.x], "y": [found.best.y],
        "name": f"best: {found.goal}", "cliponaxis": False,
        "marker": {"symbol": "star", "size": 18, "color": RED, "line": {"color": "#FFFFFF", "width": 1.5}},
        "hovertemplate": "best: %{x:.5~g}, %{y:.5~g}<extra></extra>",
    }]  # fmt: skip
    return [*([edge] if both else []), *star]


def _grid(found: Window, up: slice, across: slice) -> dict[str, list[float]]:
    return {"x": rounded(found.x_values[across].tolist()), "y": rounded(found.y_values[up].tolist())}


def _nullable(values: Floats) -> list[list[float | None]]:
    return [
        [None if np.isnan(x) else one for x, one in zip(row, rounded(row), strict=True)] for row in values
    ]


def _axes(found: Window) -> dict[str, Any]:
    return {
        f"{letter}axis": {"title": {"text": _title(axis)}, "showgrid": False, "zeroline": False}
        for letter, axis in (("x", found.x), ("y", found.y))
    }


def _title(axis: Variable) -> str:
    return axis.key if axis.unit == "-" else f"{axis.key}, {axis.unit}"
