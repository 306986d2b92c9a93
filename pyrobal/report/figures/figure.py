"""What all figures share: the frame, colours, and names made safe.

Colours are those of Okabe and Ito, told apart by the colour-blind; hatching, dashes, marks and labels say the
same again in black and white. Text and lines take their colour from the page, so that a figure is right in
the dark.
"""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from pyrobal.report.numbers import number
from pyrobal.report.tables import Table

BLUE, ORANGE, GREEN, RED = "#0072B2", "#E69F00", "#009E73", "#D55E00"
SKY, PURPLE, GREY = "#56B4E9", "#CC79A7", "#8A8A8A"
COLOURS: Final = (BLUE, ORANGE, GREEN, PURPLE, SKY, RED, GREY)
MARKS: Final = ("circle", "square", "diamond", "triangle-up", "cross", "star")
DASHES: Final = ("solid", "dash", "dot", "dashdot")
LEAST: Final = 1e-3  # share of the largest link below which a flow is not drawn
_LONGEST: Final = 30  # letters of a name within a figure; the table has all
_DIGITS: Final = 6  # of a value within a figure
_TALL: Final = (220, 26, 1300)  # pixels of a flow diagram: without places, for each place, at most
_APART: Final = 36  # pixels between places of a column: two lines of text and some air
_TEXT, _LETTER = 11.5, 6.5  # pixels: size of the names, width of a letter, at most on average

Links = Sequence[tuple[str, str, float, str]]  # from, to, how much, by what name
Traces = list[dict[str, Any]]


@dataclass(frozen=True)
class Figure:
    """One drawing, or one for each word of ``choices``.

    about : what it shows, for those who do not see it
    choices : word -> plotly traces, and what its layout has of its own
    table : the numbers behind it
    """

    name: str
    title: str
    about: str
    choices: Mapping[str, tuple[Traces, dict[str, Any]]]
    layout: dict[str, Any]
    table: Table


def sankey(links: Links, unit: str) -> tuple[Traces, dict[str, Any]]:
    """Flows from place to place and the height they need; what is too small to be seen is left out."""
    largest = max((link[2] for link in links), default=0.0)
    drawn = [link for link in links if link[2] > LEAST * largest]
    places = list(dict.fromkeys([*(link[0] for link in drawn), *(link[1] for link in drawn)]))
    colours = {place: COLOURS[i % len(COLOURS)] for i, place in enumerate(places)}
    trace = {
        "type": "sankey",
        "arrangement": "fixed",
        "textfont": {"size": _TEXT},
        "valueformat": ".4~g",
        "valuesuffix": f" {unit}",
        "node": {
            "label": (named := [_in_two(f"{safe(p)} {number(_through(p, drawn), 3)}") for p in places]),
            "color": [colours[p] for p in places],
            "line": {"color": GREY, "width": 0.5},
            "pad": _APART,
            "thickness": 14,
        },
        "link": {
            "source": [places.index(link[0]) for link in drawn],
            "target": [places.index(link[1]) for link in drawn],
            "value": rounded([link[2] for link in drawn]),
            "label": [safe(link[3]) for link in drawn],
            "color": [veiled(colours[link[0]]) for link in drawn],
        },
    }
    least, each, most = _TALL
    aside = 30 + _LETTER * max((len(line) for text in named for line in text.split("<br>")), default=0)
    return [trace], {
        "height": min(least + each * len(places), most),
        "margin": {"l": 20, "r": aside, "t": 30, "b": 40},  # the last names stand right of their places
    }


def _through(place: str, links: Links) -> float:
    """What runs into a place or out of it, whichever is more."""
    out, into = (sum(link[2] for link in links if link[side] == place) for side in (0, 1))
    return max(into, out)


def _in_two(text: str) -> str:
    """On two lines, parted where the longer of them is shortest: columns stand close."""
    gaps = [i for i, letter in enumerate(text) if letter == " "]
    at = min(gaps, key=lambda i: max(i, len(text) - i))
    return f"{text[:at]}<br>{text[at + 1 :]}"


def rounded(values: Sequence[float]) -> list[float]:
    """Values to as many digits as a drawing can show."""
    return [float(f"{value:.{_DIGITS}g}") for value in values]


def safe(text: str, longest: int = _LONGEST) -> str:
    """A name for plotly, which reads some markup: nothing in it is markup."""
    line = "".join(c if c.isprintable() else " " for c in text)
    return html.escape(line if len(line) <= longest else f"{line[:longest]}...", quote=False)


def veiled(colour: str, alpha: float = 0.35) -> str:
    """A colour that lets through what lies below."""
    r, g, b = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({r},{g},{b},{alpha})"
