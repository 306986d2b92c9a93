"""The window of two settings: the line of each limit, the regions between them, each reading over it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np

from pyrobal.arrays import Floats
from pyrobal.errors import Reason
from pyrobal.report.figures.figure import (
    COLOURS,
    DASHES,
    GREEN,
    GREY,
    RED,
    WHOLE,
    Figure,
    Key,
    Traces,
    rounded,
    safe,
    titled,
    veiled,
)
from pyrobal.report.labels import label
from pyrobal.report.numbers import number
from pyrobal.report.tables import Cell, Column, Table
from pyrobal.studies.edges import FEASIBLE, Line, Regions, line, regions
from pyrobal.studies.window import Window
from pyrobal.units import behind

_MOST: Final = 120  # grid points a side of a reading's levels; of a finer grid every second, third, ...
_LAYOUT: Final = {"height": 560, "margin": {"l": 80, "r": 30, "t": 20, "b": 60}, "showlegend": False}
_FAINT: Final = 0.3  # of the colours of regions
_SPECK: Final = 0.002  # share of the window below which a region has no number in the picture


def draw(found: Window) -> Figure:
    """The picture by limits, and one of each reading; the lines of the limits are in all of them."""
    parted = regions(found)
    lines = [line(found, i) for i in range(len(found.limits))]
    over = [*_lines(found, lines), *_best(found)]
    pictures = {"limits": ([_cells(found, parted), *over, _numbers(parted)], _axes(found))}
    thin = _thinned(found)
    for key, values in found.readings.items():
        pictures[key] = ([_levels(found, thin, key, values), *over], _axes(found))
    error = max((one.error for one in lines), default=0.0)
    return Figure(
        "window",
        "Where every limit is kept",
        "Each line is where one limit is just met, straight between the points of the grid and within "
        f"{number(max(error, 0.001), 2)} of its step; a number in the picture stands in the legend with what "
        "is broken there. Where the answer ends is known to half a step. Each reading can be shown instead, "
        "by lines of equal value.",
        pictures,
        _LAYOUT,
        lines_table(found, lines),
        legend=tuple(_legend(found, parted, lines)),
    )


def shares(found: Window) -> Table:
    """How much of the window each region has."""
    parted = regions(found)
    rows: list[tuple[Cell, ...]] = [
        (str(k), text, 100.0 * share)
        for k, (text, share) in enumerate(zip(_texts(found, parted), parted.shares, strict=True), 1)
    ]
    return Table("The window", (Column("region"), Column("what"), Column("share", "%")), tuple(rows), stub=2)


def lines_table(found: Window, lines: Sequence[Line]) -> Table:
    """Where the line of each limit meets the grid, and how far off that may be."""
    columns = (Column("limit"), *(Column(axis.key, axis.unit.strip("-")) for axis in (found.x, found.y)))
    rows: list[tuple[Cell, ...]] = [
        (str(limit), *point)
        for limit, one in zip(found.limits, lines, strict=True)
        for point in one.crossings.tolist()
    ]
    notes = tuple(
        f"{limit}: within {number(max(one.error, 0.001), 2)} of a step of the grid."
        for limit, one in zip(found.limits, lines, strict=True)
        if one.pieces
    )
    return Table("Where each limit is just met", columns, tuple(rows), notes)


def _texts(found: Window, parted: Regions) -> Iterator[str]:
    """What is said of each region: every limit that is broken in it, or why it has no answer."""
    for kind in parted.kinds:
        if isinstance(kind, Reason):
            yield f"no solution: {kind.text}"
        else:
            yield f"breaks {' and '.join(str(found.limits[i]) for i in kind)}" if kind else FEASIBLE


def _colours(parted: Regions) -> list[str]:
    """Of each region: pale green where all is kept, grey without an answer."""
    others = iter([c for c in COLOURS if c not in (GREEN, GREY)] * len(parted.kinds))
    return [
        veiled(GREEN if kind == () else GREY if isinstance(kind, Reason) else next(others), _FAINT)
        for kind in parted.kinds
    ]


def _style(i: int) -> tuple[str, str]:
    """Colour and dash of the line of a limit."""
    strong = [RED, *(c for c in COLOURS if c not in (RED, GREY))]
    return strong[i % len(strong)], DASHES[i % len(DASHES)]


def _legend(found: Window, parted: Regions, lines: Sequence[Line]) -> Iterator[Key]:
    for k, text in enumerate(_texts(found, parted)):
        yield Key(f"{text}: {number(100 * parted.shares[k], 3)} %", fill=_colours(parted)[k], mark=str(k + 1))
    for i, (limit, one) in enumerate(zip(found.limits, lines, strict=True)):
        if one.pieces:
            colour, dash = _style(i)
            yield Key(f"{limit} is just met", line=colour, dash=dash)
    if found.best is not None and found.goal is not None:
        at = ", ".join(
            f"{axis.key} = {number(x)}{behind(axis.unit)}"
            for axis, x in ((found.x, found.best.x), (found.y, found.best.y))
        )
        yield Key(f"best point, {found.goal}: {at}", mark="\N{BLACK STAR}")


def _thinned(found: Window) -> tuple[slice, slice]:
    """Rows and columns of a reading that are drawn."""
    up, across = (slice(None, None, -(-n // _MOST)) for n in found.reason.shape)
    return up, across


def _cells(found: Window, parted: Regions) -> dict[str, Any]:
    n, colours = len(parted.kinds), _colours(parted)
    steps = [[edge, colours[k]] for k in range(n) for edge in (k / n, (k + 1) / n)]
    return {
        "type": "heatmap",
        "x": rounded(parted.x.tolist()),
        "y": rounded(parted.y.tolist()),
        "z": parted.cells.tolist(),
        "zmin": -0.5,
        "zmax": n - 0.5,
        "colorscale": steps,
        "showscale": False,
        "hovertemplate": f"{_point(found)}<extra></extra>",
    }


def _point(found: Window) -> str:
    return ", ".join(
        f"{safe(label(axis.key), WHOLE)} %{{{letter}:.4~g}}{behind(axis.unit)}"
        for axis, letter in ((found.x, "x"), (found.y, "y"))
    )


def _numbers(parted: Regions) -> dict[str, Any]:
    """One number in the widest place of each region."""
    from scipy.ndimage import distance_transform_edt

    points = []
    for k in range(len(parted.kinds)):
        inside = np.pad(parted.cells == k, 1)
        if inside.mean() > _SPECK:
            depth = distance_transform_edt(inside)[1:-1, 1:-1]
            row, column = np.unravel_index(int(depth.argmax()), depth.shape)
            points.append((float(parted.x[column]), float(parted.y[row]), str(k + 1)))
    return {
        "type": "scatter",
        "mode": "text",
        "x": [x for x, _, _ in points],
        "y": [y for _, y, _ in points],
        "text": [text for _, _, text in points],
        "textfont": {"size": 16},
        "hoverinfo": "skip",
    }


def _levels(found: Window, thin: tuple[slice, slice], key: str, values: Floats) -> dict[str, Any]:
    up, across = thin
    unit = behind(found.unit_of(key))
    return {
        "type": "contour",
        "x": rounded(found.x_values[across].tolist()),
        "y": rounded(found.y_values[up].tolist()),
        "z": _nullable(values[thin]),
        "contours": {"coloring": "lines", "showlabels": True, "labelfont": {"size": 12}},
        "line": {"width": 1.5, "smoothing": 0.6},
        "colorscale": [[0.0, GREY], [1.0, GREY]],
        "showscale": False,
        "hovertemplate": f"{_point(found)}: {safe(label(key), WHOLE)} %{{z:.4~g}}{unit}<extra></extra>",
    }


def _lines(found: Window, lines: Sequence[Line]) -> Traces:
    """The line of each limit, its pieces parted by gaps."""
    traces = []
    for i, (limit, one) in enumerate(zip(found.limits, lines, strict=True)):
        if not one.pieces:
            continue
        colour, dash = _style(i)
        runs = [[*piece, None] for piece in one.pieces]
        points = [point for run in runs for point in run][:-1]
        x, y = ([None if p is None else rounded([p[k]])[0] for p in points] for k in (0, 1))
        traces.append({
            "type": "scatter", "mode": "lines", "x": x, "y": y, "name": safe(label(limit.key), WHOLE),
            "line": {"color": colour, "dash": dash, "width": 3},
            "hovertemplate": f"{_point(found)}: {safe(label(limit.key), WHOLE)} at its limit<extra></extra>",
        })  # fmt: skip
    return traces


def _best(found: Window) -> Traces:
    if found.best is None:
        return []
    return [{
        "type": "scatter", "mode": "markers", "x": [found.best.x], "y": [found.best.y], "cliponaxis": False,
        "marker": {"symbol": "star", "size": 18, "color": RED, "line": {"color": "#FFFFFF", "width": 1.5}},
        "hovertemplate": f"best: {_point(found)}<extra></extra>",
    }]  # fmt: skip


def _nullable(values: Floats) -> list[list[float | None]]:
    return [
        [None if np.isnan(x) else one for x, one in zip(row, rounded(row), strict=True)] for row in values
    ]


def _axes(found: Window) -> dict[str, Any]:
    return {
        f"{letter}axis": {
            "title": {"text": titled(axis.key, axis.unit)},
            "showgrid": False,
            "zeroline": False,
        }
        for letter, axis in (("x", found.x), ("y", found.y))
    }
