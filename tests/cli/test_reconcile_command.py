"""``pyrobal reconcile`` from the template to a tuned case."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import openpyxl
import pytest

from pyrobal.case.load import load_case
from pyrobal.cli import main

CASE, DAYS = "cases/skerry_point.toml", "cases/skerry_point_days.csv"
FIT = [
    part
    for key in ("heat_loss", "air_in_leakage", "magnetite_over_equilibrium", "slag_entrained_matte")
    for part in ("--fit", f"smelting.{key}")
]


def test_from_the_measurements_to_a_tuned_case(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    days = str(tmp_path / "days.csv")
    rows = Path(DAYS).read_text(encoding="utf-8").splitlines()[:14]  # heading, precision and twelve days
    Path(days).write_text("\n".join(rows), encoding="utf-8")
    out = {name: str(tmp_path / f"a.{name}") for name in ("toml", "html", "xlsx", "json")}
    options = ["--out", out["toml"], "--html", out["html"], "--xlsx", out["xlsx"], "--json", out["json"]]
    before = Path(CASE).read_bytes(), Path(days).read_bytes()
    assert main(["reconcile", CASE, days, *FIT, *options]) == 0
    said = capsys.readouterr().out
    assert said.startswith("11 days: consistent but for smelting.oxygen.industrial, which reads 3.")
    assert "day 9 is not used: nothing was measured." in said
    assert (Path(CASE).read_bytes(), Path(days).read_bytes()) == before
    _only_fitted_lines_changed(
        Path(CASE).read_text(encoding="utf-8"), Path(out["toml"]).read_text(encoding="utf-8")
    )
    content = json.loads(Path(out["json"]).read_text(encoding="utf-8"))
    assert content["verdict"] in " ".join(said.split()) and content["settled"]
    fitted = content["fitted"]["smelting.heat_loss"]
    tuned = load_case(out["toml"]).inputs.smelting.heat_loss
    assert tuned is not None and float(tuned[0]) == pytest.approx(fitted["value"] * 1e6, rel=1e-5)
    page = Path(out["html"]).read_text(encoding="utf-8")
    assert content["verdict"] in page and "Residuals by instrument" in page
    sheets = openpyxl.load_workbook(out["xlsx"]).sheetnames
    assert sheets[:2] == ["answer", "instruments"] and "measurements" in sheets


def _only_fitted_lines_changed(before: str, after: str) -> None:
    old, new = before.splitlines(), after.splitlines()
    gone, come = [x for x in old if x not in new], [x for x in new if x not in old]
    assert [x.split(" = ")[0] for x in gone] == ["air_in_leakage", "heat_loss"]
    assert sorted(x.split(" = ")[0] for x in come) == [
        "air_in_leakage", "heat_loss", "magnetite_over_equilibrium", "slag_entrained_matte",
    ]  # fmt: skip
    assert all("# fitted " in x and "11 days (day 1 to day 12)" in x for x in come)
    assert [x for x in new if x not in come] == [x for x in old if x not in gone]


@pytest.mark.parametrize("ending", ["xlsx", "csv"])
def test_the_template_is_read_once_it_is_filled_in(
    tmp_path: Path, ending: str, capsys: pytest.CaptureFixture[str]
):
    file = tmp_path / f"sheet.{ending}"
    assert main(["reconcile", CASE, "--template", str(file)]) == 0
    rows = _rows(file)
    assert rows[0][0] == "period" and rows[1][0] == "precision"
    assert "smelting.slag.copper [wt%]" in rows[0] and "concentrate.Fenholt.assay.Cu [wt%]" in rows[0]
    at = {str(heading): i for i, heading in enumerate(rows[0])}
    rows[2][at["smelting.fuel [Nm3/h]"]] = 600
    rows[2][at["smelting.matte.grade [wt%]"]] = 63.4
    keep = [0, *(i for i, value in enumerate(rows[2]) if i and value not in (None, ""))]
    filled = tmp_path / "filled.csv"
    with filled.open("w", newline="", encoding="utf-8") as stream:
        csv.writer(stream).writerows([[row[i] for i in keep] for row in rows])
    capsys.readouterr()
    assert main(["reconcile", CASE, str(filled), "--fit", "smelting.heat_loss"]) == 0
    assert capsys.readouterr().out.startswith("1 day: met exactly")


def _rows(file: Path) -> list[list[object]]:
    if file.suffix == ".csv":
        with file.open(newline="", encoding="utf-8") as stream:
            return [list(row) for row in csv.reader(stream)]
    return [list(row) for row in openpyxl.load_workbook(file).active.iter_rows(values_only=True)]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([CASE], "--template FILE.xlsx"),
        ([CASE, DAYS, "--out", "x.toml"], "give --fit"),
        (
            [CASE, DAYS, *FIT, "--set", "smelting.dust=5 %", "--out", "x.toml"],
            "write smelting.dust into the case",
        ),
        ([CASE, DAYS, "--fit", "concentrate.*.rate", "--out", "x.toml"], "fit no key with *"),
        ([CASE, "--template", "x.doc"], ".xlsx or .csv"),
        ([CASE, DAYS, *FIT, "--out", CASE], "is read as CASE"),
        ([CASE, DAYS, *FIT, "--html", DAYS], "is read as MEASURED"),
        ([CASE, DAYS, "--fit", "smelting.heat_los"], "did you mean"),
        ([CASE, DAYS, "--correlated", "a,b=0.4"], "no column has this key"),
        ([CASE, "nowhere.csv"], "there is no such file"),
    ],
)
def test_a_wrong_line_is_refused_and_nothing_written(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
):
    assert main(["reconcile", *arguments]) == 2
    assert said in " ".join(capsys.readouterr().err.split())


def test_json_alone_on_standard_output(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    file = tmp_path / "day.toml"
    file.write_text('[measured]\n"smelting.fuel" = "700 +- 30 Nm3/h"\n', encoding="utf-8")
    assert main(["reconcile", CASE, str(file), "--fit", "smelting.heat_loss", "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["periods"] == ["measured"]
