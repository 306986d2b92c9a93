"""Where the cards of the steps and the bands between them stand.

Each step is a card with a line of text for each stream, so no label can lie on another. ``across`` sets the
cards in columns, in the order the material goes; ``down`` below each other, for narrow screens. A band to the
next column is one curve; any other takes a track of its own above or below the cards, with room of its own in
the gaps, so that bands run beside and not over each other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Final

from pyrobal.report.picture.bands import Band

ROW, FIGURE_ROW, HEAD, FOOT = 19.0, 31.0, 30.0, 8.0  # heights: a line, one with its figure, title, end
NOTE: Final = 14.0  # height of a line below the title
GAP, STUB, CLEAR = 26.0, 20.0, 5.0  # between cards; a band from or to outside; between two bands
CARD: Final = {"across": 172.0, "down": 196.0}  # width
WIDEST: Final = {"across": 40.0, "down": 14.0}  # band
TOP_LANE: Final = ("gas_train", "acid_plant")  # their bands run above the cards
LOW_LANE: Final = ("slag_cleaning",)  # stands below the others of its column
_MARGIN: Final = 10.0
_LEAST_GAP: Final = 46.0  # between two columns

_NONE: Final[Mapping[str, Sequence[str]]] = {}

Point = tuple[float, float]


@dataclass(frozen=True)
class Row:
    """One stream in a card. y : its middle; coming : whether it goes in; right : on which side it ends."""

    band: int
    y: float
    coming: bool
    right: bool


@dataclass(frozen=True)
class Card:
    """A step. notes : lines below its title."""

    step: str
    x: float
    y: float
    width: float
    height: float
    rows: tuple[Row, ...]
    notes: Sequence[str] = ()


@dataclass(frozen=True)
class Line:
    """The middle of a band, from its beginning to its end; ``curved`` for one bow, else rounded corners."""

    band: int
    points: tuple[Point, ...]
    curved: bool


@dataclass(frozen=True)
class Layout:
    """A picture without its colours."""

    width: float
    height: float
    cards: tuple[Card, ...]
    lines: tuple[Line, ...]


@dataclass
class _Draft:
    """What both ways of setting need: who stands where, how thick each band is at most, what is noted."""

    steps: Sequence[str]
    bands: Sequence[Band]
    thick: Sequence[float]
    notes: Mapping[str, Sequence[str]]
    column: Mapping[str, int] = field(default_factory=dict)

    def of(self, step: str, coming: bool) -> list[int]:
        return [i for i, b in enumerate(self.bands) if (b.target if coming else b.source) == step]

    def back(self, i: int) -> bool:
        """Whether the band goes back to an earlier step or to its own."""
        b = self.bands[i]
        return bool(b.source and b.target) and self.steps.index(b.target) <= self.steps.index(b.source)

    def height(self, i: int, coming: bool) -> float:
        figure = self.bands[i].figure and not coming
        return max(FIGURE_ROW if figure else ROW, self.thick[i] + 4.0)

    def rows(
        self,
        step: str,
        top: float,
        order: Callable[[int, bool], tuple[float, ...]],
        right: Callable[[int, bool], bool],
    ) -> tuple[list[Row], float]:
        """The lines of a card that begins at ``top``, what comes in first, and the height of the card."""
        y, rows = top + HEAD + NOTE * len(self.notes.get(step, ())), []
        for coming in (True, False):
            for i in sorted(self.of(step, coming), key=lambda i, c=coming: order(i, c)):  # type: ignore[misc]
                rows.append(Row(i, y + self.height(i, coming) / 2, coming, right(i, coming)))
                y += self.height(i, coming)
            y += 4.0 if coming else 0.0
        return rows, y + FOOT - top


def columns(steps: Sequence[str], bands: Sequence[Band]) -> dict[str, int]:
    """Step -> column: one further than the furthest step that gives it something on the way forward; last
    what nothing leads to or from, as where there is no answer to it."""
    found: dict[str, int] = {}
    joined = {end for b in bands for end in (b.source, b.target)}
    for step in steps:
        if step not in joined:
            continue
        before = [
            found[b.source] for b in bands if b.target == step and b.source in found and b.source != step
        ]
        found[step] = max(before, default=-1) + 1
    last = max(found.values(), default=-1) + 1
    return {step: found.get(step, last) for step in steps}


def across(
    steps: Sequence[str],
    bands: Sequence[Band],
    thick: Sequence[float],
    notes: Mapping[str, Sequence[str]] = _NONE,
) -> Layout:
    """Cards in columns from left to right.

    thick : [px] of each band at its thickest; notes : step -> lines below its title
    """
    d = _Draft(steps, bands, thick, notes, columns(steps, bands))
    above, below = _tracked(d)
    rank = {i: k for k, i in enumerate(above)} | {i: -k for k, i in enumerate(below)}

    def order(i: int, coming: bool) -> tuple[float, ...]:
        b = bands[i]
        outside = not (b.source if coming else b.target)
        place = 0 if i in above else 3 if i in below else 2 if outside else 1
        return place, rank.get(i, 0), _lane(b.source if coming else b.target), i

    top = _MARGIN + sum(thick[i] + CLEAR for i in above) + (GAP / 2 if above else 0.0)
    rows, tops, heights = {}, {}, {}
    for standing in _stacks(d):
        y = top
        for step in standing:
            tops[step] = y
            rows[step], heights[step] = d.rows(step, y, order, lambda i, coming: not coming)
            y += heights[step] + GAP
    left, width = _gaps(d, above, below)
    cards = {
        s: Card(s, left[d.column[s]], tops[s], CARD["across"], heights[s], tuple(rows[s]), notes.get(s, ()))
        for s in steps
    }
    bottom = max(card.y + card.height for card in cards.values())
    tracks = _levels(d, above, _MARGIN) | _levels(d, below[::-1], bottom + GAP / 2)
    height = max([bottom, *(tracks[i] + thick[i] / 2 for i in below)]) + _MARGIN
    ends = {(row.band, row.coming): (card, row.y) for card in cards.values() for row in card.rows}
    shift = _offsets(d, above, below, ends)
    lines = tuple(_line(d, i, ends, tracks, shift) for i in range(len(bands)))
    return Layout(width, height, tuple(cards.values()), lines)


def _tracked(d: _Draft) -> tuple[list[int], list[int]]:
    """Bands that take a track above or below the cards, the outermost first."""
    apart = [
        i
        for i, b in enumerate(d.bands)
        if b.source and b.target and d.column[b.target] != d.column[b.source] + 1
    ]
    above = [i for i in apart if d.bands[i].source in TOP_LANE or d.bands[i].target in TOP_LANE]
    below = [i for i in apart if i not in above]

    def outermost(i: int) -> tuple[bool, int, int]:
        return not d.back(i), d.column[d.bands[i].source], i

    return sorted(above, key=outermost), sorted(below, key=outermost)


def _stacks(d: _Draft) -> list[list[str]]:
    """The steps of each column, from the top."""
    stacks: list[list[str]] = [[] for _ in range(max(d.column.values()) + 1)]
    for step in sorted(d.steps, key=_lane):
        stacks[d.column[step]].append(step)
    return stacks


def _lane(step: str) -> int:
    """Where a step stands in its column: above, -1, or below, 1, the others."""
    return (step in LOW_LANE) - (step in TOP_LANE)


def _levels(d: _Draft, tracked: Sequence[int], start: float) -> dict[int, float]:
    """The height of each track, one below the other from ``start``."""
    found, y = {}, start
    for i in tracked:
        found[i] = y + d.thick[i] / 2
        y += d.thick[i] + CLEAR
    return found


def _gaps(d: _Draft, above: Sequence[int], below: Sequence[int]) -> tuple[list[float], float]:
    """Where each column begins, and the whole width: each gap has room for what rises and falls in it."""
    count = max(d.column.values()) + 1
    need = [[0.0, 0.0] for _ in range(count + 1)]  # leaving the column before, entering the column behind
    for tracked in (above, below):
        leaving, entering = [0.0] * (count + 1), [0.0] * (count + 1)
        for i in tracked:
            leaving[d.column[d.bands[i].source] + 1] += d.thick[i] + CLEAR
            entering[d.column[d.bands[i].target]] += d.thick[i] + CLEAR
        need = [[max(n[0], a), max(n[1], b)] for n, a, b in zip(need, leaving, entering, strict=True)]
    gaps = [
        max(_LEAST_GAP, STUB + 16.0 + sum(n)) if 0 < k < count else STUB + 12.0 + sum(n)
        for k, n in enumerate(need)
    ]
    left, x = [], 0.0
    for k in range(count):
        x += gaps[k]
        left.append(x)
        x += CARD["across"]
    return left, x + gaps[count]


def _offsets(
    d: _Draft, above: Sequence[int], below: Sequence[int], ends: Mapping[tuple[int, bool], tuple[Card, float]]
) -> dict[tuple[int, bool], float]:
    """How far from its card each tracked band rises or falls: the one next to its track nearest."""
    found: dict[tuple[int, bool], float] = {}
    for tracked, way in ((above, 1.0), (below, -1.0)):
        for coming in (True, False):
            used: dict[int, float] = {}
            for i in sorted(tracked, key=lambda i, c=coming, w=way: w * ends[i, c][1]):  # type: ignore[misc]
                column = d.column[d.bands[i].target if coming else d.bands[i].source]
                at = used.get(column, STUB - 6.0)
                found[i, coming] = at + d.thick[i] / 2
                used[column] = at + d.thick[i] + CLEAR
    return found


def _line(
    d: _Draft,
    i: int,
    ends: Mapping[tuple[int, bool], tuple[Card, float]],
    tracks: Mapping[int, float],
    shift: Mapping[tuple[int, bool], float],
) -> Line:
    start, end = ends.get((i, False)), ends.get((i, True))
    if start is None:
        assert end is not None
        card, y = end
        return Line(i, ((card.x - STUB, y), (card.x, y)), False)
    card, y = start
    x = card.x + card.width
    if end is None:
        return Line(i, ((x, y), (x + STUB, y)), False)
    to, y_to = end
    if i not in tracks:
        return Line(i, ((x, y), (to.x, y_to)), True)
    out, into, level = x + shift[i, False], to.x - shift[i, True], tracks[i]
    return Line(i, ((x, y), (out, y), (out, level), (into, level), (into, y_to), (to.x, y_to)), False)


def down(
    steps: Sequence[str],
    bands: Sequence[Band],
    thick: Sequence[float],
    notes: Mapping[str, Sequence[str]] = _NONE,
) -> Layout:
    """Cards below each other: on the right what goes on to a later step, on the left what goes back."""
    d = _Draft(steps, bands, thick, notes)

    def right(i: int, coming: bool) -> bool:
        b = bands[i]
        return not d.back(i) if b.source and b.target else not coming

    rows, tops, heights, y = {}, {}, {}, _MARGIN
    for step in steps:
        rows[step], heights[step] = d.rows(
            step, y, lambda i, coming: (float(right(i, coming) != coming), i), right
        )
        tops[step] = y
        y += heights[step] + GAP / 2
    at = {(row.band, row.coming): row.y for step in steps for row in rows[step]}
    between = [i for i, b in enumerate(bands) if b.source and b.target]
    left = _channels(d, [i for i in between if d.back(i)], at)
    side = _channels(d, [i for i in between if not d.back(i)], at)
    x = _MARGIN + max([STUB, *(v + thick[i] / 2 for i, v in left.items())])
    edge = x + CARD["down"]
    cards = tuple(
        Card(s, x, tops[s], CARD["down"], heights[s], tuple(rows[s]), notes.get(s, ())) for s in steps
    )
    lines = tuple(_side_line(i, at, x, edge, left, side) for i in range(len(bands)))
    width = edge + max([STUB, *(v + thick[i] / 2 for i, v in side.items())]) + _MARGIN
    return Layout(width, y - GAP / 2 + _MARGIN, cards, lines)


def _channels(d: _Draft, some: Sequence[int], at: Mapping[tuple[int, bool], float]) -> dict[int, float]:
    """How far from the cards each band runs, short ones nearest; bands that never meet share a channel."""
    found: dict[int, float] = {}
    spans = {i: sorted((at[i, False], at[i, True])) for i in some}
    for i in sorted(some, key=lambda i: spans[i][1] - spans[i][0]):
        low, high = (spans[i][0] - d.thick[i], spans[i][1] + d.thick[i])
        taken = sorted(
            (x - d.thick[k] / 2, x + d.thick[k] / 2)
            for k, x in found.items()
            if spans[k][0] - d.thick[k] < high and spans[k][1] + d.thick[k] > low
        )
        edges = [(0.0, STUB - 4.0), *taken, (float("inf"), float("inf"))]
        reach = 0.0
        for (_, b), (a, _) in pairwise(edges):
            reach = max(reach, b)
            if a - reach >= d.thick[i] + 2 * CLEAR:
                break
        found[i] = reach + CLEAR + d.thick[i] / 2
    return found


def _side_line(
    i: int,
    at: Mapping[tuple[int, bool], float],
    x: float,
    edge: float,
    left: Mapping[int, float],
    right: Mapping[int, float],
) -> Line:
    start, end = at.get((i, False)), at.get((i, True))
    if start is None:
        assert end is not None
        return Line(i, ((x - STUB, end), (x, end)), False)
    if end is None:
        return Line(i, ((edge, start), (edge + STUB, start)), False)
    foot, out = (x, x - left[i]) if i in left else (edge, edge + right[i])
    return Line(i, ((foot, start), (out, start), (out, end), (foot, end)), False)


def levelled(layouts: Sequence[Layout], down: bool) -> list[Layout]:
    """Layouts of one width, so that they are enlarged alike; drawn down, with each step at one height."""
    width = max(layout.width for layout in layouts)
    if not down:
        return [replace(layout, width=width) for layout in layouts]
    tops, y = {}, _MARGIN
    for step in _merged([[card.step for card in layout.cards] for layout in layouts]):
        tops[step] = y
        y += max(c.height for layout in layouts for c in layout.cards if c.step == step) + GAP / 2
    moved = (_moved(layout, tops) for layout in layouts)
    return [replace(one, width=width, height=_bottom(one) + _MARGIN) for one in moved]


def _bottom(layout: Layout) -> float:
    return max((card.y + card.height for card in layout.cards), default=0.0)


def _merged(orders: Sequence[Sequence[str]]) -> list[str]:
    """All steps; one that is not in the first order stands behind the one before it in its own."""
    found = list(orders[0])
    for order in orders[1:]:
        at = 0
        for step in order:
            if step not in found:
                found.insert(at, step)
            at = found.index(step) + 1
    return found


def _moved(layout: Layout, tops: Mapping[str, float]) -> Layout:
    """Each card at its new height, with its rows and the ends of its bands: a picture drawn down has no other
    heights."""
    shift = {row.y: tops[card.step] - card.y for card in layout.cards for row in card.rows}
    cards = [
        replace(
            card, y=tops[card.step], rows=tuple(replace(row, y=row.y + shift[row.y]) for row in card.rows)
        )
        for card in layout.cards
    ]
    lines = [replace(line, points=tuple((x, y + shift[y]) for x, y in line.points)) for line in layout.lines]
    return replace(layout, cards=tuple(cards), lines=tuple(lines))
