"""The report from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pyrobal.cli import main

CASES = Path(__file__).parents[2] / "cases"
SKERRY = str(CASES / "skerry_point.toml")


def test_html_is_written_beside_what_is_printed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "report.html"
    assert main(["balance", SKERRY, "--html", str(file)]) == 0
    assert file.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert "Comes out" in capsys.readouterr().out


def test_html_on_standard_output_stands_alone(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["balance", SKERRY, "--html", "-"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("<!DOCTYPE html>")
    assert out.rstrip().endswith("</html>")
    assert "Comes out" in err


def test_two_kinds_of_output_do_not_mix(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["balance", SKERRY, "--html", "-", "--json", "-"]) == 2
    assert capsys.readouterr().out == ""


def test_an_infeasible_case_leaves_its_reports_and_exit_code_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [tmp_path / "r.html", tmp_path / "r.json"]
    arguments = ["--html", str(files[0]), "--json", str(files[1]), "--set", "smelting.matte_grade=79.8 %"]
    assert main(["balance", SKERRY, *arguments]) == 1
    assert json.loads(files[1].read_text(encoding="utf-8"))["status"] == "infeasible"
    assert "matte grade too high" in files[0].read_text(encoding="utf-8")
    assert "status: infeasible" in capsys.readouterr().out
