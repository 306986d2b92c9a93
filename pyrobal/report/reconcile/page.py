"""A reconciliation as one HTML file, and as a workbook."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np

from pyrobal.case.load import Case
from pyrobal.report.figures.figure import (
    BLUE,
    GREY,
    ORANGE,
    RED,
    Figure,
    Traces,
    rounded,
    safe,
    titled,
    veiled,
)  # fmt: skip
from pyrobal.report.reconcile import tables as told
from pyrobal.report.reconcile.export import content
from pyrobal.report.reconcile.words import per_unit_of, remarks, verdict
from pyrobal.report.spreadsheet import write_tables
from pyrobal.report.study import Section, study_page
from pyrobal.report.tables import Table
from pyrobal.studies.reconcile.measured import Column
from pyrobal.studies.reconcile.reconciliation import Reconciliation, Setting

_LONGEST: Final = 60  # letters of a key within a figure
_TALL: Final = 380  # pixels of a figure that shows one instrument
_SCORES: Final = 4.0  # adjustments over their errors at which the colour of the map ends


def reconcile_html(case: Case, found: Reconciliation, made: datetime.datetime | None = None) -> str:
    """The page. ``made``: the time printed on it, now unless given."""
    subject = "Plant measurements against the balance of a copper smelter."
    return study_page(case, subject, list(sections(found)), content(found), made)


def sections(found: Reconciliation) -> Iterator[Section]:
    """What its page shows: the verdict, instruments, fitted settings, accounts."""
    answer = (verdict(found), *remarks(found))
    yield Section("answer", "Answer", "What the measurements say", answer, tables=tuple(_fitted(found)))
    pictures = (_run_charts(found), _map(found), _parity(found))
    singles = (told.outliers(found),) if found.outliers else ()
    yield Section(
        "instruments",
        "Instruments",
        "Instruments",
        figures=pictures,
        tables=(told.instruments(found), *singles),
    )
    if found.settings:
        yield Section("fitted", "Fitted", "Fitted settings", figures=(_bars(found),))
    if found.predictions:
        yield Section("prediction", "Prediction", "How well it predicts", tables=(told.predictions(found),))
    books = (told.accounts(found), *(told.account(one) for one in found.accounts))
    yield Section("accounts", "Accounts", "Accounts of the elements", tables=books)
    yield Section("taken", "Taken", "Errors taken as usual", tables=(told.deviations(found),))


def _fitted(found: Reconciliation) -> Iterator[Table]:
    if found.settings:
        yield told.settings(found)
    if found.each:
        yield told.each(found)


def workbook_tables(found: Reconciliation) -> dict[str, Table]:
    """Name of the sheet -> what is in it."""
    tables = {"instruments": told.instruments(found)}
    tables |= {"outliers": told.outliers(found)} if found.outliers else {}
    tables |= {"fitted": told.settings(found)} if found.settings else {}
    tables |= {"each period": told.each(found)} if found.each else {}
    tables |= {"prediction": told.predictions(found)} if found.predictions else {}
    tables |= {"accounts": told.accounts(found)}
    tables |= {f"account {one.element}": told.account(one) for one in found.accounts}
    return {**tables, "measurements": told.measurements(found), "deviations": told.deviations(found)}


def write_reconciliation(found: Reconciliation, file: str | Path) -> None:
    """Write the workbook: the verdict, then a sheet for each table."""
    write_tables([verdict(found), *remarks(found)], workbook_tables(found), file)


def _chosen(found: Reconciliation) -> list[tuple[int, Column]]:
    columns = found.found.problem.measured.columns
    return [(i, c) for i, c in enumerate(columns) if not c.stock]


def _run_charts(found: Reconciliation) -> Figure:
    """Measured, reconciled and its band, an instrument at a time."""
    choices = {c.key: (_run(found, i, c), _axis(titled(c.key, c.unit))) for i, c in _chosen(found)}
    layout = {
        "xaxis": {"title": {"text": "period", "standoff": 12}, "type": "category", "automargin": True},
        "legend": {"orientation": "h", "y": 1.12},
    }
    about = "An instrument at a time: points as measured, line as reconciled, band two errors wide."
    return Figure("run", "Measured and reconciled", about, choices, layout, told.measurements(found))


def _axis(title: str) -> dict[str, Any]:
    """The upright axis, and the height of a figure that shows one instrument."""
    return {"yaxis": {"title": {"text": title}, "automargin": True}, "height": _TALL}


def _run(found: Reconciliation, i: int, c: Column) -> Traces:
    names = [safe(name) for name in found.periods]
    best, spread = c.shown(found.adjusted.reconciled[:, i]), c.shown_deviation(found.adjusted.deviation[:, i])
    there = np.isfinite(best)
    x = [name for name, one in zip(names, there, strict=True) if one]
    upper, lower = (best + 2 * spread)[there], (best - 2 * spread)[there]
    return [
        {"type": "scatter", "mode": "lines", "x": [*x, *x[::-1]], "y": rounded([*upper, *lower[::-1]]),
         "fill": "toself", "fillcolor": veiled(BLUE), "line": {"width": 0},
         "name": "two errors", "hoverinfo": "skip"},
        {"type": "scatter", "mode": "lines", "x": x, "y": rounded(best[there]), "name": "reconciled",
         "line": {"color": BLUE}},
        {"type": "scatter", "mode": "markers", "x": x, "y": rounded(c.shown(c.values)[there]),
         "name": "measured", "marker": {"color": ORANGE, "symbol": "diamond"},
         "error_y": {"type": "data", "array": rounded(c.shown_deviation(c.deviation)[there]), "color": GREY}},
    ]  # fmt: skip


def _map(found: Reconciliation) -> Figure:
    """Adjustments over their errors, instruments by periods."""
    chosen = _chosen(found)
    z = [[_score(found.adjusted.score[t, i]) for t in range(len(found.periods))] for i, _ in chosen]
    trace = {
        "type": "heatmap", "x": [safe(name) for name in found.periods],
        "y": [safe(c.key, _LONGEST) for _, c in chosen], "z": z,
        "zmin": -_SCORES, "zmax": _SCORES, "xgap": 1, "ygap": 1,
        "colorscale": [[0, BLUE], [0.5, "#F5F5F5"], [1, RED]],
        "colorbar": {"title": {"text": "times its error"}},
        "hovertemplate": "%{y}<br>%{x}: %{z:.2f}<extra></extra>",
    }  # fmt: skip
    about = "Adjustments over their errors: blue was read too high, red too low; empty is not checked."
    layout = {
        "yaxis": {"automargin": True, "autorange": "reversed"},
        "xaxis": {"type": "category", "automargin": True},
    }
    size = {"height": 160 + 20 * len(chosen)}
    return Figure(
        "map",
        "Residuals by instrument and period",
        about,
        {"": ([trace], size)},
        layout,
        told.instruments(found),
    )


def _score(x: float) -> float | None:
    return float(f"{x:.4g}") if np.isfinite(x) else None


def _parity(found: Reconciliation) -> Figure:
    """Measured against reconciled, an instrument at a time."""
    choices: dict[str, tuple[Traces, dict[str, Any]]]
    choices = {}
    for i, c in _chosen(found):
        along = {"xaxis": {"title": {"text": f"measured, {c.unit}"}}}
        choices[c.key] = (_against(found, i, c), _axis(f"reconciled, {c.unit}") | along)
    layout = {"legend": {"orientation": "h", "y": 1.12}}
    about = "An instrument at a time, in its own unit; on the line both are the same."
    return Figure("parity", "Measured against reconciled", about, choices, layout, told.measurements(found))


def _against(found: Reconciliation, i: int, c: Column) -> Traces:
    best, seen = c.shown(found.adjusted.reconciled[:, i]), c.shown(c.values)
    there = np.isfinite(best) & np.isfinite(seen)
    low, high = (
        float(min(best[there].min(), seen[there].min())),
        float(max(best[there].max(), seen[there].max())),
    )
    names = [safe(name) for name, one in zip(found.periods, there, strict=True) if one]
    return [
        {"type": "scatter", "mode": "lines", "x": rounded([low, high]), "y": rounded([low, high]),
         "name": "the same", "line": {"color": GREY, "dash": "dash"}},
        {"type": "scatter", "mode": "markers", "x": rounded(seen[there]), "y": rounded(best[there]),
         "name": "periods", "text": names, "marker": {"color": BLUE}},
    ]  # fmt: skip


def _bars(found: Reconciliation) -> Figure:
    """Fitted values with their errors beside what the case had."""
    choices = {
        one.key: (_bar(one), _axis(titled(one.fitted.variable.key, one.fitted.variable.unit)))
        for one in found.settings
    }
    layout: dict[str, Any] = {"xaxis": {"type": "category"}, "showlegend": False}
    about = "A setting at a time: before, and fitted with two errors to either side."
    return Figure("bars", "Fitted settings", about, choices, layout, told.settings(found))


def _bar(one: Setting) -> Traces:
    v = one.fitted.variable
    values = [float(v.shown(one.before)), float(v.shown(float(one.value[0])))]
    spread = float(np.nan_to_num(one.deviation[0])) / per_unit_of(v.unit)
    return [{
        "type": "bar", "x": ["before", "fitted"], "y": rounded(values), "marker": {"color": [GREY, BLUE]},
        "error_y": {"type": "data", "array": rounded([0.0, 2 * spread])},
    }]  # fmt: skip
