"""Closed and full streams, and messages that no terminal obeys."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import click
import pytest

from pyrobal.cli import main
from pyrobal.cli.commands import pyrobal
from pyrobal.cli.files import InputFile, OutputFile
from pyrobal.errors import MOST_FAULTS, CaseError, Fault

CASE = Path(__file__).parents[2] / "cases" / "skerry_point.toml"
TEXT = CASE.read_text(encoding="utf-8")
HIDDEN = "\x1b[31m\u202e\x07\x9b"  # colour, right to left, bell, the short form of escape


def shell(line: str, tmp_path: Path) -> subprocess.CompletedProcess[str]:
    command = line.format(pyrobal=f"{sys.executable} -m pyrobal", case=CASE)
    return subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False, cwd=tmp_path)


@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        ("{pyrobal} balance {case} >&-", 2, "standard output: is closed"),
        ("{pyrobal} balance {case} --json - >&-", 2, "standard output: is closed"),
        ("{pyrobal} explain {case} smelting.fuel >&-", 2, "standard output: is closed"),
        ("{pyrobal} --help >&-", 2, "standard output: is closed"),
        ("{pyrobal} balance - <&-", 2, "-: standard input is closed"),
        ("{pyrobal} compare {case} - <&-", 2, "-: standard input is closed"),
        ("{pyrobal} check {case} <&-", 0, ""),
        ("{pyrobal} check nowhere.toml 2>&-", 2, ""),
        ("{pyrobal} check {case} >/dev/full", 2, "standard output: No space left on device"),
        ("{pyrobal} balance {case} --xlsx /dev/full", 2, "/dev/full: No space left on device"),
        ("{pyrobal} balance {case} --html /dev/full", 2, "/dev/full: No space left on device"),
    ],
)
def test_streams_that_are_closed_or_full(line: str, code: int, says: str, tmp_path: Path) -> None:
    if "/dev/full" in line and not Path("/dev/full").exists():
        pytest.skip("no device that is always full")
    process = shell(line, tmp_path)
    assert process.returncode == code
    assert says in process.stderr
    for complaint in ("Traceback", "Exception ignored", "AttributeError"):
        assert complaint not in process.stderr


def test_no_file_takes_the_place_of_a_closed_stream(tmp_path: Path) -> None:
    """The number of a closed stream is the first that a file opened later would be given."""
    process = shell("{pyrobal} balance {case} --json out.json >&- 2>&- <&-", tmp_path)
    assert process.returncode == 2
    assert (tmp_path / "out.json").read_text().startswith("{")
    assert (tmp_path / "out.json").read_text().rstrip().endswith("}")


def test_a_fault_steers_no_terminal() -> None:
    fault = Fault(f"a{HIDDEN}.toml", 1, f"smelting.{HIDDEN}", f'is "{HIDDEN}"')
    assert str(fault).isprintable()
    assert r"\x1b[31m\u202e\x07\x9b" in str(fault)
    assert all(part.isprintable() for part in (fault.file, fault.key, fault.text))


def hidden_lines(command: str, case: str) -> list[list[str]]:
    """The line of a command with hidden characters in one of its words, for each of its words."""
    lines = []
    for parameter in pyrobal.commands[command].params:
        if isinstance(parameter, click.Option):
            if not parameter.is_flag:
                lines.append([case, parameter.opts[0], f"a{HIDDEN}=1"])
                lines.append([case, parameter.opts[0], f"smelting.{HIDDEN}"])
        elif isinstance(parameter.type, InputFile | OutputFile):
            lines.append([f"{HIDDEN}.toml", "smelting.fuel"])
        else:
            lines.append([case, f"a.{HIDDEN}"])
    return [*lines, [case, f"--{HIDDEN}"], [case, case, case, HIDDEN]]


@pytest.mark.parametrize("command", sorted(pyrobal.commands))
def test_no_message_holds_a_character_that_cannot_be_seen(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    wrong = tmp_path / "wrong.toml"
    keys = f'"{HIDDEN}" = 1'.replace("\x1b", r"\u001b").replace("\x07", r"\u0007").replace("\x9b", r"\u009b")
    wrong.write_text(TEXT.replace("[smelting]", f"[smelting]\n{keys}"), encoding="utf-8")
    for case in (str(CASE), str(wrong)):
        for line in hidden_lines(command, case):
            main([command, *line])
            out, err = capsys.readouterr()
            assert "Traceback" not in err
            for text in (out, err):
                assert all(part.isprintable() for part in text.split("\n")), (line, text)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            'title = "a\x1b[31m"\n',
            r"1: title: holds the control character \x1b (escape, which steers a terminal)",
        ),
        ("[smelting]\nСu = 3\n", 'its "С" is the letter CYRILLIC CAPITAL LETTER ES, not a Latin one'),
    ],
)
def test_a_letter_is_called_what_it_is(
    text: str, says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "case.toml"
    file.write_text(text + TEXT.split("\n", 3)[3], encoding="utf-8")
    assert main(["check", str(file)]) == 2
    assert says in capsys.readouterr().err


@pytest.mark.parametrize("end", ["\r", "\r\n", "\n"])
def test_any_end_of_line_is_read(end: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "case.toml"
    file.write_bytes(TEXT.replace("\n", end).encode())
    assert main(["check", str(file)]) == 0
    file.write_bytes(TEXT.replace("[smelting]", "[smelting]\nnope = 1").replace("\n", end).encode())
    line = TEXT[: TEXT.index("[smelting]")].count("\n") + 2
    assert main(["check", str(file)]) == 2
    assert f"{file}:{line}: smelting.nope" in capsys.readouterr().err


def test_a_list_of_what_is_allowed_stands_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "case.toml"
    many = "\n".join(f"zq{i} = 1" for i in range(5000))
    file.write_text(TEXT.replace("[smelting]", f"[smelting]\n{many}", 1), encoding="utf-8")
    assert main(["check", str(file)]) == 2
    err = capsys.readouterr().err
    assert err.count("allowed: matte_grade") == 1
    assert err.count("allowed: as above") == MOST_FAULTS - 1
    assert len(err.splitlines()) == MOST_FAULTS + 2
    assert f"more than {MOST_FAULTS} errors" in err


def test_faults_of_any_origin_are_as_many_as_are_read() -> None:
    error = CaseError([Fault("t.toml", i, "k", "unknown key; allowed: " + "x" * 50) for i in range(5000)])
    assert len(error.faults) == MOST_FAULTS + 1
    assert str(error).count("x" * 50) == 1
    assert os.linesep not in error.faults[-1].text
