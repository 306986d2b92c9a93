"""How sure the readings are, as one HTML file: their spread, what brings it, the risks, what was varied."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from pyrobal.case.load import Case
from pyrobal.report.figures.figure import BLUE, GREY, ORANGE, Figure, Traces, rounded, safe
from pyrobal.report.labels import capital, label
from pyrobal.report.numbers import number
from pyrobal.report.study import Section, study_page
from pyrobal.report.tables import Cell, Column, Table, plain
from pyrobal.studies.indices import Indices
from pyrobal.studies.uncertainty import PERCENTILES, Uncertainty
from pyrobal.units import behind

_LEAST: Final = 0.01  # share of the variance worth a line
_LONGEST: Final = 100  # letters of a source beside its bars
_ENTHALPIES: Final = "as the tables state them; on the furnace's heat only"
_INDEPENDENT: Final = (
    "All sources are drawn independently. First order: the share of the variance that a source brings by "
    "itself. Total effect: the share that would go if it were known exactly. Thin lines: 95 % intervals by "
    "resampling."
)


def uncertainty_html(case: Case, found: Uncertainty, made: datetime.datetime | None = None) -> str:
    """The page. ``made``: the time printed on it, now unless given."""
    subject = "Uncertainty of the readings of a copper smelter's balance, and its sources."
    return study_page(case, subject, list(sections(found)), _content(found), made)


def sections(found: Uncertainty) -> Iterator[Section]:
    """What its page shows: the spread, its sources, what was varied."""
    draws = f"{found.draws} draws, {found.unsolved} of them without a solution; seed {found.seed}."
    risks = (_risks(found),) if found.risks else ()
    yield Section(
        "answer", "Answer", "Uncertainty of the readings", (_answer(found), draws),
        tables=(_scatter(found), *risks),
    )  # fmt: skip
    yield Section(
        "sources", "Sources", "Sources of the uncertainty", (_INDEPENDENT,), figures=tuple(_figures(found))
    )
    yield Section("varied", "Varied", "Inputs varied, and their spread", tables=(_varied(found),))


def _answer(found: Uncertainty) -> str:
    """The first reading asked for with its error, what brings most of it, and the greatest risk."""
    key, s = next(iter(found.scatter.items()))
    mean = f"{number(s.mean)}{behind(s.unit)}"
    said = f"{capital(label(key))}: {mean}, standard deviation {number(s.deviation, 2)}{behind(s.unit)}"
    one = found.indices.get(key)
    order = _greatest(one) if one is not None else []
    if order:
        said += f"; most of it from {plain(found.sources[order[0]].name)}"
    worst = max(found.risks, key=lambda risk: risk.chance, default=None)
    if worst is not None:
        said += f"; {worst.limit} is broken with a chance of {number(100.0 * worst.chance, 2)} %"
    return f"{said}."


def _scatter(found: Uncertainty) -> Table:
    rows: list[tuple[Cell, ...]] = [
        (key, s.unit, s.mean, s.deviation, *s.percentiles) for key, s in found.scatter.items()
    ]
    columns = ("reading", "unit", "mean", "deviation", *(f"P{p:g}" for p in PERCENTILES))
    return Table("Readings over the draws", tuple(map(Column, columns)), tuple(rows), stub=2)


def _risks(found: Uncertainty) -> Table:
    rows: list[tuple[Cell, ...]] = [
        (str(r.limit), *(100.0 * x for x in (r.chance, r.low, r.high))) for r in found.risks
    ]
    headings = ("chance", "95 % from", "to")
    columns = (Column("breaking"), *(Column(heading, "%") for heading in headings))
    return Table("Chance of breaking a limit", columns, tuple(rows))


def _figures(found: Uncertainty) -> Iterator[Figure]:
    """One figure, a reading at a time."""
    told = {key: (one, _greatest(one)) for key, one in found.indices.items()}
    choices = {
        key: (list(_bars(found, one, order)), {"height": 150 + 44 * len(order)})
        for key, (one, order) in told.items()
        if order
    }
    if choices:
        yield Figure(
            "shares",
            "Share of the variance by source",
            f"A reading at a time; sources below {100 * _LEAST:g} % are left out.",
            choices,
            _LAYOUT,
            _shares(found, told),
        )


def _greatest(one: Indices) -> list[int]:
    """The sources that bring a share of the variance, the greatest first."""
    return [int(g) for g in np.argsort(-np.nan_to_num(one.total)) if one.total[g] >= _LEAST]


def _bars(found: Uncertainty, one: Indices, order: list[int]) -> Traces:
    sides = (
        ("first order", one.first, one.first_range, BLUE, ""),
        ("total effect", one.total, one.total_range, ORANGE, "/"),
    )
    return [
        {
            "type": "bar",
            "orientation": "h",
            "name": name,
            "y": [safe(found.sources[g].name, _LONGEST) for g in order],
            "x": rounded([100.0 * max(float(share[g]), 0.0) for g in order]),
            "error_x": {
                "type": "data",
                "symmetric": False,
                "array": rounded([100.0 * max(float(band[g][1] - share[g]), 0.0) for g in order]),
                "arrayminus": rounded([100.0 * max(float(share[g] - band[g][0]), 0.0) for g in order]),
                "color": GREY,
            },
            "marker": {
                "color": colour,
                "pattern": {"shape": hatch, "fillmode": "overlay", "fgcolor": "#FFFFFF", "solidity": 0.25},
            },
            "hovertemplate": "%{y}: %{x:.3~g} %<extra></extra>",
        }
        for name, share, band, colour, hatch in sides
    ]


_LAYOUT: Final[dict[str, Any]] = {
    "xaxis": {"title": {"text": "share of the variance, %"}, "zeroline": True, "rangemode": "tozero"},
    "yaxis": {"autorange": "reversed", "automargin": True},
    "legend": {"orientation": "h", "y": 1.1},
    "bargap": 0.3,
}


def _shares(found: Uncertainty, told: dict[str, tuple[Indices, list[int]]]) -> Table:
    rows: list[tuple[Cell, ...]] = [
        (key, plain(found.sources[g].name), *(100.0 * float(x) for x in (
            one.first[g], *one.first_range[g], one.total[g], *one.total_range[g])))
        for key, (one, order) in told.items()
        for g in order
    ]  # fmt: skip
    headings = ("first order", "from", "to", "total effect", "from", "to")
    columns = (Column("reading"), Column("source"), *(Column(heading, "%") for heading in headings))
    return Table("Share of the variance, with 95 % intervals", columns, tuple(rows), stub=2)


def _varied(found: Uncertainty) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for source in found.sources:
        if not source.spreads:
            rows.append((source.name, _ENTHALPIES))
        rows += [(plain(spread.variable.key), spread.text()) for spread in source.spreads]
    columns = (Column("setting"), Column("one standard deviation, or a range"))
    return Table("What was varied", columns, tuple(rows), stub=2)


def _content(found: Uncertainty) -> dict[str, Any]:
    """For programs; what has no value is null."""
    return {
        "draws": found.draws,
        "samples": found.samples,
        "seed": found.seed,
        "unsolved": found.unsolved,
        "readings": {
            key: {"unit": s.unit, "mean": _finite(s.mean), "deviation": _finite(s.deviation),
                  "percentiles": dict(zip(map(str, PERCENTILES), map(_finite, s.percentiles), strict=True))}
            for key, s in found.scatter.items()
        },
        "risks": {str(r.limit): [_finite(x) for x in (r.chance, r.low, r.high)] for r in found.risks},
    }  # fmt: skip


def _finite(x: float) -> float | None:
    return float(x) if np.isfinite(x) else None
