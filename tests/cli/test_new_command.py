"""``pyrobal new``: a case to fill in, which runs as it stands and costs nobody a file."""

from __future__ import annotations

from pathlib import Path

import pytest

from pyrobal.case.blank import PLANTS
from pyrobal.cli import main


@pytest.mark.parametrize("plant", PLANTS)
def test_it_runs_as_it_stands(plant: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(tmp_path / "mine.toml")
    assert main(["new", file, "--plant", plant]) == 0
    assert main(["check", file]) == 0
    assert "no errors" in capsys.readouterr().out
    assert main(["balance", file]) == 0
    assert "has no effect" not in capsys.readouterr().out


@pytest.mark.parametrize("plant", PLANTS)
def test_what_is_commented_out_is_right_too(plant: str, tmp_path: Path) -> None:
    """Every setting behind a # is accepted once it is removed, all of them together."""
    file = tmp_path / "mine.toml"
    main(["new", str(file), "--plant", plant])
    lines = file.read_text(encoding="utf-8").splitlines()
    example = [line.removeprefix("# ") if "=" in line or line.startswith("# [") else line for line in lines]
    assert example != lines
    file.write_text("\n".join(example), encoding="utf-8")
    assert main(["check", str(file)]) == 0


def test_a_file_that_is_there_stays(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("mine")
    assert main(["new", str(file)]) == 2
    assert f"{file} exists already" in capsys.readouterr().err
    assert file.read_text() == "mine"


def test_to_standard_output(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", "-", "--plant", "acid"]) == 0
    assert capsys.readouterr().out.startswith("# An acid plant alone")
