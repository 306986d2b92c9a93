"""A comparison as one HTML file: the plants beside each other, what differs, what that did."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any

from markupsafe import Markup

from pyrobal.report.compare import (
    Comparison,
    answer_table,
    bars,
    cases_table,
    content,
    feed_table,
    letter,
    readings_table,
    settings_table,
    verdict,
)
from pyrobal.report.html import page, script_json
from pyrobal.report.picture import ALIKE, COLOURS, HEAT, LESS, MASS, MORE, NAMES, bands, pictures, quantities
from pyrobal.report.result import Result
from pyrobal.report.study import Section
from pyrobal.report.tables import Cell, Column, Table, headline, words


def compare_html(c: Comparison, made: datetime.datetime | None = None) -> str:
    """The page. ``made``: the time printed on it, now unless given."""
    parts = {
        "plant": "Plants", "cases": "Cases", "settings": "Settings", "answer": "Main results",
        "changed": "All that changed", "texts": "The case files",
    }  # fmt: skip
    return page(
        "compare.html",
        _title(c),
        bars(c),
        json_text=script_json(content(c)),
        made=made,
        parts=list(parts.items()),
        c=c,
        letters=[letter(i) for i in range(len(c.cases))],
        verdict=verdict(c),
        plant=beside(c.cases, c.names),
        cases=cases_table(c),
        settings=settings_table(c, whole=True),
        feed=feed_table(c),
        answer=answer_table(c, told=True),
        every=readings_table(c, told=True),
    )


def _title(c: Comparison) -> str:
    """The names, with what they all begin with said once."""
    titles = {headline(result.case.title) for result in c.cases}
    shared = f"{titles.pop()}, " if len(titles) == 1 else ""
    names = " / ".join(name.removeprefix(shared) for name in c.names)
    return headline(f"{shared.removesuffix(', ')}: {names}" if shared else names)


def sections(c: Comparison) -> Iterator[Section]:
    """What the page shows besides the plants."""
    feed = feed_table(c)
    given = () if feed is None else (feed,)
    tables = (
        answer_table(c),
        readings_table(c, told=True),
        settings_table(c),
        *given,
        streams_table(c.cases),
    )
    yield Section("answer", "Answer", "What differs", (verdict(c),), tuple(bars(c)), tables)


def beside(cases: tuple[Result, ...], names: tuple[str, ...]) -> dict[str, Any]:
    """Pictures of plants beside each other, for a page: before and after, or any number."""
    drawings: list[list[tuple[str, Markup, str]]] = [[] for _ in cases]
    for quantity in (MASS, HEAT):
        for way in ("across", "down"):
            for found, svg in zip(drawings, pictures(cases, quantity, way), strict=True):
                found.append((way, Markup(svg), quantity))
    warm = [band for result in cases for band in bands(result, HEAT)]
    offered = [*quantities([b for result in cases for b in bands(result)]), *quantities(warm)]
    kinds = {band.matter.kind for band in warm}
    more = f"{MORE} {LESS} more or less than in A by over {100 * ALIKE:g} %" if len(cases) > 1 else ""
    return {
        "cases": [
            (letter(i), name, found) for i, (name, found) in enumerate(zip(names, drawings, strict=True))
        ],
        "quantities": [(q, f"{q}, {'MW' if q == HEAT else 't/h'}") for q in offered],
        "colours": [(kind, NAMES[kind], COLOURS[kind]) for kind in COLOURS if kind in kinds],
        "marks": more,
        "table": streams_table(cases),
    }


def streams_table(cases: tuple[Result, ...]) -> Table:
    """The mass and each element of each stream, case by case: the numbers of the pictures."""
    plants = [{band.place: band for band in bands(result)} for result in cases]
    offered = quantities([band for plant in plants for band in plant.values()])
    rows: list[tuple[Cell, ...]] = []
    for place in dict.fromkeys(place for plant in plants for place in plant):
        for q in offered:
            rates = [plant[place].rate(q) if place in plant else 0.0 for plant in plants]
            if any(rates):
                ends = (words(end) if end else "outside" for end in place[:2])
                rows.append((*ends, place[2], q, *rates))
    columns = tuple(Column(name) for name in ("from", "to", "stream", "quantity"))
    letters = tuple(Column(letter(i), "t/h") for i in range(len(cases)))
    return Table("Streams from step to step", (*columns, *letters), tuple(rows), stub=4)
