"""The page and the workbook of a reconciliation."""

from __future__ import annotations

import re
from pathlib import Path

import openpyxl
import plotly.graph_objects
import pytest
from measurements import CASE, TRUTH, days

from pyrobal.case.load import load_case
from pyrobal.report.reconcile.page import reconcile_html, sections, write_reconciliation
from pyrobal.report.reconcile.tables import measurements
from pyrobal.report.reconcile.words import verdict, with_error
from pyrobal.studies.reconcile.reconciliation import Reconciliation, reconcile


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Reconciliation:
    made = days(4, seed=8, truth={k: TRUTH[k] for k in ("smelting.heat_loss", "smelting.air_in_leakage")})
    made.names[0] = "<b>night</b>"
    file = made.write(tmp_path_factory.mktemp("days") / "days.csv")
    return reconcile(load_case(CASE), file, fit=["smelting.air_in_leakage"], each=["smelting.heat_loss"])


def test_plotly_accepts_every_figure(found: Reconciliation) -> None:
    figures = [figure for section in sections(found) for figure in section.figures]
    assert [figure.name for figure in figures] == ["run", "map", "parity", "bars"]
    for figure in figures:
        for traces, own in figure.choices.values():
            plotly.graph_objects.Figure(
                data=traces, layout={**figure.layout, **own}
            )  # raises for a wrong key


def test_the_page_says_the_sentence_of_the_screen_and_no_name_is_markup(found: Reconciliation) -> None:
    page = reconcile_html(load_case(CASE), found)
    assert verdict(found) in page
    assert "<b>night</b>" not in re.sub(r"<script.*?</script>", "", page, flags=re.DOTALL)


def test_the_workbook_holds_every_measurement(found: Reconciliation, tmp_path: Path) -> None:
    file = tmp_path / "a.xlsx"
    write_reconciliation(found, file)
    book = openpyxl.load_workbook(file)
    assert book["answer"]["A2"].value == verdict(found)
    assert book["measurements"].max_row == 1 + len(measurements(found).rows)
    assert "each period" in book.sheetnames and "account Cu" in book.sheetnames


@pytest.mark.parametrize(
    ("value", "deviation", "shown"),
    [
        (4.2345, 0.61, "4.23 +- 0.61"),
        (21000.4, 216.0, "21000 +- 216"),
        (-0.0001, 0.15, "0.00 +- 0.15"),
        (3.0, 0.0, "3"),
    ],
)
def test_a_value_has_the_digits_that_its_error_leaves(value: float, deviation: float, shown: str) -> None:
    assert with_error(value, deviation) == shown
