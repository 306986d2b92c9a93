"""No command loses a file: what is read is not written, and no two outputs are one."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from pyrobal.cli import main
from pyrobal.cli.commands import pyrobal
from pyrobal.cli.files import InputFile, OutputFile
from pyrobal.cli.sweep import BESIDE
from pyrobal.files import put

CASE = Path(__file__).parents[2] / "cases" / "skerry_point.toml"
FILES = ("CASE", "FILE", "MEASURED", "PLAN")  # how a help page names a file


def takes(command: click.Command, kind: type) -> list[click.Parameter]:
    return [p for p in command.params if isinstance(p.type, kind)]


def guarded() -> Iterator[tuple[str, click.Parameter, click.Parameter]]:
    """Every command, each of its outputs, with each input and each other output."""
    for name, command in sorted(pyrobal.commands.items()):
        for output in takes(command, OutputFile):
            for other in takes(command, InputFile | OutputFile):
                if other is not output:
                    yield name, output, other


def words(parameter: click.Parameter, file: str) -> list[str]:
    return [parameter.opts[0], file] if isinstance(parameter, click.Option) else [file]


def spellings(file: Path) -> dict[str, str]:
    """Names that lead to one file: the plain one, one with a detour, a symbolic and a hard link."""
    (file.parent / "sub").mkdir()
    (file.parent / "soft.toml").symlink_to(file.name)
    os.link(file, file.parent / "hard.toml")
    return {
        "plain": str(file),
        "detour": str(file.parent / "sub" / ".." / file.name),
        "symbolic link": str(file.parent / "soft.toml"),
        "hard link": str(file.parent / "hard.toml"),
    }


@pytest.fixture
def case(tmp_path: Path) -> Path:
    return Path(shutil.copy(CASE, tmp_path / "case.toml"))


@pytest.mark.parametrize("command", sorted(pyrobal.commands))
def test_whatever_is_called_a_file_is_held_against_the_others(command: str) -> None:
    for parameter in pyrobal.commands[command].params:
        metavar = (parameter.metavar or parameter.human_readable_name).upper()
        if any(word in metavar for word in FILES) and not isinstance(parameter.type, click.Choice):
            assert isinstance(parameter.type, InputFile | OutputFile), (command, parameter.name)


@pytest.mark.parametrize(
    ("command", "output", "other"),
    [
        pytest.param(*found, id="-".join((found[0], *(p.name or "" for p in found[1:]))))
        for found in guarded()
    ],
)
def test_no_output_falls_on_another_file_of_the_line(
    command: str,
    output: click.Parameter,
    other: click.Parameter,
    case: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = case.read_bytes()
    monkeypatch.setattr(pyrobal.commands[command], "callback", lambda **_: pytest.fail("it went to work"))
    for name in spellings(case).values():
        first, second = words(output, name), words(other, str(case))
        for line in (first + second, second + first):
            assert main([command, *line]) == 2
            err = capsys.readouterr().err
            assert ("is read as" if isinstance(other.type, InputFile) else "is written as") in err
            assert case.read_bytes() == before


@pytest.mark.parametrize(
    "arguments",
    [
        ["uncertainty", "C.toml", "--read", "smelting.fuel", "--html", "C.toml"],
        ["window", "C.toml", "--x", "smelting.enrichment=40:70 %", "--y", "smelting.matte_grade=60:70 %",
         "--limit", "smelting.fuel<=500", "--html", "C.toml"],
        ["compare", "C.toml", "D.toml", "--html", "C.toml"],
        ["compare", "D.toml", "C.toml", "--html", "C.toml"],
        ["blend", "C.toml", "--html", "C.toml"],
        ["blend", "D.toml", "--terms", "C.toml", "--html", "C.toml"],
        ["balance", "C.toml", "--json", "sub/../C.toml"],
        ["balance", "C.toml", "--html", "link.toml"],
        ["balance", "C.toml", "--html", "new", "--json", "new"],
        ["balance", "C.toml", "--html", "new", "--json", "sub/../new"],
        ["balance", "C.toml", "--html", "-", "--json", "-"],
        ["balance", "C.toml", "--xlsx", "-"],
        ["compare", "-", "-"],
        ["sweep", "C.toml", "--out", "C.toml", "--read", "smelting.fuel"],
        ["sweep", "C.toml", "--scenarios", "t.csv", "--out", "t.csv", "--read", "smelting.fuel"],
        ["sweep", "g.csv.parts/C.toml", "--out", "g.csv", "--read", "smelting.fuel"],
        ["sweep", "C.toml", "--out", "-", "--read", "smelting.fuel"],
    ],
)  # fmt: skip
def test_a_line_that_would_lose_a_file_is_refused(
    arguments: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for folder in ("sub", "g.csv.parts"):
        Path(folder).mkdir()
    for file in ("C.toml", "D.toml", "t.csv", "g.csv.parts/C.toml"):
        shutil.copy(CASE, file)
    Path("link.toml").symlink_to("C.toml")
    there = sorted(tmp_path.rglob("*"))
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "Invalid value for" in err
    assert sorted(tmp_path.rglob("*")) == there
    for file in ("C.toml", "D.toml", "t.csv", "g.csv.parts/C.toml"):
        assert Path(file).read_bytes() == CASE.read_bytes()


def test_output_may_go_to_nowhere_twice() -> None:
    assert main(["balance", str(CASE), "--json", os.devnull, "--html", os.devnull]) == 0


def test_a_case_on_standard_input_and_json_on_standard_output_are_two(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with CASE.open(encoding="utf-8") as stdin:
        monkeypatch.setattr("sys.stdin", stdin)
        assert main(["balance", "-", "--json", "-"]) == 0
    assert capsys.readouterr().out.startswith("{")


def test_what_a_study_keeps_beside_its_file_is_what_the_line_is_held_against() -> None:
    from pyrobal.studies.store import NOTE, Store

    assert (Store.at("grid.csv").folder.name.removeprefix("grid.csv"), NOTE) == BESIDE


def test_a_file_is_moved_to_its_place_whole(tmp_path: Path) -> None:
    file = tmp_path / "page.html"
    file.write_text("old")
    file.chmod(0o640)

    def half(place: Path) -> None:
        place.write_text("hal")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        put(file, half)
    assert file.read_text() == "old"
    put(file, lambda place: place.write_text("new"))
    assert file.read_text() == "new"
    assert file.stat().st_mode & 0o777 == 0o640
    assert list(tmp_path.iterdir()) == [file]
