"""The picture as SVG: a text that stands in a page, a notebook or a file of its own.

Each band carries its width and rate for every quantity on offer, so that a page can change between them
without drawing anew; what it shows by itself is the quantity asked for.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from pyrobal.report.numbers import number
from pyrobal.report.picture.bands import HEAT, MASS, Band, bands, quantities, steps, unsolved
from pyrobal.report.picture.layout import HEAD, NOTE, WIDEST, Card, Layout, Line, Row, across, down, levelled
from pyrobal.report.result import Result
from pyrobal.report.tables import words

_LEAST: Final = 1.2  # px, of a band that carries anything
_RADIUS: Final = 9.0
_LARGEST: Final = 1.25  # how much it may be enlarged where there is room
_DIGITS: Final = 3
_LETTERS, _MOST_LINES = 25, 5  # of what a card says of a step without an answer
ALIKE: Final = 0.01  # relative; rates that differ less are not marked
MORE, LESS = "\N{BLACK UP-POINTING TRIANGLE}", "\N{BLACK DOWN-POINTING TRIANGLE}"
_THIN: Final = "\N{NARROW NO-BREAK SPACE}"
_WAYS: Final = {"across": across, "down": down}

# One colour for each kind of matter, told apart by people who see few colours (after Okabe & Ito 2008),
# and by hatching in print.
COLOURS: Final[Mapping[str, str]] = {
    "metal": "#d55e00", "slag": "#6f6f6f", "gas": "#56b4e9", "dust": "#c9a300", "water": "#0072b2",
    "fuel": "#cc79a7", "heat": "#a3195b",
}  # fmt: skip
NAMES: Final[Mapping[str, str]] = {
    "metal": "metal-bearing", "slag": "slag and flux", "gas": "gas and air", "dust": "dust",
    "water": "water and acid", "fuel": "fuel", "heat": "heat without matter",
}  # fmt: skip
_HATCH: Final[Mapping[str, str]] = {  # lines drawn over the colour, in a square of 6
    "slag": "M0 6L6 0", "gas": "M0 3H6", "dust": "M3 0V6", "water": "M0 0L6 6", "fuel": "M0 6L6 0M0 0L6 6",
    "heat": "M0 3H6M3 0V6",
}  # fmt: skip

_LIGHT: Final = "--ink:#1d2329;--paper:#fff;--edge:#9aa4ae;--pale:#59636e;--alarm:#9c2b00"
_DARK: Final = "--ink:#e6e9ec;--paper:#1b2026;--edge:#5b6670;--pale:#a4aeb8;--alarm:#ff9d78"
_STYLE: Final = f"""
.plant{{{_LIGHT};font:12px system-ui,sans-serif}}
@media (prefers-color-scheme:dark){{.plant{{{_DARK}}}}}
:root[data-theme=light] .plant{{{_LIGHT}}}
:root[data-theme=dark] .plant{{{_DARK}}}
.plant text{{fill:var(--ink)}}
.plant .figure{{fill:var(--pale);font-size:11px}}
.plant .title{{font-weight:600;font-size:13px}}
.plant .rate{{font-weight:600;font-variant-numeric:tabular-nums}}
.plant .card{{fill:var(--paper);stroke:var(--edge)}}
.plant .band{{fill:none;opacity:.86}}
.plant .tip{{stroke:var(--ink);stroke-width:.6}}
.plant .hatch{{fill:none;display:none}}
.plant .stream:focus{{outline:none}}
.plant .none{{opacity:.4}}
.plant .silent .band{{stroke-dasharray:4 4;opacity:.6}}
.plant .silent.stream,.plant .silent .rate{{fill:var(--pale)}}
.plant .unsolved{{stroke:var(--alarm);stroke-dasharray:6 4;stroke-width:1.5}}
.plant .note{{font-size:11px;fill:var(--alarm)}}
.plant .stream:hover .tip,.plant .stream:focus .tip{{stroke-width:2}}
.plant .stream:hover text,.plant .stream:focus text{{text-decoration:underline}}
@media print{{.plant{{{_LIGHT}}}.plant .hatch{{display:inline}}}}
"""


def picture(result: Result, quantity: str = MASS, way: str = "across") -> str:
    """The plant of a single solved case as an SVG element.

    quantity : "mass", "heat" or an element, what the bands are as wide as
    way : "across" from left to right, "down" for narrow screens

    Raises ValueError for a way or quantity that is not on offer.
    """
    return pictures([result], quantity, way)[0]


def offered(drawn: str) -> list[str]:
    """What the bands of a picture can be as wide as, without drawing anew."""
    found = re.search(r'data-quantities="([^"]*)"', drawn)
    assert found is not None  # every picture says so
    return found[1].split()


def pictures(results: Sequence[Result], quantity: str = MASS, way: str = "across") -> list[str]:
    """Plants to stand beside each other: at one scale, with the same quantities on offer, and drawn down
    with each step at one height. From the second on, a rate says whether it is more or less than in the
    first.

    Raises ValueError for a way or quantity that is not on offer.
    """
    plants = [bands(result, quantity) for result in results]
    standing = [steps(result) for result in results]
    every = [band for drawn in plants for band in drawn]
    offered, largest = quantities(every), widest(every)
    if way not in _WAYS:
        raise ValueError(f"{way!r} is no way to draw; there is {', '.join(_WAYS)}")
    if quantity not in offered:
        raise ValueError(f"{quantity!r} is not in this plant; there is {', '.join((*offered, HEAT))}")
    widths = [[[_width(b.rate(q), largest[q], WIDEST[way]) for q in offered] for b in one] for one in plants]
    notes = [{step: _lines(why) for step, why in unsolved(result).items()} for result in results]
    layouts = [
        _WAYS[way](names, drawn, [max(w) for w in wide], said)
        for names, drawn, wide, said in zip(standing, plants, widths, notes, strict=True)
    ]
    if len(layouts) > 1:
        layouts = levelled(layouts, way == "down")
    marks = [_marks(drawn, plants[0], offered) for drawn in plants]
    shown = offered.index(quantity)
    return [
        _Drawing(plants[i], layouts[i], offered, shown, widths[i], marks[i], f"{way}-{quantity}-{i}").text()
        for i in range(len(plants))
    ]


def _marks(drawn: Sequence[Band], first: Sequence[Band], offered: Sequence[str]) -> list[list[str]]:
    """Of each band and quantity: whether it is more or less than in the first plant, "" where it is alike."""
    before = {band.place: band for band in first}
    return [[_mark(before.get(band.place), band, quantity) for quantity in offered] for band in drawn]


def _mark(before: Band | None, band: Band, quantity: str) -> str:
    was, now = (0.0 if one is None else one.rate(quantity) for one in (before, band))
    if not abs(now - was) > ALIKE * max(abs(was), abs(now)):
        return ""
    return _THIN + (MORE if now > was else LESS)


def widest(drawn: Sequence[Band]) -> dict[str, float]:
    """[t/h or MW] of the largest band, by quantity."""
    rates = {q: [b.rate(q) for b in drawn] for q in quantities(drawn)}
    return {q: max((x for x in found if not math.isnan(x)), default=0.0) for q, found in rates.items()}


def _width(rate: float, largest: float, widest_px: float) -> float:
    if math.isnan(rate):
        return _LEAST
    return max(_LEAST, widest_px * rate / largest) if rate > 0 else 0.0


def _lines(text: str) -> list[str]:
    """The violated limit in the lines of a card: what stands before the first semicolon, not all it says."""
    lines = textwrap.wrap(f"no solution: {text.partition(';')[0]}", _LETTERS)
    return lines[:_MOST_LINES] if len(lines) <= _MOST_LINES else [*lines[: _MOST_LINES - 1], "..."]


class _Drawing:
    """One layout, coloured and written."""

    def __init__(
        self,
        drawn: Sequence[Band],
        layout: Layout,
        offered: Sequence[str],
        shown: int,
        widths: Sequence[Sequence[float]],
        marks: Sequence[Sequence[str]],
        name: str,
    ) -> None:
        self.bands, self.layout, self.offered, self.shown = drawn, layout, offered, shown
        self.widths, self.marks, self.name = widths, marks, name

    def text(self) -> str:
        size = f"0 0 {self.layout.width:.0f} {self.layout.height:.0f}"
        rows = {(row.band, row.coming): (card, row) for card in self.layout.cards for row in card.rows}
        streams = [self._stream(line, rows) for line in self.layout.lines]
        return "".join(
            (
                f'<svg xmlns="http://www.w3.org/2000/svg" class="plant" viewBox="{size}" '
                f'style="max-width:{_LARGEST * self.layout.width:.0f}px" '
                'role="group" aria-label="flow drawing of the plant" '
                f"data-quantities={quoteattr(' '.join(self.offered))}>",
                f"<style>{_STYLE}</style><defs>{''.join(map(self._hatch, _HATCH))}</defs>",
                *(self._line(line) for line in self.layout.lines),
                *(self._card(card) for card in self.layout.cards),
                *streams,
                "</svg>",
            )
        )

    def _hatch(self, kind: str) -> str:
        return (
            f'<pattern id="hatch-{self.name}-{kind}" width="6" height="6" patternUnits="userSpaceOnUse">'
            f'<path d="{_HATCH[kind]}" stroke="#fff" stroke-width="1.1"/></pattern>'
        )

    def _line(self, line: Line) -> str:
        band, width = self.bands[line.band], self.widths[line.band][self.shown]
        path, kind = _path(line), band.matter.kind
        hatch = ""
        if kind in _HATCH:
            paint = f'stroke="url(#hatch-{self.name}-{kind})" stroke-width="{width:.1f}"'
            hatch = f'<path class="hatch" d="{path}" {paint}/>'
        silent = "" if band.known else " silent"
        return (
            f'<g class="line{silent}" data-band="{line.band}"><path class="band" d="{path}" '
            f'stroke="{COLOURS[kind]}" stroke-width="{width:.1f}"/>{hatch}</g>'
        )

    def _card(self, card: Card) -> str:
        kind = "card unsolved" if card.notes else "card"
        notes = (
            f'<text class="note" x="{card.x + 10:.1f}" y="{card.y + HEAD + 3 + NOTE * i:.1f}">'
            f"{escape(said)}</text>"
            for i, said in enumerate(card.notes)
        )
        return (
            f'<rect class="{kind}" x="{card.x:.1f}" y="{card.y:.1f}" width="{card.width:.1f}" '
            f'height="{card.height:.1f}" rx="6"/>'
            f'<text class="title" x="{card.x + 10:.1f}" y="{card.y + 19:.1f}">'
            f"{escape(words(card.step).capitalize())}</text>{''.join(notes)}"
        )

    def _stream(self, line: Line, rows: Mapping[tuple[int, bool], tuple[Card, Row]]) -> str:
        band, i = self.bands[line.band], line.band
        told = escape(band.told)
        rates = " ".join(self._rate(i, k) for k in range(len(self.offered)))
        widths = " ".join(f"{w:.1f}" for w in self.widths[i])
        labels = "".join(self._label(*rows[i, c]) for c in (False, True) if (i, c) in rows)
        kind = band.matter.kind if band.known else f"{band.matter.kind} silent"
        return (
            f'<g class="stream {kind}" data-band="{i}" data-rates="{rates}" data-widths="{widths}" '
            'tabindex="0" role="img">'
            f"<title>{told}</title>{labels}"
            f"{_tip(line, COLOURS[band.matter.kind])}</g>"
        )

    def _rate(self, band: int, quantity: int) -> str:
        """As written, with the mark of what is more or less than in the picture before it; no blank in it."""
        return number(self.bands[band].rate(self.offered[quantity]), _DIGITS) + self.marks[band][quantity]

    def _label(self, card: Card, row: Row) -> str:
        band = self.bands[row.band]
        rate = self._rate(row.band, self.shown)
        figure = "" if row.coming else band.figure
        y = row.y + (4.0 if not figure else -2.0)
        name, value = escape(band.matter.name), f'<tspan class="rate">{rate}</tspan>'
        if row.coming:
            x, anchor, said = card.x + 9, "start", f"{value} {name}"
        else:
            x, anchor, said = card.x + card.width - 9, "end", f"{name} {value}"
        label = f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{said}</text>'
        if figure:
            label += f'<text class="figure" x="{x:.1f}" y="{row.y + 11:.1f}" '
            label += f'text-anchor="{anchor}">{escape(figure)}</text>'
        return label


def _path(line: Line) -> str:
    """A bow, or straight pieces with rounded corners."""
    (x, y), *rest = line.points
    if line.curved:
        x_to, y_to = rest[0]
        middle = (x + x_to) / 2
        return f"M{x:.1f} {y:.1f}C{middle:.1f} {y:.1f} {middle:.1f} {y_to:.1f} {x_to:.1f} {y_to:.1f}"
    parts, before = [f"M{x:.1f} {y:.1f}"], line.points[0]
    for corner, after in pairwise(rest):
        a, b = _towards(corner, before), _towards(corner, after)
        parts.append(f"L{a[0]:.1f} {a[1]:.1f}Q{corner[0]:.1f} {corner[1]:.1f} {b[0]:.1f} {b[1]:.1f}")
        before = corner
    return "".join((*parts, f"L{rest[-1][0]:.1f} {rest[-1][1]:.1f}"))


def _towards(corner: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    """A radius away from the corner, or half the way."""
    dx, dy = other[0] - corner[0], other[1] - corner[1]
    length = abs(dx) + abs(dy)
    part = min(_RADIUS, length / 2) / length if length else 0.0
    return corner[0] + part * dx, corner[1] + part * dy


def _tip(line: Line, colour: str) -> str:
    """A small arrow head where the band ends."""
    (x0, _), (x, y) = line.points[-2], line.points[-1]
    back = -7.0 if x > x0 else 7.0
    return f'<path class="tip" d="M{x:.1f} {y:.1f}l{back} -5v10z" fill="{colour}"/>'
