"""Wrong case files: every fault at once with its file, line and key; exit code 2; no traceback.

``wrong/expected.csv`` says, for every file in ``wrong/``, which faults it has and what their text must hold.
"""

from __future__ import annotations

import csv
import subprocess
import sys
from itertools import groupby
from pathlib import Path

import pytest

from pyrobal.case.load import load_case
from pyrobal.cli import main
from pyrobal.errors import CaseError

WRONG = Path(__file__).parent / "wrong"


def expected() -> dict[str, list[dict[str, str]]]:
    with (WRONG / "expected.csv").open(encoding="utf-8", newline="") as file:
        return {name: list(rows) for name, rows in groupby(csv.DictReader(file), lambda row: row["file"])}


EXPECTED = expected()


def test_at_least_forty_five_files_each_with_its_faults() -> None:
    assert sorted(EXPECTED) == sorted(path.name for path in WRONG.glob("*.toml"))
    assert len(EXPECTED) >= 45


@pytest.mark.parametrize("name", EXPECTED)
def test_every_fault_and_no_other(name: str) -> None:
    file = str(WRONG / name)
    with pytest.raises(CaseError) as caught:
        load_case(file)
    found = sorted((str(f.line or ""), f.key, f.text) for f in caught.value.faults)
    wanted = sorted((row["line"], row["key"], row["says"]) for row in EXPECTED[name])
    assert [place[:2] for place in found] == [place[:2] for place in wanted]
    assert all(f.file == file for f in caught.value.faults)
    for line, key, text in found:
        assert any(says in text for at, at_key, says in wanted if (at, at_key) == (line, key)), text
        assert "\n" not in text and "Error" not in text and "Traceback" not in text


@pytest.mark.parametrize("name", EXPECTED)
def test_command_line(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["check", str(WRONG / name)])
    out, err = capsys.readouterr()
    assert code == 2
    assert out == ""
    assert err.count(f"{WRONG / name}:") == len(EXPECTED[name])
    assert err.splitlines()[-1].endswith("nothing was computed")


def test_as_a_process_without_a_traceback() -> None:
    process = subprocess.run(
        [sys.executable, "-m", "pyrobal", "balance", str(WRONG / "everything_at_once.toml")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert process.returncode == 2
    assert process.stdout == ""
    assert "Traceback" not in process.stderr
    assert "everything_at_once.toml:8: concentrate.rate:" in process.stderr


def test_files_that_are_no_files(tmp_path: Path) -> None:
    for source, says in [
        (tmp_path / "absent.toml", "no such file"),
        (tmp_path, "is a directory"),
        (tmp_path / ("long" * 100), "cannot be read"),
        (Path("/dev/zero"), "larger than"),
    ]:
        with pytest.raises(CaseError, match=says):
            load_case(source)


def test_huge_file(tmp_path: Path) -> None:
    huge = tmp_path / "huge.toml"
    huge.write_bytes(b"# more of the same\n" * 400_000)
    with pytest.raises(CaseError, match="larger than 1000 kB"):
        load_case(huge)


def test_thousands_of_faults_stop_early(tmp_path: Path) -> None:
    many = tmp_path / "many.toml"
    many.write_text("[smelting]\n" + "".join(f"unknown_{i} = 1\n" for i in range(50_000)))
    with pytest.raises(CaseError, match="only the first 100 errors") as caught:
        load_case(many)
    assert len(caught.value.faults) == 101
