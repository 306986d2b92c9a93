"""The report from the command line."""

from __future__ import annotations

import errno
import json
import os
import sys
from pathlib import Path

import pytest

from pyrobal.cli import main

CASES = Path(__file__).parents[2] / "cases"
SKERRY = str(CASES / "skerry_point.toml")


def test_html_is_written_beside_what_is_printed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "report.html"
    assert main(["balance", SKERRY, "--html", str(file)]) == 0
    assert file.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert "Products" in capsys.readouterr().out


def test_html_on_standard_output_stands_alone(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["balance", SKERRY, "--html", "-"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("<!DOCTYPE html>")
    assert out.rstrip().endswith("</html>")
    assert "Products" in err


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


def test_a_file_that_cannot_be_written_takes_nothing_from_the_screen(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, text: str, encoding: str) -> None:
        path.open("w").close()
        raise OSError(errno.ENOSPC, "No space left on device", str(path))

    monkeypatch.setattr(Path, "write_text", full)
    file = tmp_path / "report.html"
    assert main(["balance", SKERRY, "--html", str(file)]) == 2
    out, err = capsys.readouterr()
    assert "Products  matte" in out
    assert err == f"pyrobal: {file}: No space left on device\n"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("kind", ["html", "xlsx"])
def test_an_interrupt_while_writing_leaves_the_file_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    file = tmp_path / f"report.{kind}"
    file.write_text("as it was")

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace", interrupted)
    assert main(["balance", SKERRY, f"--{kind}", str(file)]) == 130
    assert [one.name for one in tmp_path.iterdir()] == [file.name]
    assert file.read_text() == "as it was"


def test_a_device_and_a_link_are_written_through(tmp_path: Path) -> None:
    link = tmp_path / "link.html"
    link.symlink_to(tmp_path / "real.html")
    assert main(["balance", SKERRY, "--html", str(link), "--json", "/dev/null"]) == 0
    assert link.is_symlink()
    assert (tmp_path / "real.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert Path("/dev/null").is_char_device()


@pytest.mark.parametrize(
    ("file", "said"),
    [("", "is empty"), (".", "is a directory"), ("nowhere/report.html", "there is no directory nowhere")],
)
def test_a_place_that_takes_no_file_is_refused_before_anything_is_computed(
    file: str, said: str, capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["balance", SKERRY, "--html", file]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err


def test_a_place_without_the_right_to_write_is_refused(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    assert main(["balance", SKERRY, "--xlsx", str(tmp_path / "b.xlsx")]) == 2
    assert "may not be written" in capsys.readouterr().err


def test_a_library_that_is_not_installed_is_named_with_what_brings_it(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in [name for name in sys.modules if name.startswith("pyrobal.report.html")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "jinja2", None)
    assert main(["balance", SKERRY, "--html", str(tmp_path / "b.html")]) == 2
    out, err = capsys.readouterr()
    assert "pip install 'pyrobal[report]'" in err
    assert "Products  matte" in out


def test_a_section_there_is_not_is_told_with_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["balance", SKERRY, "--detail", "smeltin"]) == 2
    assert 'did you mean "smelting"?' in capsys.readouterr().err
