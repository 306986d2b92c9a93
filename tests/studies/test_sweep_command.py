"""``pyrobal sweep`` as a person meets it: screen, files, interrupt, kill, full disk."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas
import pytest
from processes import hear_interrupts

from pyrobal.cli import main

ROOT = Path(__file__).parents[2]
CASE = str(ROOT / "cases" / "skerry_point.toml")
READ = ["--read", "smelting.heat.surplus,smelting.fuel_heat"]
LONG = [
    "sweep",
    CASE,
    "--over",
    "smelting.matte_grade=60:70 %:4000",
    "--chunk",
    "100",
    "--workers",
    "1",
    *READ,
]


SLOWLY = """import sys, time
from pyrobal.cli import main
from pyrobal.studies.store import Store
write = Store.write
Store.write = lambda *part: (write(*part), time.sleep(0.1))
sys.exit(main())
"""


def start(*arguments: str, slowly: bool = False) -> subprocess.Popen[str]:
    """The command; ``slowly`` with a rest after each part, so that it is not through before it is disturbed."""
    line = [sys.executable, *(("-c", SLOWLY) if slowly else ("-m", "pyrobal")), *arguments]
    return subprocess.Popen(
        line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT, preexec_fn=hear_interrupts
    )


def wait_for_parts(folder: Path, count: int, process: subprocess.Popen[str]) -> None:
    for _ in range(600):
        if len(list(folder.glob("part-*.csv"))) >= count:
            return
        assert process.poll() is None, process.communicate()[1]
        time.sleep(0.02)
    raise AssertionError("no parts were written")


def test_a_grid_on_the_screen(capsys: pytest.CaptureFixture[str]) -> None:
    code = main(
        ["sweep", CASE, "--over", "smelting.matte_grade=64 %,85 %", "--over", "smelting.fe_sio2=1.2", *READ]
    )
    out, err = capsys.readouterr()
    assert code == 0
    assert all(len(line) <= 80 for line in out.splitlines())
    assert "64" in out
    assert "grade_leaves_no_iron_sulfide" in out
    assert "1 of 2 without a solution" in err
    assert "\x1b" not in out + err


def test_nothing_solved_ends_with_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sweep", CASE, "--over", "smelting.matte_grade=85:90 %:3", *READ]) == 1
    assert "3 of 3 without a solution" in capsys.readouterr().err


def test_many_rows_show_their_ends(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sweep", CASE, "--over", "smelting.enrichment=40:90 %:101", *READ]) == 0
    out, err = capsys.readouterr()
    assert len(out.splitlines()) < 60
    assert "--out FILE keeps all 101" in err


def test_an_aim(capsys: pytest.CaptureFixture[str]) -> None:
    line = ["sweep", CASE, "--over", "smelting.heat_loss=12 MW,16 MW", "--aim", "smelting.fuel_heat=2 MW"]
    assert main([*line, "--by", "smelting.enrichment", *READ]) == 0
    rows = capsys.readouterr().out.splitlines()[-2:]
    assert [float(row.split()[-1]) for row in rows] == [2.0, 2.0]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--over", "smelting.enrichment"], "is not KEY=..."),
        (["--over", "smelting.enrichment=50 %", "--over", "smelting.enrichment=60 %"], "given twice"),
        (["--over", "smelting.enrichmnt=50 %"], 'did you mean "smelting.enrichment"'),
        (["--over", "smelting.enrichment=50:60 %:0"], "empty range"),
        (
            ["--over", "smelting.enrichment=50:60 %:1000000", "--over", "smelting.fe_sio2=1:2:1000000"],
            "more than",
        ),
        (["--over", "smelting.enrichment=50:60 %:2000000"], "name a file with --out"),
        (["--scenarios", "nowhere.csv"], "No such file"),
        ([], "no setting is varied"),
        (["--over", "smelting.enrichment=50 %", "--aim", "smelting.fuel_heat=2 MW"], "go together"),
        (
            ["--over", "smelting.enrichment=50 %", "--out", "/nowhere/at/all/x.csv"],
            "no directory /nowhere/at/all",
        ),
        (["--over", "smelting.enrichment=50 %", "--workers", "0"], "--workers"),
        (["--over", "smelting.enrichment=50 %", "--cluster", "nonsense"], "no scheduler answers"),
    ],
)
def test_a_wrong_line_ends_with_two(
    arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["sweep", CASE, *arguments, *READ]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert says in err
    assert "Traceback" not in err


def test_a_file_that_is_there_is_kept_or_known(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line = ["sweep", CASE, "--over", "smelting.fe_sio2=1.2,1.3", *READ, "--out", str(tmp_path / "mine.csv")]
    (tmp_path / "mine.csv").write_text("precious\n")
    assert main(line) == 2
    assert "exists and is not of this study" in capsys.readouterr().err
    assert (tmp_path / "mine.csv").read_text() == "precious\n"
    (tmp_path / "mine.csv").unlink()
    assert main(line) == 0
    assert "2 scenarios in" in capsys.readouterr().err
    assert main(line) == 0
    assert "holds this study already, complete" in capsys.readouterr().err


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """What the long sweep writes where nothing disturbs it."""
    out = tmp_path_factory.mktemp("whole") / "whole.csv"
    assert main([*LONG, "--out", str(out)]) == 0
    return out.read_bytes()


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_what_was_finished_outlives_an_interrupt_and_a_kill(
    how: signal.Signals, tmp_path: Path, whole: bytes
) -> None:
    out = tmp_path / "out.csv"
    parts = tmp_path / "out.csv.parts"
    process = start(*LONG, "--out", str(out), slowly=True)
    wait_for_parts(parts, 3, process)
    process.send_signal(how)
    _, err = process.communicate(timeout=30)
    if how != signal.SIGKILL:
        assert process.returncode == 130
        assert "the same command goes on" in err
        assert "Traceback" not in err
    assert not out.exists()
    kept = {path.name: path.stat().st_mtime_ns for path in parts.glob("part-*.csv")}
    assert len(kept) >= 3
    again = start(*LONG, "--out", str(out))
    _, err = again.communicate(timeout=120)
    assert again.returncode == 0, err
    assert not parts.exists()
    frame = pandas.read_csv(out)
    assert len(frame) == 4000
    assert frame["smelting.matte_grade [wt%]"].is_monotonic_increasing
    assert out.read_bytes() == whole


def test_a_full_disk_is_said_and_the_parts_are_kept(tmp_path: Path) -> None:
    """A limit on the size of files stands in for the disk: joining the parts is more than it holds."""
    code = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (20000, 20000));"
        f"from pyrobal.cli import main; sys.exit(main({[*LONG, '--out', str(tmp_path / 'out.csv')]!r}))"
    )
    process = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=False
    )
    assert process.returncode == 2
    assert "File too large" in process.stderr
    assert "finished parts are kept" in process.stderr
    assert "Traceback" not in process.stderr
    assert len(list((tmp_path / "out.csv.parts").glob("part-*.csv"))) == 40
    assert not (tmp_path / "out.csv").exists()


def test_help_stays_light() -> None:
    code = "import sys; from pyrobal.cli import main; main(['sweep', '--help']); print(*sys.modules, file=sys.stderr)"
    process = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    loaded = {name.partition(".")[0] for name in process.stderr.split()}
    assert loaded & {"numpy", "scipy", "pandas", "pint", "rich", "pyarrow", "distributed"} == set()


def test_a_sweep_loads_neither_pandas_nor_scipy() -> None:
    code = (
        f"import sys; from pyrobal.cli import main; main(['sweep', {CASE!r}, '--over', 'smelting.fe_sio2=1.2,1.3',"
        " '--read', 'smelting.fuel_heat']); print(*sys.modules, file=sys.stderr)"
    )
    environment = {**os.environ, "COLUMNS": "80"}
    process = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT, env=environment
    )
    loaded = set(process.stderr.split())
    assert loaded & {"pandas", "scipy.optimize", "scipy.stats", "pyarrow", "thermo"} == set()


def test_a_killed_worker_loses_nothing(tmp_path: Path) -> None:
    """Nor does the pipe to it end the command, though it takes a broken pipe of its reader quietly."""
    out = tmp_path / "out.csv"
    line = [word if word != "1" else "2" for word in LONG]
    process = start(*line, "--out", str(out))
    wait_for_parts(tmp_path / "out.csv.parts", 2, process)
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
    names = {pid: Path(f"/proc/{pid}/cmdline").read_text() for pid in children}
    os.kill(int(next(pid for pid, name in names.items() if "spawn_main" in name)), signal.SIGKILL)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 0, err
    assert len(pandas.read_csv(out)) == 4000
