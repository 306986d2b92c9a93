"""Two runs never write one study: the second is told of the first, and a dead one holds nothing."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from pyrobal.cli import main
from pyrobal.studies.lock import LOCK, Locked, locked

CASE = str(Path(__file__).parents[2] / "cases" / "skerry_point.toml")
_HOLD = """
import sys, time
from pathlib import Path
from pyrobal.studies.lock import locked
with locked(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(60)
"""


@contextmanager
def other_run(folder: Path) -> Iterator[subprocess.Popen[str]]:
    """Another process that has the lock of a folder."""
    folder.mkdir(exist_ok=True)
    with subprocess.Popen(
        [sys.executable, "-c", _HOLD, folder], stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        try:
            yield process
        finally:
            process.kill()


def test_the_second_run_is_told_which_is_the_first_and_since_when(tmp_path: Path) -> None:
    with other_run(tmp_path) as process:
        with (
            pytest.raises(
                Locked, match=rf"process {process.pid} on \S+, since \d{{4}}-\d\d-\d\d \d\d:\d\d:\d\d"
            ),
            locked(tmp_path),
        ):
            pytest.fail("it went to work")
        assert (tmp_path / LOCK).exists()


def test_the_lock_of_a_killed_run_is_taken_over_and_given_back(tmp_path: Path) -> None:
    with other_run(tmp_path) as process:
        process.kill()
        process.wait()
        assert (tmp_path / LOCK).exists()  # nobody could remove it
        with locked(tmp_path):
            pass
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["grid.csv", "grid.parquet", "grid"])
def test_a_sweep_beside_a_sweep(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / (f"{name}.parts" if "." in name else name)
    line = ["sweep", CASE, "--over", "smelting.fe_sio2=1.1:1.3:3", "--read", "smelting.fuel"]
    line += ["--out", str(tmp_path / name)]
    with other_run(folder):
        assert main(line) == 2
        assert "another run is writing it: process" in capsys.readouterr().err
        assert [path.name for path in folder.iterdir()] == [LOCK]
    assert main(line) == 0
    assert (tmp_path / name).exists()
    assert not list(tmp_path.rglob(LOCK))


def test_parts_are_kept_only_where_there_are_some(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from pyrobal.studies import store

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device", "part")

    monkeypatch.setattr(store, "put", full)
    line = ["sweep", CASE, "--over", "smelting.fe_sio2=1.1:1.3:3", "--read", "smelting.fuel"]
    assert main([*line, "--out", str(tmp_path / "grid.csv")]) == 2
    err = capsys.readouterr().err
    assert "No space left on device; no part was finished" in err
    assert list(tmp_path.iterdir()) == []
