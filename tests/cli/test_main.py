"""The command line as a person meets it: help, exit codes, what goes to which stream."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from processes import hear_interrupts

from pyrobal import __version__
from pyrobal.cli import commands, main
from pyrobal.errors import NotSolved, Reason

ROOT = Path(__file__).parents[2]
CASE = str(ROOT / "cases" / "skerry_point.toml")
HEAVY = ("numpy", "scipy", "pandas", "pint", "rich", "thermo", "chemicals", "pydantic", "plotly")


def run(*arguments: str, **options: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(  # type: ignore[call-overload, no-any-return]
        [sys.executable, "-m", "pyrobal", *arguments], capture_output=True, text=True, check=False, **options
    )


def test_alone_it_says_what_it_is_in_five_lines(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 5
    assert all(len(line) <= 100 for line in lines)
    assert f"pyrobal balance {Path(CASE).relative_to(ROOT)}" in "\n".join(lines)


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.strip() == f"pyrobal {__version__}"


@pytest.mark.parametrize("arguments", [["--help"], ["-h"], ["balance", "--help"], [], ["--version"]])
def test_help_loads_nothing_heavy(arguments: list[str]) -> None:
    code = (
        f"import sys; from pyrobal.cli import main; main({arguments!r}); print(*sys.modules, file=sys.stderr)"
    )
    process = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = {name.partition(".")[0] for name in process.stderr.split()}
    assert loaded & set(HEAVY) == set()


@pytest.mark.parametrize("command", sorted(commands.pyrobal.commands))
def test_every_command_has_help(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, "--help"]) == 0
    assert len(capsys.readouterr().out.splitlines()) > 5


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["balence", CASE], "No such command 'balence'"),
        (["balance"], "Missing argument 'CASE'"),
        (["balance", CASE, "--jsn", "x"], "No such option"),
        (["check", CASE, "--set"], "requires an argument"),
        (["check", CASE, "extra"], "unexpected extra argument"),
        (["check", "nowhere.toml"], "nowhere.toml: there is no such file"),
        (["check", CASE, "--set", "smelting.matte_grade=64"], "--set: smelting.matte_grade: 64 has no unit"),
        (["balance", CASE, "--json", "/nowhere/at/all.json"], "no directory"),
        (["balance", CASE, "--json", str(ROOT)], "is a directory"),
        (["settings", "smeltin.dust"], 'did you mean "smelting.dust"?'),
        (["readings", "smelting.gs"], "did you mean"),
        (["substance", "Cu2Sx"], "Cu2S"),
        (["substance", "Cu2S", "--at", "1250"], 'write "1250 degC"'),
        (["substance", "Cu2S", "--at", "1250 C"], "write degC"),
        (["substance", "Cu2S", "--step", "0 K"], "not above 0 K"),
        (["substance", "Cu2S", "--from", "900 degC", "--to", "800 degC"], "rising temperatures"),
        (["substance", "Cu2S", "--step", "0.001 K"], "rising temperatures"),
        (["substance", "Cu2S", "--at", "-300 degC"], "not above 0 K"),
    ],
)
def test_a_wrong_line_ends_with_two(
    arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert says in err
    assert "Traceback" not in err


def test_no_answer_ends_with_one(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    def fail(*_: object, **__: object) -> None:
        raise NotSolved(Reason.NO_SULFUR_LEFT, "scenario 0")

    monkeypatch.setattr(commands.pyrobal, "main", fail)
    assert main(["balance", CASE]) == 1
    assert Reason.NO_SULFUR_LEFT.text in capsys.readouterr().err


def test_interrupt_ends_with_130(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    def interrupt(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(commands.pyrobal.commands["check"], "callback", interrupt)
    assert main(["check", CASE]) == 130
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.parametrize("of_the_tests", [signal.default_int_handler, signal.SIG_IGN])
def test_a_process_of_the_tests_hears_interrupts(of_the_tests: signal.Handlers) -> None:
    """A shell starts a job in the background with them ignored, and what that starts would inherit it."""
    before = signal.signal(signal.SIGINT, of_the_tests)
    try:
        line = [sys.executable, "-c", "import signal; print(signal.getsignal(signal.SIGINT).__name__)"]
        process = subprocess.run(line, capture_output=True, text=True, check=True, preexec_fn=hear_interrupts)
    finally:
        signal.signal(signal.SIGINT, before)
    assert process.stdout == "default_int_handler\n"


def test_an_interrupted_process_ends_with_130() -> None:
    code = "import sys, pyrobal.cli as c; print('ready', flush=True); sys.exit(c.main(['check', '-']))"
    pipes = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
    process = subprocess.Popen([sys.executable, "-c", code], text=True, preexec_fn=hear_interrupts, **pipes)  # type: ignore[call-overload]
    assert process.stdout.readline() == "ready\n"
    time.sleep(1.0)  # it now waits for a case on its standard input
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=10)
    assert process.returncode == 130
    assert "Traceback" not in err


def test_a_reader_that_goes_away_is_no_error() -> None:
    process = subprocess.run(
        f"{sys.executable} -m pyrobal substance | head -1",
        shell=True,
        capture_output=True,
        text=True,
        check=False,
    )
    assert process.returncode == 0
    assert process.stderr == ""
    assert process.stdout.startswith("name")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_is_said() -> None:
    with open("/dev/full", "w") as full:
        line = [sys.executable, "-m", "pyrobal", "settings"]
        process = subprocess.run(line, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert process.returncode == 2
    assert "No space left" in process.stderr
    assert "Traceback" not in process.stderr


def test_standard_input() -> None:
    case = Path(CASE).read_text(encoding="utf-8")
    good, bad = run("check", "-", input=case), run("check", "-", input=case.replace("t/h", "tph"))
    assert good.returncode == 0
    assert bad.returncode == 2
    assert all(line.startswith("-:") for line in bad.stderr.splitlines()[:-1])
    assert run("check", "-", input="").returncode == 2


def test_check_lists_what_it_assumes(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", CASE]) == 0
    out, err = capsys.readouterr()
    assert "no errors" in out
    assert "smelting.matte_activities" in out
    assert err == ""


def test_no_colour_and_eighty_columns_where_it_is_piped(
    capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same in a process of its own and here, where a file stands behind standard output."""
    for name in ("COLUMNS", "FORCE_COLOR"):
        monkeypatch.delenv(name, raising=False)
    for arguments in (["settings"], ["readings"], ["substance"], ["substance", "FeS"], ["check", CASE]):
        assert main(arguments) == 0
        out = capfd.readouterr().out
        assert "\x1b" not in out
        assert max(map(len, out.splitlines())) <= 80, arguments
    assert run("check", CASE).stdout == out


@pytest.mark.parametrize(("given", "used"), [({}, "1"), ({"OPENBLAS_NUM_THREADS": "2"}, "2")])
def test_a_command_works_on_one_thread_unless_told_otherwise(given: dict[str, str], used: str) -> None:
    code = (
        "import os; from pyrobal.cli import main; main(['check', os.sys.argv[1]]);"
        "print(os.environ['OPENBLAS_NUM_THREADS'])"
    )
    clean = {key: value for key, value in os.environ.items() if not key.endswith("_NUM_THREADS")}
    process = subprocess.run(
        [sys.executable, "-c", code, CASE], capture_output=True, text=True, check=True, env={**clean, **given}
    )
    assert process.stdout.splitlines()[-1] == used
