"""Measurements out of a file: values in SI, or every fault at once by its cell."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from pyrobal.case.load import Case, load_case
from pyrobal.errors import CaseError
from pyrobal.studies.reconcile.measured import correlations, read_measured

CASE = "cases/skerry_point.toml"


@pytest.fixture(scope="module")
def case() -> Case:
    return load_case(CASE)


def written(tmp_path: Path, text: str, name: str = "days.csv") -> str:
    file = tmp_path / name
    file.write_text(text, encoding="utf-8")
    return str(file)


def faults(case: Case, file: str) -> list[str]:
    with pytest.raises(CaseError) as caught:
        read_measured(case, file)
    return [f"{fault.file.rpartition(': ')[2]}: {fault.key}: {fault.text}" for fault in caught.value.faults]


def test_values_and_deviations_are_si(case: Case, tmp_path: Path):
    file = written(
        tmp_path,
        "period,concentrate.Tolven.rate [t/h],smelting.slag.copper [wt%],smelting.matte.temperature [degC],smelting.oxygen.industrial [Nm3/h]\n"
        "precision,2 % rel,0.05,12,\nday 1,18,1.2,1231,\nday 2,16,<0.4,1229,21000\n",
    )
    m = read_measured(case, file)
    rate, copper, degrees, oxygen = m.columns
    assert m.periods == ("day 1", "day 2")
    assert rate.values == pytest.approx([5.0, 16 / 3.6]) and rate.deviation == pytest.approx(
        [0.02 * 17 / 3.6] * 2
    )
    assert copper.values == pytest.approx([0.012, 0.002]) and copper.deviation == pytest.approx([5e-4] * 2)
    assert degrees.values[0] == pytest.approx(1504.15) and degrees.deviation == pytest.approx([12.0] * 2)
    assert oxygen.usual and np.isnan(oxygen.values[0]) and not rate.usual
    assert rate.variable is not None and copper.variable is None


def test_every_fault_at_once_by_its_cell(case: Case, tmp_path: Path):
    file = written(
        tmp_path,
        "period;concentrate.Tolven.rte [t/h];concentrate.Tolven.rate [Nm3/h];smelting.slag.copper [wt%];smelting.slag.copper [wt%];smelting.enrichment [vol%];smelting.slag.rate\n"
        "precision;1;1;0;;abc;\n"
        "day 2;1;2;1,3;1;55;60\n"
        "day 1;1;2;-1;1;155;60\n"
        "day 2;1;2;x;1;50;60\n",
    )
    said = faults(case, file)
    assert any(s.startswith("B1: concentrate.Tolven.rte") and "did you mean" in s for s in said)
    assert any(s.startswith("C1: concentrate.Tolven.rate") and "is a gas flow" in s for s in said)
    assert any(s.startswith("E1: smelting.slag.copper: this column is given twice") for s in said)
    assert any(s.startswith("G1: smelting.slag.rate: has no unit") for s in said)
    assert any(s.startswith("D2: smelting.slag.copper") and "above zero" in s for s in said)
    assert any(s.startswith("F2: smelting.enrichment") for s in said)
    assert any(s.startswith("D3: smelting.slag.copper") and "decimal point" in s for s in said)
    assert any(s.startswith("D4: smelting.slag.copper") and "negative" in s for s in said)
    assert any(s.startswith("F4: smelting.enrichment") and "too high" in s for s in said)
    assert any(s.startswith("A4: day 1: comes after a later period") for s in said)
    assert any(s.startswith("A5: day 2: this period is given twice") for s in said)
    assert any(s.startswith("D5: smelting.slag.copper") for s in said)


def test_a_setting_that_another_determines_is_refused(tmp_path: Path):
    case = load_case(CASE, ["smelting.oxygen_per_tonne=170 Nm3/t"])
    file = written(tmp_path, "period,smelting.matte_grade [wt%]\nday 1,64\n")
    assert "oxygen_per_tonne is given" in faults(case, file)[0]


def test_a_predicted_setting_is_measured_by_its_reading(case: Case, tmp_path: Path):
    file = written(tmp_path, "period,smelting.slag_copper [wt%]\nday 1,1.2\n")
    assert "measure its reading" in faults(case, file)[0]


def test_a_day_without_feed_is_one_on_which_the_plant_stood(case: Case, tmp_path: Path):
    file = written(tmp_path, "period,concentrate.Tolven.rate [t/h]\nday 1,17\nday 2,0\n")
    assert faults(case, file) == [
        "A3: day 2: nothing was fed: the plant stood; delete the row or empty its cells"
    ]


def test_an_empty_day_stands_aside(case: Case, tmp_path: Path):
    file = written(tmp_path, "period,concentrate.Tolven.rate [t/h]\nday 1,17\nday 2,\nday 3,18\n")
    m = read_measured(case, file)
    assert m.periods == ("day 1", "day 3") and m.aside == {"day 2": "nothing was measured"}


def test_an_excel_date_in_a_cell_is_told(case: Case, tmp_path: Path):
    book = openpyxl.Workbook()
    for row in (
        ["period", "smelting.slag.copper [wt%]"],
        [datetime.date(2026, 3, 1), 1.2],
        [datetime.date(2026, 3, 2), datetime.date(2026, 1, 2)],
    ):
        book.active.append(row)
    book.save(tmp_path / "days.xlsx")
    assert faults(case, str(tmp_path / "days.xlsx")) == [
        "Sheet!B3: smelting.slag.copper: is a date or time; the cell was formatted as one, write the number again"
    ]


def test_a_toml_file_is_one_period(case: Case, tmp_path: Path):
    file = written(
        tmp_path,
        '[measured]\n"smelting.matte.grade" = "63.1 +- 0.4 %"\n"smelting.oxygen.industrial" = "21000 Nm3/h"\n'
        '"smelting.slag.copper" = "1.2 % +- 5 % rel"\n"smelting.fuel" = "700 +- 30 Nm3/h"\n',
        "day.toml",
    )
    grade, oxygen, copper, _ = read_measured(case, file).columns
    assert grade.values == pytest.approx([0.631]) and grade.deviation == pytest.approx([0.004])
    assert oxygen.usual
    assert copper.deviation == pytest.approx([0.0006])


def test_faults_of_a_toml_file_have_their_lines(case: Case, tmp_path: Path):
    file = written(
        tmp_path,
        '[measured]\n"smelting.mate.grade" = "63.1 +- 0.4 %"\n"smelting.fuel" = "7,5 +- 0.1 Nm3/h"\n"smelting.air" = true\n',
        "day.toml",
    )
    with pytest.raises(CaseError) as caught:
        read_measured(case, file)
    assert [fault.line for fault in caught.value.faults] == [2, 3, 4]


def test_the_case_says_how_sure_an_assay_is(tmp_path: Path):
    text = Path(CASE).read_text(encoding="utf-8")
    text = text.replace(
        '[[concentrate]]\nname = "Marrick Dale"',
        '[concentrate.precision]\nCu = 0.3\n\n[[concentrate]]\nname = "Marrick Dale"',
    )
    file = written(tmp_path, "period,concentrate.Fenholt.assay.Cu [%]\nday 1,28\n")
    column = read_measured(load_case(text), file).columns[0]
    assert column.deviation == pytest.approx([0.003]) and not column.usual


def test_correlations_are_checked(case: Case, tmp_path: Path):
    file = written(tmp_path, "period,smelting.air [Nm3/h],smelting.fuel [Nm3/h]\nday 1,20000,700\n")
    m = read_measured(case, file)
    assert correlations(m, ["smelting.air,smelting.fuel=0.4"])[0, 1] == 0.4
    for text in ("smelting.air,smelting.fuel=1.4", "smelting.air=0.2", "smelting.air,smelting.x=0.2"):
        with pytest.raises(CaseError):
            correlations(m, [text])


def test_dropping_what_is_not_there_is_a_fault(case: Case, tmp_path: Path):
    file = written(tmp_path, "period,smelting.air [Nm3/h],smelting.fuel [Nm3/h]\nday 1,20000,700\n")
    assert [c.key for c in read_measured(case, file, ["smelting.air"]).columns] == ["smelting.fuel"]
    with pytest.raises(CaseError, match="no column"):
        read_measured(case, file, ["smelting.ear"])
