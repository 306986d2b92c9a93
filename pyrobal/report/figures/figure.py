"""What all figures share: the frame, colours, and names made safe.

Colours are those of Okabe and Ito, told apart by the colour-blind; hatching, dashes, marks and labels say the
same again in black and white. Text and lines take their colour from the page, so that a figure is right in
the dark.
"""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from pyrobal.report.labels import label
from pyrobal.report.tables import Table

BLUE, ORANGE, GREEN, RED = "#0072B2", "#E69F00", "#009E73", "#D55E00"
SKY, PURPLE, GREY = "#56B4E9", "#CC79A7", "#8A8A8A"
COLOURS: Final = (BLUE, ORANGE, GREEN, PURPLE, SKY, RED, GREY)
MARKS: Final = ("circle", "square", "diamond", "triangle-up", "cross", "star")
DASHES: Final = ("solid", "dash", "dot", "dashdot")
_LONGEST: Final = 30  # letters of a name within a figure; the table has all
WHOLE: Final = 90  # letters of a name that has room of its own
_DIGITS: Final = 6  # of a value within a figure

Traces = list[dict[str, Any]]


class Key(NamedTuple):
    """A line of a legend: a field, a line, or a mark, and what it stands for."""

    text: str
    fill: str = ""
    line: str = ""
    dash: str = ""
    mark: str = ""


@dataclass(frozen=True)
class Figure:
    """One drawing, or one for each word of ``choices``.

    about : what it shows, for those who do not see it
    choices : word -> plotly traces, and what its layout has of its own
    table : the numbers behind it
    section : word of the part of the report it belongs to
    legend : what its fields, lines and marks stand for, where words beside the drawing say it best
    """

    name: str
    title: str
    about: str
    choices: Mapping[str, tuple[Traces, dict[str, Any]]]
    layout: dict[str, Any]
    table: Table
    section: str = ""
    legend: tuple[Key, ...] = ()


def rounded(values: Sequence[float]) -> list[float]:
    """Values to as many digits as a drawing can show."""
    return [float(f"{value:.{_DIGITS}g}") for value in values]


def titled(key: str, unit: str) -> str:
    """Quantity and unit, as the title of an axis says them; nothing in it is markup."""
    return safe(label(key) if unit in ("", "-") else f"{label(key)}, {unit}", WHOLE)


def safe(text: str, longest: int = _LONGEST) -> str:
    """A name for plotly, which reads some markup: nothing in it is markup."""
    line = "".join(c if c.isprintable() else " " for c in text)
    return html.escape(line if len(line) <= longest else f"{line[:longest]}...", quote=False)


def veiled(colour: str, alpha: float = 0.35) -> str:
    """A colour that lets through what lies below."""
    r, g, b = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({r},{g},{b},{alpha})"
