"""Lots out of a laboratory's sheet: what is read, how each fault names its cell, and that no output falls on it."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from pyrobal.case.load import Case, load_case
from pyrobal.cli import main
from pyrobal.errors import CaseError
from pyrobal.report.result import balance

TOP = 'title = "lots"\nlots = "lots.csv"\n'
REST = "[flux.silica.assay]\nSiO2 = 93\n[fuel.gas]\nCH4 = 100\n[smelting]\nfuel = 'gas'\n"
FENHOLT = '[[concentrate]]\nname = "Fenholt"\nrate = "55 t/h"\n[concentrate.assay]\nCu = 28.1\nFe = 27.6\nS = 31.9\nSiO2 = 6\n'
LOTS = """name,rate [t/h],moisture [%],Cu [%],Fe [%],S [%],SiO2 [%],As [ppm],Au [g/t],chalcopyrite [%]
Kelda,40,8.5,26.2,28.4,32.5,7.0,1500,4,
Orrin,,9,30.1,24.0,29.6,8.8,<100,,71
"""


def written(tmp_path: Path, lots: str = LOTS, case: str = TOP + FENHOLT + REST) -> Case:
    (tmp_path / "lots.csv").write_text(lots)
    (tmp_path / "case.toml").write_text(case)
    return load_case(tmp_path / "case.toml")


def test_lots_stand_behind_the_concentrates_of_the_file(tmp_path: Path) -> None:
    case = written(tmp_path)
    fenholt, kelda, orrin = case.inputs.concentrate
    assert [c.name for c in (fenholt, kelda, orrin)] == ["Fenholt", "Kelda", "Orrin"]
    assert kelda.rate is not None and kelda.rate[0] == pytest.approx(40 / 3.6)
    assert kelda.assay["As"][0] == pytest.approx(1500e-6) and kelda.assay["Au"][0] == pytest.approx(4e-6)
    assert orrin.rate is not None and orrin.rate[0] == 0.0  # not fed
    assert orrin.assay["As"][0] == pytest.approx(50e-6)  # half the limit of detection
    assert "Au" not in orrin.assay and orrin.minerals["chalcopyrite"][0] == pytest.approx(0.71)
    assert kelda.moisture[0] == pytest.approx(0.085)
    result = balance(case)
    assert result["feed.dry_rate"].magnitude == pytest.approx(95.0)


def test_the_same_as_written_out_by_hand_and_read_again_from_its_text(tmp_path: Path) -> None:
    case = written(tmp_path)
    again = load_case(case.text)  # without the sheet
    assert [c.name for c in again.inputs.concentrate] == ["Fenholt", "Kelda", "Orrin"]
    assert balance(again)["smelting.matte.rate"] == balance(case)["smelting.matte.rate"]
    moved = load_case(tmp_path / "case.toml", ["concentrate.Orrin.rate=10 t/h"])
    assert balance(moved)["feed.dry_rate"].magnitude == pytest.approx(105.0)


def test_a_workbook_and_thirty_lots(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["name", "rate [t/h]", "Cu [%]", "Fe [%]", "S [%]", "SiO2 [%]"])
    for i in range(30):
        book.active.append([f"lot {i}", 3.0, 24.0 + 0.2 * i, 28.0, 32.0, 7.0])
    book.save(tmp_path / "lots.xlsx")
    (tmp_path / "case.toml").write_text('lots = "lots.xlsx"\n' + REST)
    case = load_case(tmp_path / "case.toml")
    assert len(case.inputs.concentrate) == 30
    result = balance(case)
    assert result.status != "infeasible"
    assert result["feed.assay.Cu"].magnitude == pytest.approx(24.0 + 0.2 * 14.5)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("Kelda,40", "Kelda,-4", "lots.csv: B2"),
        ("Kelda,40", "Kelda,many", "lots.csv: B2"),
        ("26.2", "126", "lots.csv: D2"),
        ("Orrin,", "Kelda,", "given twice"),
        ("Orrin,,", ",,", "name"),
        ("Cu [%]", "Cuu [%]", "unknown column"),
        ("rate [t/h]", "rate", "needs its unit"),
        ("rate [t/h]", "rate [MW]", "lots.csv: B2"),
        ("name,", "lot,", "no column is headed name"),
        ("Fe [%]", "Cu [%]", "heads two columns"),
    ],
)
def test_a_fault_names_its_cell(tmp_path: Path, old: str, new: str, says: str) -> None:
    with pytest.raises(CaseError) as caught:
        written(tmp_path, LOTS.replace(old, new, 1))
    assert says in str(caught.value)


def test_several_faults_at_once_and_a_sheet_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(CaseError) as caught:
        written(tmp_path, LOTS.replace("Kelda,40", "Kelda,-4").replace("30.1", "x"))
    assert "B2" in str(caught.value) and "D3" in str(caught.value)
    with pytest.raises(CaseError, match="there is no such file") as missing:
        written(tmp_path, case=TOP.replace("lots.csv", "nowhere.csv") + FENHOLT + REST)
    assert ":2:" in str(missing.value)
    with pytest.raises(CaseError, match="names a sheet"):
        written(tmp_path, case="lots = 3\n" + FENHOLT + REST)


def test_no_output_falls_on_the_lots(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    written(tmp_path)
    sheet = tmp_path / "lots.csv"
    for line in (
        ["balance", str(tmp_path / "case.toml"), "--json", str(sheet)],
        [
            "sweep",
            str(tmp_path / "case.toml"),
            "--over",
            "smelting.matte_grade=60 %:62 %:2",
            "--read",
            "feed.dry_rate",
            "--out",
            str(sheet),
        ],
    ):
        assert main(line) == 2
        assert "lots of CASE" in capsys.readouterr().err
    assert sheet.read_text() == LOTS
