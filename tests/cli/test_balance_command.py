"""`pyrobal balance`: what is printed where, and with which exit code."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pyrobal.cli import main

CASE = str(Path(__file__).parents[2] / "cases" / "skerry_point.toml")


def test_prints_the_balance(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["balance", CASE]) == 0
    out, err = capsys.readouterr()
    assert "Skerry Point" in out
    assert "matte" in out
    assert err == ""


def test_json_alone_on_standard_output(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["balance", CASE, "--json", "-"]) == 0
    out, err = capsys.readouterr()
    read = json.loads(out)
    assert read["readings"]["smelting.matte.grade"] == {"value": pytest.approx(64.0), "unit": "wt%"}
    assert "Skerry Point" in err


def test_json_in_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "balance.json"
    assert main(["balance", CASE, "--json", str(file)]) == 0
    assert json.loads(file.read_text(encoding="utf-8"))["case"].startswith("Skerry Point")
    assert "Skerry Point" in capsys.readouterr().out


def test_set_reaches_the_balance(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["balance", CASE, "--json", "-", "--set", "smelting.matte_grade=70 %"]) == 0
    grade = json.loads(capsys.readouterr().out)["readings"]["smelting.matte.grade"]["value"]
    assert grade == pytest.approx(70.0)


@pytest.mark.parametrize(
    ("assignment", "limit"),
    [
        ("smelting.matte_grade=85 %", "79 % Cu"),
        ("smelting.enrichment=99 %", "purity of the industrial oxygen"),
    ],
)
def test_an_infeasible_target_ends_with_one_and_names_the_limit(
    assignment: str, limit: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["balance", CASE, "--json", "-", "--set", assignment]) == 1
    out, err = capsys.readouterr()
    assert json.loads(out)["status"] == "infeasible"
    assert limit in " ".join(err.split())
    assert "Traceback" not in err


def test_detail(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["balance", CASE]) == 0
    short = capsys.readouterr().out
    assert main(["balance", CASE, "--detail", "all"]) == 0
    assert len(capsys.readouterr().out) > 3 * len(short)
    assert main(["balance", CASE, "--detail", "smeltng"]) == 2
    assert "smelting" in capsys.readouterr().err


def test_a_full_disk_is_said_after_the_balance(capsys: pytest.CaptureFixture[str]) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("no device that is always full")
    assert main(["balance", CASE, "--json", "/dev/full"]) == 2
    assert "No space left" in capsys.readouterr().err
