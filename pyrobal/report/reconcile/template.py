"""The sheet to fill in with plant measurements: usual columns of a case, their units, usual deviations."""

from __future__ import annotations

import csv
from pathlib import Path

from pyrobal import units
from pyrobal.case.load import Case
from pyrobal.readings import registry
from pyrobal.report.spreadsheet import write_rows
from pyrobal.studies.measure import solved
from pyrobal.studies.reconcile.measured import PERIOD, PRECISION
from pyrobal.studies.reconcile.usual import usual_columns, usual_deviation
from pyrobal.studies.variable import variables


def template_rows(case: Case) -> list[list[str | float]]:
    """Headings, the row of deviations, and a first period to be filled."""
    results, settings = solved(case.inputs), variables(case.inputs)
    keys = usual_columns(case.inputs, results)
    precisions = {
        f"concentrate.{c.name}.assay.{x}": d for c in case.inputs.concentrate for x, d in c.precision.items()
    }
    headings: list[str | float] = [PERIOD]
    deviations: list[str | float] = [PRECISION]
    for key in keys:
        unit = settings[key].unit if key in settings else registry.find(key)[0].unit_for(results)
        headings.append(f"{key} [{unit}]")
        found = precisions.get(key) or usual_deviation(key)
        if found.relative:
            deviations.append(found.text())
        else:
            deviations.append(float(f"{units.display(found.size, 'K' if unit == 'degC' else unit):.6g}"))
    return [headings, deviations, ["day 1", *([""] * len(keys))]]


def write_rows_to(rows: list[list[str | float]], path: Path, named: str) -> None:
    """Write them to ``path``: a workbook, or a CSV file where the name it is to have ends so."""
    if named.lower().endswith(".csv"):
        with path.open("w", newline="", encoding="utf-8") as stream:
            csv.writer(stream).writerows(rows)
    else:
        write_rows(rows, path)
