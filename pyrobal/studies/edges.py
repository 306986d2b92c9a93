"""Where the limits of a window run between its grid points, and which of them are broken on either side.

Between neighbours of the grid the margin of a limit is taken as a straight line, so that a limit is met where
it passes through nought (marching squares: Lorensen & Cline 1987, in two dimensions; from memory). How far
that can be from the true place follows from the bend of the margin at the two neighbours.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pyrobal.arrays import Bools, FloatN, Floats
from pyrobal.errors import Reason
from pyrobal.studies.window import Ints, Window

_FINE: Final = 240  # cells a side into which the regions are parted
FEASIBLE: Final = "every limit is kept"

Edge = tuple[int, int, int]  # row, column, 0 to the right or 1 upwards
Place = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Line:
    """Where one limit is just met.

    pieces : each a run of points (x, y) in plant units; one that ends where it began is closed
    crossings : (K, 2) where it meets the lines of the grid, each in an interval between two grid points
    error : how far a crossing may be from the true place, the largest, in steps of the grid
    """

    pieces: tuple[tuple[Place, ...], ...]
    crossings: Floats
    error: float


@dataclass(frozen=True, eq=False)
class Regions:
    """The window parted by the limits that are broken.

    x, y : centres of fine cells; cells (len(y), len(x)) : the number of a region among ``kinds``
    kinds : limits that are broken, none where all are kept; or the reason why there is no answer
    shares : of the grid points, of each kind
    """

    x: Floats
    y: Floats
    cells: Ints
    kinds: tuple[tuple[int, ...] | Reason, ...]
    shares: tuple[float, ...]


def line(found: Window, i: int) -> Line:
    """The line of the limit of number ``i``."""
    return _along(found, found.rooms[i])


def level(found: Window, key: str, value: float) -> Line:
    """Where a reading is a value."""
    return _along(found, found.readings[key] - value)


def _along(found: Window, room: Floats) -> Line:
    """Where a room (Y, X) is nought."""
    room = np.where(found.reason == Reason.SOLVED, room, np.nan)
    at = _crossings(room)
    place = {edge: _place(found, edge, part) for edge, (part, _) in at.items()}
    pieces = tuple(tuple(place[e] for e in piece) for piece in _chained(list(_segments(room, at))))
    error = max((error for _, error in at.values()), default=0.0)
    return Line(pieces, np.array(list(place.values())).reshape(-1, 2), error)


def _crossings(room: Floats) -> dict[Edge, tuple[float, float]]:
    """Edge of the grid -> how far along it the room is nought, and how far off that may be, both in steps."""
    found: dict[Edge, tuple[float, float]] = {}
    for way in (0, 1):
        r = room if way == 0 else room.T
        bend = np.full_like(r, np.nan)
        if r.shape[1] > 2:
            bend[:, 1:-1] = np.abs(np.diff(r, 2, axis=1))
        a, b = r[:, :-1], r[:, 1:]
        for j, k in np.argwhere((a >= 0) != (b >= 0)):
            low, high = float(a[j, k]), float(b[j, k])
            if not np.isfinite(low) or not np.isfinite(high):
                continue
            known = bend[j, k : k + 2][np.isfinite(bend[j, k : k + 2])]
            off = float(known.mean()) / (2 * abs(high - low)) if known.size else 1.0
            edge = (int(j), int(k), 0) if way == 0 else (int(k), int(j), 1)
            found[edge] = (low / (low - high), min(off, 1.0))
    return found


def _place(found: Window, edge: Edge, part: float) -> Place:
    row, column, way = edge
    x, y = found.x_values, found.y_values
    if way == 0:
        return float(x[column] + part * (x[column + 1] - x[column])), float(y[row])
    return float(x[column]), float(y[row] + part * (y[row + 1] - y[row]))


def _segments(room: Floats, at: dict[Edge, tuple[float, float]]) -> Iterator[tuple[Edge, Edge]]:
    """The piece, or the two, of the line within each cell of the grid."""
    rows, columns = room.shape
    cells = {
        cell
        for row, column, way in at
        for cell in ([(row, column), (row - 1, column)] if way == 0 else [(row, column), (row, column - 1)])
    }
    for row, column in sorted(cells):
        if not (0 <= row < rows - 1 and 0 <= column < columns - 1):
            continue
        around = [(row, column, 0), (row, column + 1, 1), (row + 1, column, 0), (row, column, 1)]
        met = [edge for edge in around if edge in at]
        if len(met) == 2:
            yield met[0], met[1]
        elif len(met) == 4:  # a saddle: its middle says which corners are together
            corners = room[row : row + 2, column : column + 2]
            first = bool(corners.mean() >= 0) == bool(corners[0, 0] >= 0)
            yield from ((met[0], met[1]), (met[2], met[3])) if first else ((met[3], met[0]), (met[1], met[2]))


def _chained(segments: Sequence[tuple[Edge, Edge]]) -> Iterator[list[Edge]]:
    """Segments end to end."""
    joined: dict[Edge, list[Edge]] = {}
    for a, b in segments:
        joined.setdefault(a, []).append(b)
        joined.setdefault(b, []).append(a)
    ends = [edge for edge, others in joined.items() if len(others) == 1]
    for start in (*ends, *joined):
        if not joined[start]:
            continue
        piece = [start]
        while joined[piece[-1]]:
            after = joined[piece[-1]].pop()
            joined[after].remove(piece[-1])
            piece.append(after)
        yield piece


def regions(found: Window) -> Regions:
    """The regions, those that keep every limit first, then the largest.

    Between a point with an answer and one without, the nearer one counts; the best point is such a point too.
    """
    rows, columns = found.reason.shape
    fine_x, fine_y = (_centres(n) for n in (columns, rows))
    near = np.ix_(*(np.rint(fine).astype(int) for fine in (fine_y, fine_x)))
    broken = np.stack([_between(room, fine_x, fine_y) for room in found.rooms]) < 0
    unknown = np.stack([np.isnan(_between(room, fine_x, fine_y)) for room in found.rooms])
    broken = np.where(unknown, np.stack([room[near] for room in found.rooms]) < 0, broken)
    x, y = (
        np.interp(f, np.arange(len(v)), v) for f, v in ((fine_x, found.x_values), (fine_y, found.y_values))
    )
    reason = found.reason[near]
    kept = (reason != Reason.SOLVED) & _nearer_to_best(found, fine_x, fine_y, x, y)
    broken, reason = broken & ~kept, np.where(kept, Reason.SOLVED, reason)
    kinds: list[tuple[int, ...] | Reason] = []
    cells = _numbered(broken, reason, kinds)
    shown = _numbered(found.rooms < 0, found.reason, kinds)
    shares = [float((shown == k).mean()) for k in range(len(kinds))]
    order = sorted(
        range(len(kinds)), key=lambda k: (kinds[k] != (), isinstance(kinds[k], Reason), -shares[k])
    )
    places = np.argsort(order)
    told = tuple(kinds[k] for k in order)
    return Regions(x, y, places[cells], told, tuple(shares[k] for k in order))


def _nearer_to_best(found: Window, fine_x: Floats, fine_y: Floats, x: Floats, y: Floats) -> Bools:
    """Fine cells, at ``fine_x`` and ``fine_y`` in steps of the grid, to which the best point is nearer than
    any grid point."""
    if found.best is None:
        return np.zeros((len(y), len(x)), dtype=bool)

    def apart(off_x: Floats, off_y: Floats) -> Floats:
        return np.asarray(np.hypot(off_x[None, :], off_y[:, None]))

    step_x, step_y = (np.ptp(v) / max(len(v) - 1, 1) or 1.0 for v in (found.x_values, found.y_values))
    best = apart((x - found.best.x) / step_x, (y - found.best.y) / step_y)
    return best < apart(fine_x - np.rint(fine_x), fine_y - np.rint(fine_y))


def _centres(points: int) -> Floats:
    """Positions between the first and the last of so many grid points, as many as can be seen."""
    fine = max(_FINE // max(points - 1, 1), 1) * (points - 1)
    return np.linspace(0, points - 1, min(fine, 2 * _FINE) + 1)


def _between(values: Floats, x: Floats, y: Floats) -> Floats:
    """Straight between neighbours, along both axes."""
    rows, columns = values.shape
    i, j = (np.minimum(f.astype(int), max(n - 2, 0)) for f, n in ((y, rows), (x, columns)))
    i1, j1 = np.minimum(i + 1, rows - 1), np.minimum(j + 1, columns - 1)
    u, v = (y - i)[:, None], (x - j)[None, :]
    low = values[np.ix_(i, j)] * (1 - v) + values[np.ix_(i, j1)] * v
    high = values[np.ix_(i1, j)] * (1 - v) + values[np.ix_(i1, j1)] * v
    return np.asarray(low * (1 - u) + high * u)


def _numbered(broken: Bools, reason: Ints, kinds: list[tuple[int, ...] | Reason]) -> Ints:
    """The number of each place's kind; kinds that are new are added."""
    code = np.zeros(reason.shape, dtype=np.int64)
    for i in range(len(broken)):
        code += np.int64(1 << i) * broken[i]
    code = np.where(reason == Reason.SOLVED, code, -reason)
    found = np.zeros_like(code)
    for one in np.unique(code).tolist():
        kind = Reason(-one) if one < 0 else tuple(i for i in range(len(broken)) if one >> i & 1)
        if kind not in kinds:
            kinds.append(kind)
        found[code == one] = kinds.index(kind)
    return found


def met(x: FloatN, room: FloatN) -> list[float]:
    """Values of one setting, in order, between which a room passes through nought: where it does."""
    pairs = zip(x[:-1], x[1:], room[:-1], room[1:], strict=True)
    there = ((a, b, low, high) for a, b, low, high in pairs if np.isfinite(low) and np.isfinite(high))
    return [float(a + (b - a) * low / (low - high)) for a, b, low, high in there if (low >= 0) != (high >= 0)]
